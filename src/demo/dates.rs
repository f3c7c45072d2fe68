//! The dates of the invented plant, and when its presses are manned.

use super::hall::PRESSES;
use crate::time::{At, MINUTE, Zone};
use chrono::{Datelike, Days, NaiveDate, Weekday};
use chrono_tz::Europe::London;

/// A calendar date as a constant: year, month, day.
pub type Ymd = (i32, u32, u32);

/// The plant's zone.
pub const ZONE: Zone = Zone(London);
/// The first instant of the history: 2025-01-01 00:00 local.
pub const START: At = At(1_735_689_600_000);
/// The last instant of the history: 2026-07-01 10:00 local. Live data join here.
pub const END: At = At(1_782_896_400_000);

/// Bank holidays of England and Wales within the history.
pub const HOLIDAYS: [Ymd; 13] = [
    (2025, 1, 1),
    (2025, 4, 18),
    (2025, 4, 21),
    (2025, 5, 5),
    (2025, 5, 26),
    (2025, 8, 25),
    (2025, 12, 25),
    (2025, 12, 26),
    (2026, 1, 1),
    (2026, 4, 3),
    (2026, 4, 6),
    (2026, 5, 4),
    (2026, 5, 25),
];
/// Longer pauses: first and last day.
pub const SHUTDOWNS: [(Ymd, Ymd); 2] = [((2025, 8, 4), (2025, 8, 10)), ((2025, 12, 24), (2026, 1, 4))];
/// The days on which each press was converted, first and last.
pub const CONVERSION: [(Ymd, Ymd); PRESSES.len()] =
    [((2026, 1, 5), (2026, 1, 7)), ((2026, 1, 8), (2026, 1, 9)), ((2026, 1, 12), (2026, 1, 13))];
/// The conversion was accepted: the first day of the reporting period.
pub const ACCEPTED: Ymd = (2026, 2, 1);

/// The date of a constant.
pub fn date((year, month, day): Ymd) -> NaiveDate {
    NaiveDate::from_ymd_opt(year, month, day).expect("the constants are dates")
}

/// The instant of a local clock time, in minutes since 1970.
pub fn minute(date: NaiveDate, hour: u32, minute: u32) -> i64 {
    let local = date.and_hms_opt(hour, minute, 0).expect("the constants are clock times");
    ZONE.first(local).0 / MINUTE
}

/// The instant of a constant date and local clock time.
pub fn at(day: Ymd, hour: u32, min: u32) -> At {
    At(minute(date(day), hour, min) * MINUTE)
}

/// When the lamps of a press were changed, in minutes since 1970: the noon of its first day of conversion.
pub fn converted(press: usize) -> i64 {
    minute(date(CONVERSION[press].0), 12, 0)
}

/// From when to when a press is manned in the production day that begins at 06:00 of a date, in minutes since 1970.
pub fn manned(press: usize, day: NaiveDate) -> Option<(i64, i64)> {
    let (converting, weekday) = (CONVERSION[press], day.weekday());
    if closed(day) || (date(converting.0) <= day && day <= date(converting.1)) {
        return None;
    }
    // After the conversion orders fell: press 1 gave up its Friday, press 2 most of its nights.
    let fewer = day >= date(ACCEPTED);
    let next = day + Days::new(1);
    let until = match (press, weekday) {
        // A rush order over the night in which the clock is set back.
        (1, Weekday::Sat) if day == date((2025, 10, 25)) => return Some((minute(day, 23, 30), minute(next, 6, 0))),
        (0, Weekday::Sat) if day.year() == 2025 && day.month() == 11 => minute(day, 14, 0),
        (_, Weekday::Sat | Weekday::Sun) => return None,
        (0, Weekday::Fri) if fewer => minute(day, 14, 0),
        (1, Weekday::Mon | Weekday::Tue) => minute(next, 6, 0),
        (1, Weekday::Wed | Weekday::Thu) if !fewer => minute(next, 6, 0),
        _ => minute(day, 22, 0),
    };
    Some((minute(day, 6, 0), until))
}

/// Whether nobody works on a day.
pub fn closed(day: NaiveDate) -> bool {
    let before_history = day < date(HOLIDAYS[0]);
    before_history
        || HOLIDAYS.iter().any(|h| date(*h) == day)
        || SHUTDOWNS.iter().any(|s| date(s.0) <= day && day <= date(s.1))
}
