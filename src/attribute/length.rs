//! Length of web run on a press, from its counter or its speed.

use crate::readings::Reading;
use crate::time::{MINUTE, Zone};
use chrono::NaiveDate;
use std::collections::BTreeMap;

/// A speed is believed for so long without a further value.
const BELIEVED: i64 = 30 * MINUTE;

/// The length of web run on a press, taken reading by reading: millimetres on each local day. The counter decides; where
/// there is none, each speed holds until the next.
#[derive(Clone, Debug)]
pub struct Length {
    zone: Zone,
    counter: Run,
    speed: Run,
}

/// What one quantity tells, and its last reading.
#[derive(Clone, Debug, Default)]
struct Run {
    days: BTreeMap<NaiveDate, i64>,
    last: Option<Reading>,
}

impl Length {
    /// Nothing is known yet; days are those of the zone.
    pub fn new(zone: Zone) -> Self {
        Self { zone, counter: Run::default(), speed: Run::default() }
    }

    /// Takes the next readings of each.
    pub fn push(&mut self, counter: &[Reading], speed: &[Reading]) {
        for reading in counter {
            let Some(last) = self.counter.last.replace(*reading) else { continue };
            let grown = reading.count.saturating_sub(last.count);
            // A counter that goes back has been set to zero for a new job: what it shows then was run since.
            let run = if grown < 0 { reading.count.max(0) } else { grown };
            // What was run up to midnight is shown by the reading at midnight.
            *self.counter.days.entry(self.zone.date(reading.at - 1)).or_default() += run;
        }
        for reading in speed {
            let last = self.speed.last.replace(*reading);
            let Some(last) = last.filter(|last| reading.at - last.at <= BELIEVED) else { continue };
            let run = i128::from(last.count.max(0)) * i128::from(reading.at - last.at) / i128::from(MINUTE);
            *self.speed.days.entry(self.zone.date(last.at)).or_default() += run as i64;
        }
    }

    /// Millimetres run on each local day of which that is known.
    pub const fn by_day(&self) -> &BTreeMap<NaiveDate, i64> {
        if self.counter.last.is_some() { &self.counter.days } else { &self.speed.days }
    }
}

/// Millimetres run on each local day, from all readings of the counter and the speed.
pub fn web_by_day(zone: Zone, counter: &[Reading], speed: &[Reading]) -> BTreeMap<NaiveDate, i64> {
    let mut length = Length::new(zone);
    length.push(counter, speed);
    length.by_day().clone()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::time::At;

    fn series(values: &[(&str, i64)]) -> Vec<Reading> {
        let reading = |(at, count): &(&str, i64)| Reading { at: At::parse(at).expect("an instant"), count: *count };
        values.iter().map(reading).collect()
    }

    fn run(counter: &[(&str, i64)], speed: &[(&str, i64)]) -> Vec<(String, i64)> {
        let zone = Zone::parse("Europe/London").expect("a zone");
        web_by_day(zone, &series(counter), &series(speed)).into_iter().map(|(d, mm)| (d.to_string(), mm)).collect()
    }

    #[test]
    fn a_counter_set_to_zero_goes_on_from_there() {
        let counter = [("2026-03-02T08:00:00Z", 500), ("2026-03-02T09:00:00Z", 900), ("2026-03-02T10:00:00Z", 70)];
        assert_eq!(run(&counter, &[]), [("2026-03-02".to_owned(), 470)]);
    }

    #[test]
    fn a_speed_is_not_believed_through_a_gap() {
        let speed = [("2026-03-02T08:00:00Z", 60_000), ("2026-03-02T08:10:00Z", 60_000), ("2026-03-02T12:00:00Z", 0)];
        assert_eq!(run(&[], &speed), [("2026-03-02".to_owned(), 600_000)]);
    }
}
