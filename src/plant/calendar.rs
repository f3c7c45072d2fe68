//! The working calendar: the production day, shifts, holidays and shutdowns.

use chrono::{NaiveDate, NaiveTime, Weekday};

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
    /// Whether the calendar expects no work on a day: a holiday, or a day of a shutdown.
    pub fn is_closed(&self, day: NaiveDate) -> bool {
        self.holidays.contains(&day) || self.shutdowns.iter().any(|(first, last)| *first <= day && day <= *last)
    }
}
