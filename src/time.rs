//! UTC instants and periods; the plant's zone with its days, months and quarter hours.

use chrono::{DateTime, Datelike, LocalResult, NaiveDate, NaiveDateTime, NaiveTime, SecondsFormat, TimeZone, Utc};
use chrono_tz::Tz;
use std::fmt;
use std::ops::{Add, Sub};

/// The version of the IANA time zone database inside the program.
pub const ZONES: &str = chrono_tz::IANA_TZDB_VERSION;

/// Milliseconds in a minute.
pub const MINUTE: i64 = 60_000;
/// Milliseconds in a quarter hour.
pub const QUARTER: i64 = 15 * MINUTE;
/// Milliseconds in an hour.
pub const HOUR: i64 = 60 * MINUTE;

/// The pause before the next of several attempts: it doubles from `first` after one failure with each further one in a row, up to
/// `longest`.
pub fn doubled(first: i64, longest: i64, failures: u32) -> i64 {
    (first << failures.saturating_sub(1).min(16)).min(longest)
}

/// The first half of a pause and by `chance` some of the second, so that those who wait for the same do not come back in step.
pub const fn spread(pause: i64, chance: u64) -> i64 {
    pause / 2 + pause * (chance % 1_000) as i64 / 2_000
}

/// An instant: milliseconds of UTC since 1970. A difference of two is milliseconds.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct At(pub i64);

impl At {
    /// Reads RFC 3339, such as `2026-03-29T01:30:00+01:00`; `None` for anything else.
    pub fn parse(text: &str) -> Option<Self> {
        DateTime::parse_from_rfc3339(text).ok().map(|t| Self(t.timestamp_millis()))
    }

    /// The instant in chrono's terms.
    pub fn utc(self) -> DateTime<Utc> {
        DateTime::from_timestamp_millis(self.0).unwrap_or(DateTime::<Utc>::MAX_UTC)
    }

    /// The last multiple of `step` milliseconds at or before the instant.
    pub fn floor(self, step: i64) -> Self {
        Self(self.0.div_euclid(step) * step)
    }

    /// The first multiple of `step` milliseconds at or after the instant.
    pub fn ceil(self, step: i64) -> Self {
        Self(-((-self.0).div_euclid(step)) * step)
    }
}

impl Add<i64> for At {
    type Output = Self;
    fn add(self, millis: i64) -> Self {
        Self(self.0 + millis)
    }
}

impl Sub<i64> for At {
    type Output = Self;
    fn sub(self, millis: i64) -> Self {
        Self(self.0 - millis)
    }
}

impl Sub for At {
    type Output = i64;
    fn sub(self, earlier: Self) -> i64 {
        self.0 - earlier.0
    }
}

impl fmt::Display for At {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.utc().to_rfc3339_opts(SecondsFormat::AutoSi, true))
    }
}

/// From `start` up to and without `end`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Period {
    /// The first instant inside.
    pub start: At,
    /// The first instant after.
    pub end: At,
}

impl Period {
    /// The period between two instants; empty where the end is not after the start.
    pub const fn new(start: At, end: At) -> Self {
        Self { start, end }
    }

    /// Its length in milliseconds, never below zero.
    pub fn millis(self) -> i64 {
        (self.end - self.start).max(0)
    }

    /// Whether nothing lies inside.
    pub fn is_empty(self) -> bool {
        self.end <= self.start
    }

    /// Whether the instant lies inside.
    pub fn contains(self, at: At) -> bool {
        self.start <= at && at < self.end
    }

    /// What both have in common; `None` where that is nothing.
    pub fn overlap(self, other: Self) -> Option<Self> {
        let both = Self::new(self.start.max(other.start), self.end.min(other.end));
        (!both.is_empty()).then_some(both)
    }
}

/// A calendar month, such as `2026-03`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Month {
    /// The year.
    pub year: i32,
    /// 1 to 12.
    pub month: u32,
}

impl Month {
    /// Reads `2026-03`; `None` for anything else.
    pub fn parse(text: &str) -> Option<Self> {
        let (year, month) = text.split_once('-')?;
        if year.len() != 4 || month.len() != 2 {
            return None;
        }
        let (year, month) = (year.parse().ok()?, month.parse().ok()?);
        NaiveDate::from_ymd_opt(year, month, 1).map(|_| Self { year, month })
    }

    /// The month that holds the date.
    pub fn of(date: NaiveDate) -> Self {
        Self { year: date.year(), month: date.month() }
    }

    /// The twelve months of a year.
    pub fn of_year(year: i32) -> [Self; 12] {
        std::array::from_fn(|k| Self { year, month: k as u32 + 1 })
    }

    /// Its first day.
    pub fn first(self) -> NaiveDate {
        NaiveDate::from_ymd_opt(self.year, self.month, 1).unwrap_or(NaiveDate::MAX)
    }

    /// Its last day.
    pub fn last(self) -> NaiveDate {
        self.next().first().pred_opt().unwrap_or(NaiveDate::MAX)
    }

    /// The month after.
    pub fn next(self) -> Self {
        match self.month {
            12 => Self { year: self.year + 1, month: 1 },
            month => Self { year: self.year, month: month + 1 },
        }
    }

    /// The same month of the year before.
    pub fn year_before(self) -> Self {
        Self { year: self.year - 1, month: self.month }
    }

    /// Its days in order.
    pub fn days(self) -> impl Iterator<Item = NaiveDate> {
        days(self.first(), self.last())
    }
}

impl fmt::Display for Month {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:04}-{:02}", self.year, self.month)
    }
}

