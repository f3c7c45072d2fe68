//! Length of web run on a press, from its counter or its speed.

use crate::attribute::DayFacts;
use crate::names::PressId;
use crate::plant::{Plant, Press};
use crate::readings::{Quantity, Reading, Series, Subject};
use crate::time::{MINUTE, Zone};
use chrono::NaiveDate;
use std::collections::BTreeMap;

/// A speed is believed for so long without a further value.
const BELIEVED: i64 = 30 * MINUTE;

/// Millimetres run on each press on a local day, from facts that reach around it; left out where that is not known.
pub fn web_on(plant: &Plant, facts: &DayFacts, date: NaiveDate) -> BTreeMap<PressId, i64> {
    let of_press = |press: &Press| {
        let of = |quantity| facts.of(&Series::new(Subject::Press(press.id.clone()), quantity));
        let days = web_by_day(plant.zone, &of(Quantity::WebLength), &of(Quantity::Speed));
        Some((press.id.clone(), *days.get(&date)?))
    };
    plant.presses.iter().filter_map(of_press).collect()
}

/// Millimetres run on each local day. The counter decides; where there is none, each speed holds until the next.
///
/// A counter that goes back has been set to zero for a new job: what it shows then was run since.
pub fn web_by_day(zone: Zone, counter: &[Reading], speed: &[Reading]) -> BTreeMap<NaiveDate, i64> {
    let mut days: BTreeMap<NaiveDate, i64> = BTreeMap::new();
    if counter.is_empty() {
        for pair in speed.windows(2).filter(|pair| pair[1].at - pair[0].at <= BELIEVED) {
            let run = i128::from(pair[0].count.max(0)) * i128::from(pair[1].at - pair[0].at) / i128::from(MINUTE);
            *days.entry(zone.date(pair[0].at)).or_default() += run as i64;
        }
        return days;
    }
    for pair in counter.windows(2) {
        let grown = pair[1].count.saturating_sub(pair[0].count);
        let run = if grown < 0 { pair[1].count.max(0) } else { grown };
        // What was run up to midnight is shown by the reading at midnight.
        *days.entry(zone.date(pair[1].at - 1)).or_default() += run;
    }
    days
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
