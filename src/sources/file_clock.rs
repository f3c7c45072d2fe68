//! The clock of a file: which instants a written time may mean.

use crate::sources::value::Expected;
use crate::sources::{ClockRule, Stamp};
use crate::time::{At, HOUR, MINUTE, Resolved, Zone};
use chrono::{DateTime, Datelike, Duration, NaiveDate, NaiveDateTime, NaiveTime};

const DAY: i64 = 24 * HOUR;

/// Whether a year is one that people write. The calendar behind it ends in the year 262142, and an interval that is added
/// to its last day would go beyond.
fn is_written(year: i32) -> bool {
    (1..=9_999).contains(&year)
}

/// How the times of a file are to be read.
#[derive(Clone, Debug)]
pub(super) struct FileClock {
    pub(super) zone: Zone,
    pub(super) format: String,
    pub(super) rule: ClockRule,
    /// For intervals: their length in milliseconds, and which instant is written.
    pub(super) interval: Option<(i64, Stamp)>,
}

impl FileClock {
    /// The instants that a time may mean, in order; for an interval, those at which it ended. More than one where the
    /// local clock showed the time twice.
    ///
    /// # Errors
    /// What was expected of the time.
    pub(super) fn meanings(&self, text: &str) -> Result<Vec<At>, Expected> {
        let format = || format!("a time in the format {}", self.format);
        if self.rule == ClockRule::Stated {
            let stated = DateTime::parse_from_str(text, &self.format).map_err(|_| format())?;
            let offset = stated.offset().local_minus_utc();
            let local = Some(stated.naive_local()).filter(|local| is_written(local.year())).ok_or_else(format)?;
            return Ok(self.ends(local, |local| vec![utc(local) - i64::from(offset) * 1_000]));
        }
        let local = self.local(text).filter(|local| is_written(local.year())).ok_or_else(format)?;
        let meanings = self.ends(local, |local| match self.rule {
            // A day begins when its date does, also where the clock is changed at midnight.
            ClockRule::InOrder if self.interval.is_some_and(|(length, _)| length % DAY == 0) => {
                vec![self.zone.first(local)]
            }
            ClockRule::UtcOffset(minutes) => vec![utc(local) - i64::from(minutes) * MINUTE],
            ClockRule::StandardTime => vec![utc(local) - standard_offset(self.zone, local)],
            ClockRule::InOrder | ClockRule::Stated => match self.zone.resolve(local) {
                Resolved::One(at) => vec![at],
                Resolved::Two(first, second) => vec![first, second],
                Resolved::Never => Vec::new(),
            },
        });
        match meanings.is_empty() {
            false => Ok(meanings),
            true => Err(format!("a time that the clock of {} shows: it was set forward over this one", self.zone.0)),
        }
    }

    /// The time as written; a date alone means its first moment.
    fn local(&self, text: &str) -> Option<NaiveDateTime> {
        let date = || NaiveDate::parse_from_str(text, &self.format).ok().map(|date| date.and_time(NaiveTime::MIN));
        NaiveDateTime::parse_from_str(text, &self.format).ok().or_else(date)
    }

    /// The instants that a local time means once its interval is taken into account.
    fn ends(&self, mut local: NaiveDateTime, instants: impl Fn(NaiveDateTime) -> Vec<At>) -> Vec<At> {
        let Some((length, stamp)) = self.interval else { return instants(local) };
        let after = |start: NaiveDateTime| match length % DAY {
            // A day that ends is a day of the calendar, whatever its hours.
            0 => instants(start + Duration::milliseconds(length)),
            _ => instants(start).into_iter().map(|at| at + length).collect(),
        };
        match stamp {
            Stamp::Start => after(local),
            Stamp::End | Stamp::EndOldDate => {
                if stamp == Stamp::EndOldDate && local.time() == NaiveTime::MIN {
                    local += Duration::days(1);
                }
                let mut ends = instants(local);
                // Where the clock is changed, some files write the end as the clock showed it and some as the start
                // plus the length: the quarter hour before the change ends at 02:00 or at 03:00.
                if length <= HOUR {
                    ends.extend(after(local - Duration::milliseconds(length)));
                    ends.sort();
                    ends.dedup();
                }
                ends
            }
        }
    }

