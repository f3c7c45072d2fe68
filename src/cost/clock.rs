//! Which tariff and which of its bands holds at an instant.

use super::{Band, Tariff, Window};
use crate::plant::Calendar;
use chrono::{Datelike, Days, NaiveDate, NaiveDateTime, NaiveTime};

impl Tariff {
    /// The tariff of a day: of those that began by then the latest, unless it has ended; of equals the last in the list.
    pub fn on(tariffs: &[Self], day: NaiveDate) -> Option<usize> {
        let begun = (0..tariffs.len()).filter(|&k| tariffs[k].valid_from <= day);
        let latest = begun.max_by_key(|&k| tariffs[k].valid_from)?;
        tariffs[latest].valid_to.is_none_or(|last| day <= last).then_some(latest)
    }

    /// The band of a local clock time: the first whose windows hold it.
    pub fn band(&self, local: NaiveDateTime, calendar: &Calendar) -> Option<usize> {
        self.bands.iter().position(|band| band.holds(local, calendar))
    }
}

impl Band {
    fn holds(&self, local: NaiveDateTime, calendar: &Calendar) -> bool {
        within(&self.windows, local, calendar)
    }
}

/// Whether a local clock time lies within windows; it does where there are none.
pub fn within(windows: &[Window], local: NaiveDateTime, calendar: &Calendar) -> bool {
    windows.is_empty() || windows.iter().any(|window| window.holds(local, calendar))
}

impl Window {
    /// A window that ends before it starts runs into the next day and belongs to the day on which it starts.
    fn holds(&self, local: NaiveDateTime, calendar: &Calendar) -> bool {
        let (day, time) = (local.date(), local.time());
        let through = self.to != NaiveTime::MIN && self.to <= self.from;
        let before_end = self.to == NaiveTime::MIN || time < self.to;
        match through {
            false => self.on(day, calendar) && self.from <= time && before_end,
            true if self.from <= time => self.on(day, calendar),
            true => time < self.to && day.checked_sub_days(Days::new(1)).is_some_and(|eve| self.on(eve, calendar)),
        }
    }

    fn on(&self, day: NaiveDate, calendar: &Calendar) -> bool {
        (self.days.is_empty() || self.days.contains(&day.weekday()))
            && (self.months.is_empty() || self.months.contains(&day.month()))
            && !(self.not_on_holidays && calendar.holidays.contains(&day))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cost::Terms;
    use crate::units::Decimal;
    use chrono::Weekday;

    fn at(day: u32, hour: u32, minute: u32) -> NaiveDateTime {
        NaiveDate::from_ymd_opt(2026, 3, day).and_then(|d| d.and_hms_opt(hour, minute, 0)).expect("a time")
    }

    fn window(from: (u32, u32), to: (u32, u32)) -> Window {
        let time = |(h, m)| NaiveTime::from_hms_opt(h, m, 0).expect("a time");
        Window { days: Vec::new(), months: Vec::new(), from: time(from), to: time(to), not_on_holidays: false }
    }

    #[test]
    fn a_window_to_midnight_holds_until_the_end_of_its_day() {
        let (evening, calendar) = (window((22, 0), (0, 0)), Calendar::default());
        assert!(evening.holds(at(2, 23, 59), &calendar));
        assert!(!evening.holds(at(3, 0, 0), &calendar));
    }

    #[test]
    fn a_window_over_midnight_belongs_to_the_day_on_which_it_starts() {
        let mut night = window((22, 0), (6, 0));
        night.days = vec![Weekday::Fri];
        let calendar = Calendar::default();
        assert!(night.holds(at(7, 5, 45), &calendar), "Saturday 7 March, still Friday's night");
        assert!(!night.holds(at(6, 5, 45), &calendar), "Friday morning is Thursday's night");
        assert!(!night.holds(at(7, 6, 0), &calendar));
    }

    #[test]
    fn holidays_fall_through_to_the_next_band() {
        let mut day = window((7, 0), (19, 0));
        day.not_on_holidays = true;
        let price = Decimal::parse("0.2").expect("a decimal");
        let band = |name: &str, windows| Band { name: name.into(), price, blocks: Vec::new(), windows };
        let tariff = Tariff {
            name: "two bands".into(),
            valid_from: NaiveDate::MIN,
            valid_to: None,
            currency: "GBP".into(),
            source: "test".into(),
            bands: vec![band("day", vec![day]), band("night", Vec::new())],
            standing_per_day: price,
            terms: Terms::default(),
        };
        let calendar = Calendar { holidays: vec![at(3, 0, 0).date()], ..Calendar::default() };
        assert_eq!(tariff.band(at(2, 7, 0), &calendar), Some(0));
        assert_eq!(tariff.band(at(3, 7, 0), &calendar), Some(1));
    }
}