/// The days from the first to the last, both included, in order.
pub fn days(first: NaiveDate, last: NaiveDate) -> impl Iterator<Item = NaiveDate> {
    first.iter_days().take_while(move |day| *day <= last)
}

/// What a local clock time is in UTC.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Resolved {
    /// One instant.
    One(At),
    /// The clock is set back over this time: the earlier and the later instant.
    Two(At, At),
    /// The clock is set forward over this time: it never shows.
    Never,
}

/// The plant's time zone.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Zone(pub Tz);

impl Zone {
    /// Coordinated universal time.
    pub const UTC: Self = Self(Tz::UTC);

    /// Every IANA name.
    pub fn names() -> impl Iterator<Item = &'static str> {
        chrono_tz::TZ_VARIANTS.iter().map(|zone| zone.name())
    }

    /// The zone of an IANA name such as `Europe/London`; `None` if there is none of that name.
    pub fn parse(name: &str) -> Option<Self> {
        name.parse().ok().map(Self)
    }

    /// The local clock at an instant.
    pub fn local(self, at: At) -> DateTime<Tz> {
        at.utc().with_timezone(&self.0)
    }

    /// The local calendar day that holds the instant.
    pub fn date(self, at: At) -> NaiveDate {
        self.local(at).date_naive()
    }

    /// The instant as ISO 8601 with the local offset, to the second.
    pub fn stamp(self, at: At) -> String {
        self.local(at).to_rfc3339_opts(SecondsFormat::Secs, false)
    }

    /// What a local clock time is in UTC.
    pub fn resolve(self, local: NaiveDateTime) -> Resolved {
        let at = |t: DateTime<Tz>| At(t.timestamp_millis());
        match self.0.from_local_datetime(&local) {
            LocalResult::Single(t) => Resolved::One(at(t)),
            LocalResult::Ambiguous(a, b) => Resolved::Two(at(a), at(b)),
            LocalResult::None => Resolved::Never,
        }
    }

    /// The first instant whose local clock is not before the given time. Where the clock is set forward over
    /// it, that is the instant of the change.
    pub fn first(self, local: NaiveDateTime) -> At {
        match self.resolve(local) {
            Resolved::One(at) | Resolved::Two(at, _) => at,
            Resolved::Never => {
                // No zone moves its clock by more than a day; the change lies on a quarter hour.
                let late = At(local.and_utc().timestamp_millis());
                (-4 * 24..4 * 24)
                    .map(|k| late.floor(QUARTER) + k * QUARTER)
                    .find(|at| self.local(*at).naive_local() >= local)
                    .unwrap_or(late)
            }
        }
    }

    /// The local day: 24 hours, 23 or 25 when the clock changes.
    pub fn day(self, date: NaiveDate) -> Period {
        let midnight = |d: NaiveDate| self.first(d.and_time(NaiveTime::MIN));
        Period::new(midnight(date), midnight(date.succ_opt().unwrap_or(date)))
    }

    /// The local days from the first to the last, both included.
    pub fn days(self, first: NaiveDate, last: NaiveDate) -> Period {
        Period::new(self.day(first).start, self.day(last).end)
    }

    /// The local month.
    pub fn month(self, month: Month) -> Period {
        let start = |m: Month| self.first(m.first().and_time(NaiveTime::MIN));
        Period::new(start(month), start(month.next()))
    }

    /// The local days that a period touches, in order.
    pub fn dates(self, period: Period) -> impl Iterator<Item = NaiveDate> {
        days(self.date(period.start), self.date(period.end - 1))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Days with a clock change, computed with Python's zoneinfo: `tests/reference/dst_days.csv`.
    #[test]
    fn days_with_a_clock_change_have_23_or_25_hours() {
        let table = include_str!("../tests/reference/dst_days.csv");
        let rows: Vec<Vec<&str>> = table.lines().skip(1).map(|l| l.split(',').collect()).collect();
        assert_eq!(rows.len(), 30);
        for row in rows {
            let zone = Zone::parse(row[0]).expect("a zone");
            let day = zone.day(row[1].parse().expect("a date"));
            assert_eq!(Some(day.start), At::parse(row[4]), "{row:?}");
            assert_eq!(Some(day.end), At::parse(row[5]), "{row:?}");
            assert_eq!(day.millis() / QUARTER, row[3].parse::<i64>().expect("a count"), "{row:?}");
        }
    }

    #[test]
    fn a_day_that_begins_with_the_clock_change_begins_at_the_change() {
        // Beirut sets the clock from 00:00 to 01:00 on 2024-03-31 (IANA time zone database).
        let zone = Zone::parse("Asia/Beirut").expect("a zone");
        let day = zone.day(NaiveDate::from_ymd_opt(2024, 3, 31).expect("a date"));
        assert_eq!(zone.stamp(day.start), "2024-03-31T01:00:00+03:00");
        assert_eq!(day.millis(), 23 * HOUR);
    }

    #[test]
    fn instants_round_to_steps_on_both_sides_of_1970() {
        assert_eq!(At(-1).floor(QUARTER), At(-QUARTER));
        assert_eq!(At(1).ceil(QUARTER), At(QUARTER));
        assert_eq!(At(QUARTER).ceil(QUARTER), At(QUARTER));
    }

    #[test]
    fn months_are_read_strictly() {
        assert_eq!(Month::parse("2026-03").map(|m| m.to_string()), Some("2026-03".into()));
        for bad in ["2026-3", "2026-13", "26-03", "2026/03", "2026-00"] {
            assert_eq!(Month::parse(bad), None, "{bad:?}");
        }
        assert_eq!(Month { year: 2024, month: 2 }.days().count(), 29);
    }
}