    /// A meaning of a time, as it was written and with its offset from UTC.
    pub(super) fn written(&self, at: At) -> String {
        let before = self.interval.filter(|(_, stamp)| *stamp == Stamp::Start).map_or(0, |(length, _)| length);
        self.zone.local(at - before).format("%H:%M%:z").to_string()
    }
}

/// A local time read as if it were UTC.
fn utc(local: NaiveDateTime) -> At {
    At(local.and_utc().timestamp_millis())
}

/// Milliseconds east of UTC of a zone's standard time in the year: the smaller of the offsets in January and July. The
/// time zone database calls Irish winter time the daylight saving one; people and their meters do not.
fn standard_offset(zone: Zone, local: NaiveDateTime) -> i64 {
    let offset = |month| {
        let noon = NaiveDate::from_ymd_opt(local.year(), month, 1).and_then(|day| day.and_hms_opt(12, 0, 0));
        let noon = utc(noon.unwrap_or(local));
        utc(zone.local(noon).naive_local()) - noon
    };
    offset(1).min(offset(7))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn clock(zone: &str, rule: ClockRule, interval: Option<(i64, Stamp)>) -> FileClock {
        let format = if rule == ClockRule::Stated { "%Y-%m-%d %H:%M%z" } else { "%Y-%m-%d %H:%M" };
        FileClock { zone: Zone::parse(zone).expect("a zone"), format: format.into(), rule, interval }
    }

    fn meanings(clock: &FileClock, text: &str) -> Vec<String> {
        clock.meanings(text).expect("a time").iter().map(At::to_string).collect()
    }

    /// `tests/reference/dst_days.csv`: London has 25 hours on 2025-10-26, Berlin from 2025-10-25T22:00Z.
    #[test]
    fn each_rule_reads_the_repeated_hour_in_its_way() {
        let text = "2025-10-26 02:30";
        let berlin = |rule| clock("Europe/Berlin", rule, None);
        assert_eq!(meanings(&berlin(ClockRule::UtcOffset(120)), text), ["2025-10-26T00:30:00Z"]);
        assert_eq!(meanings(&berlin(ClockRule::StandardTime), text), ["2025-10-26T01:30:00Z"]);
        assert_eq!(meanings(&berlin(ClockRule::InOrder), text), ["2025-10-26T00:30:00Z", "2025-10-26T01:30:00Z"]);
        assert_eq!(meanings(&berlin(ClockRule::Stated), "2025-10-26 02:30+0200"), ["2025-10-26T00:30:00Z"]);
    }

    #[test]
    fn standard_time_is_winter_time_also_where_the_database_says_otherwise() {
        let summer = "2025-07-01 12:00";
        let standard = |zone| meanings(&clock(zone, ClockRule::StandardTime, None), summer);
        assert_eq!(standard("Europe/Dublin"), ["2025-07-01T12:00:00Z"]);
        assert_eq!(standard("Europe/London"), ["2025-07-01T12:00:00Z"]);
        assert_eq!(standard("Australia/Sydney"), ["2025-07-01T02:00:00Z"]);
        assert_eq!(standard("Asia/Seoul"), ["2025-07-01T03:00:00Z"]);
    }

    /// The calendar of chrono ends with 262142 and begins with -262143; found by fuzzing.
    #[test]
    fn a_time_at_an_end_of_the_calendar_is_refused_whatever_is_added_to_it() {
        let rules = [ClockRule::InOrder, ClockRule::StandardTime, ClockRule::UtcOffset(330), ClockRule::Stated];
        for (rule, stamp) in rules.iter().flat_map(|r| [Stamp::Start, Stamp::End, Stamp::EndOldDate].map(|s| (*r, s))) {
            for text in ["+262142-12-31 23:59", "+262142-12-31 00:00", "-262143-01-01 00:00"] {
                let text = if rule == ClockRule::Stated { format!("{text}+0000") } else { text.to_owned() };
                let clock = clock("Europe/Berlin", rule, Some((15 * MINUTE, stamp)));
                assert!(clock.meanings(&text).is_err(), "{text} {rule:?} {stamp:?}");
            }
        }
    }

    #[test]
    fn an_hour_that_the_clock_never_showed_is_refused() {
        let clock = clock("Europe/London", ClockRule::InOrder, None);
        let told = "a time that the clock of Europe/London shows: it was set forward over this one";
        assert_eq!(clock.meanings("2025-03-30 01:30"), Err(told.into()));
        assert_eq!(clock.meanings("30/03/2025"), Err("a time in the format %Y-%m-%d %H:%M".into()));
    }

    #[test]
    fn an_interval_counts_at_its_end_whichever_instant_is_written() {
        let quarter = |stamp| clock("Asia/Seoul", ClockRule::StandardTime, Some((15 * MINUTE, stamp)));
        assert_eq!(meanings(&quarter(Stamp::Start), "2018-01-01 00:00"), ["2017-12-31T15:15:00Z"]);
        assert_eq!(meanings(&quarter(Stamp::End), "2018-01-02 00:00"), ["2018-01-01T15:00:00Z"]);
        assert_eq!(meanings(&quarter(Stamp::EndOldDate), "2018-01-01 00:00"), ["2018-01-01T15:00:00Z"]);
        assert_eq!(meanings(&quarter(Stamp::EndOldDate), "2018-01-01 00:15"), ["2017-12-31T15:15:00Z"]);
    }

    #[test]
    fn a_day_ends_with_the_day_whatever_its_hours() {
        let day = |stamp| clock("Europe/London", ClockRule::InOrder, Some((DAY, stamp)));
        assert_eq!(meanings(&day(Stamp::Start), "2025-10-26 00:00"), ["2025-10-27T00:00:00Z"]);
        assert_eq!(meanings(&day(Stamp::End), "2025-10-27 00:00"), ["2025-10-27T00:00:00Z"]);
    }

    #[test]
    fn a_date_alone_means_its_first_moment() {
        let dates = |zone: &str| FileClock {
            format: "%d.%m.%Y".into(),
            ..clock(zone, ClockRule::InOrder, Some((DAY, Stamp::Start)))
        };
        // Europe/Berlin: `tests/reference/dst_days.csv`. Beirut set the clock from 00:00 to 01:00 (IANA).
        assert_eq!(meanings(&dates("Europe/Berlin"), "31.03.2024"), ["2024-03-31T22:00:00Z"]);
        assert_eq!(meanings(&dates("Europe/Berlin"), "30.03.2024"), ["2024-03-30T23:00:00Z"]);
        assert_eq!(meanings(&dates("Asia/Beirut"), "30.03.2024"), ["2024-03-30T22:00:00Z"]);
    }

    #[test]
    fn the_end_of_an_interval_before_a_clock_change_is_known_in_both_writings() {
        let quarter = clock("Europe/Berlin", ClockRule::InOrder, Some((15 * MINUTE, Stamp::End)));
        // The quarter hour from 01:45 CET ended when the clock went from 02:00 to 03:00.
        assert_eq!(meanings(&quarter, "2025-03-30 02:00"), ["2025-03-30T01:00:00Z"]);
        assert_eq!(meanings(&quarter, "2025-03-30 03:00"), ["2025-03-30T01:00:00Z"]);
        assert_eq!(meanings(&quarter, "2025-10-26 03:00"), ["2025-10-26T01:00:00Z", "2025-10-26T02:00:00Z"]);
    }
}
