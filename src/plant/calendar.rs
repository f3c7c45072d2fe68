//! The working calendar: the production day, shifts, holidays and shutdowns.

use crate::time::{Period, Zone, days};
use chrono::{Datelike, Days, NaiveDate, NaiveTime, Weekday};

/// When the plant works.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Calendar {
    /// When the production day begins, by the local clock; midnight where nobody said.
    pub day_starts: NaiveTime,
    /// The shifts, sorted by their start; empty where shifts do not matter.
    pub shifts: Vec<Shift>,
    /// Days on which nobody works, sorted.
    pub holidays: Vec<NaiveDate>,
    /// Longer pauses, first and last day, sorted.
    pub shutdowns: Vec<(NaiveDate, NaiveDate)>,
}

/// A shift by the local clock; one that ends before it starts ends the next day.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Shift {
    /// What people call it.
    pub name: String,
    /// The weekdays on which it starts.
    pub days: Vec<Weekday>,
    /// When it starts.
    pub starts: NaiveTime,
    /// When it ends.
    pub ends: NaiveTime,
}

impl Calendar {
    /// The shifts that touch a period, each from its start to its end, in order of their dates.
    pub fn shifts_of(&self, zone: Zone, period: Period) -> Vec<Period> {
        let Some(eve) = zone.date(period.start).pred_opt() else { return Vec::new() };
        let last = zone.date(period.end);
        let works = |shift: &&Shift, date: NaiveDate| shift.days.is_empty() || shift.days.contains(&date.weekday());
        let mut spans = Vec::new();
        for date in days(eve, last) {
            for shift in self.shifts.iter().filter(|shift| works(shift, date)) {
                let end = if shift.ends <= shift.starts { date.checked_add_days(Days::new(1)) } else { Some(date) };
                let instant = |date: NaiveDate, time| zone.first(date.and_time(time));
                spans.extend(end.map(|end| Period::new(instant(date, shift.starts), instant(end, shift.ends))));
            }
        }
        spans
    }

    /// Whether the calendar expects no work on a day: a holiday, or a day of a shutdown.
    pub fn is_closed(&self, day: NaiveDate) -> bool {
        self.holidays.contains(&day) || self.shutdowns.iter().any(|(first, last)| *first <= day && day <= *last)
    }
}
