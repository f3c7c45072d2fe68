//! What a day adds up to: all that the comparison of months wants, and a fraction of its slices.

use crate::attribute::DayLedger;
use crate::names::PressId;
use crate::plant::{Meter, Plant};
use crate::time::{At, Period, QUARTER, Zone};
use crate::units::Energy;
use chrono::NaiveDate;
use std::collections::BTreeMap;

/// The sums of one local day.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DaySums {
    /// The local day.
    pub date: NaiveDate,
    /// Energy of all slices in each quarter hour of the day; `None` where that of no slice is known.
    pub quarters: Vec<Option<Energy>>,
    /// Whether the draw of the plant is known from midnight to midnight.
    pub whole: bool,
    /// Whether the web of a press moved, by [`DayFold::worked_on`](crate::attribute::DayFold::worked_on); `None` where that
    /// is not known.
    pub worked: Option<bool>,
    /// Millimetres of web run on each press, by [`DayFold::web_on`](crate::attribute::DayFold::web_on); left out where that is
    /// not known.
    pub web: BTreeMap<PressId, i64>,
}

impl DaySums {
    /// Adds up the slices of a day; whether and how far webs moved is handed on.
    pub fn of(plant: &Plant, ledger: &DayLedger, worked: Option<bool>, web: BTreeMap<PressId, i64>) -> Self {
        let day = plant.zone.day(ledger.date);
        let mut quarters = vec![None; (day.millis() / QUARTER) as usize];
        for usage in ledger.slices.iter().map(|slice| &slice.usage) {
            let Some(energy) = usage.energy else { continue };
            for (start, energy) in by_quarter(usage.period, energy) {
                let place = usize::try_from((start - day.start).div_euclid(QUARTER)).ok();
                if let Some(sum) = place.and_then(|place| quarters.get_mut(place)) {
                    *sum = Some(sum.unwrap_or_default() + energy);
                }
            }
        }
        Self { date: ledger.date, quarters, whole: is_whole(plant, ledger, day), worked, web }
    }

    /// Whether any of its energy is known.
    pub fn is_known(&self) -> bool {
        self.quarters.iter().any(Option::is_some)
    }

    /// Its energy, as far as it is known.
    pub fn energy(&self) -> Energy {
        self.quarters.iter().flatten().sum()
    }

    /// Its quarter hours with their energy.
    pub fn used(&self, zone: Zone) -> impl Iterator<Item = (Period, Option<Energy>)> + '_ {
        let start = zone.day(self.date).start;
        let quarter = move |k: i64| Period::new(start + k * QUARTER, start + (k + 1) * QUARTER);
        (0..).map(quarter).zip(self.quarters.iter().copied())
    }
}

/// Whether every meter that stands below no other is known all day: together they show what the plant draws. One that
/// was fitted later is not asked.
fn is_whole(plant: &Plant, ledger: &DayLedger, day: Period) -> bool {
    let of = |meter: &Meter| ledger.usage.iter().filter(|usage| usage.meter == meter.id).collect::<Vec<_>>();
    let tops = plant.meters.iter().filter(|meter| meter.below.is_none()).map(of).filter(|usage| !usage.is_empty());
    let known = tops.map(|usage| usage.iter().filter(|u| u.energy.is_some()).map(|u| u.period.millis()).sum::<i64>());
    known.min() == Some(day.millis())
}

/// The quarter hours of a period, by their start, with the part of its energy in each, even over time.
pub fn by_quarter(period: Period, energy: Energy) -> impl Iterator<Item = (At, Energy)> {
    let first = period.start.floor(QUARTER);
    let whole = (period.end <= first + QUARTER).then_some((first, energy));
    let several = if whole.is_some() { Vec::new() } else { split(first, period, energy) };
    whole.into_iter().chain(several)
}

fn split(first: At, period: Period, energy: Energy) -> Vec<(At, Energy)> {
    let starts: Vec<At> = (0..).map(|k| first + k * QUARTER).take_while(|start| *start < period.end).collect();
    let inside = |start: At| Period::new(start, start + QUARTER).overlap(period).map_or(0, Period::millis);
    let weights: Vec<i128> = starts.iter().map(|start| i128::from(inside(*start))).collect();
    starts.into_iter().zip(energy.split(&weights).unwrap_or_default()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::attribute::{Amount, Claim, Owner, Placed, Slice, Usage};
    use crate::plant::example;
    use crate::time::{HOUR, MINUTE};

    fn plant(meters: &[(&str, Option<&str>)]) -> Plant {
        let meter = |(id, below): &(&str, Option<&str>)| Meter { below: below.map(Into::into), ..example::meter(id) };
        let zone = Zone::parse("Europe/London").expect("a zone");
        Plant { meters: meters.iter().map(meter).collect(), ..example::plant(zone) }
    }

    fn usage(meter: &str, start: At, millis: i64, energy: Option<i64>) -> Usage {
        let (amount, placed) = (Amount::Metered, Placed::Measured);
        let energy = energy.map(Energy::from_mwh);
        Usage { meter: meter.into(), period: Period::new(start, start + millis), energy, amount, placed }
    }

    fn slice(usage: Usage) -> Slice {
        let (press, station, lamp, press_state, lamp_state, run) = (None, None, None, None, None, None);
        Slice { usage, owner: Owner { press, station, lamp, press_state, lamp_state, run, claim: Claim::Own } }
    }

    #[test]
    fn a_day_of_23_hours_adds_up_by_its_own_quarter_hours_and_an_unknown_one_is_not_zero() {
        let plant = plant(&[("m1", None)]);
        let date = "2026-03-29".parse().expect("a date");
        let start = plant.zone.day(date).start;
        let slices = [
            usage("m1", start, QUARTER, Some(5)),
            usage("m1", start + 10 * MINUTE, 20 * MINUTE, Some(9)),
            usage("m1", start + HOUR, 2 * QUARTER, None),
        ];
        let ledger = DayLedger { date, usage: Vec::new(), slices: slices.map(slice).to_vec() };
        let sums = DaySums::of(&plant, &ledger, None, BTreeMap::new());
        let kept: Vec<Option<i64>> = sums.quarters.iter().map(|energy| energy.map(Energy::mwh)).collect();
        assert_eq!((kept.len(), &kept[..3]), (92, &[Some(7), Some(7), None][..]));
        assert_eq!(sums.energy(), Energy::from_mwh(14));
        assert!(sums.is_known() && !sums.whole);
    }

    #[test]
    fn a_day_is_whole_where_all_that_the_plant_draws_is_known_from_midnight_to_midnight() {
        let plant = plant(&[("top", None), ("later", None), ("low", Some("top"))]);
        let date = "2026-03-29".parse().expect("a date");
        let (start, length) = (plant.zone.day(date).start, 23 * HOUR);
        let whole = |usage: Vec<Usage>| {
            DaySums::of(&plant, &DayLedger { date, usage, slices: Vec::new() }, None, BTreeMap::new()).whole
        };
        let known = || usage("top", start, length, Some(1));
        assert!(whole(vec![known()]), "the other was fitted later");
        assert!(whole(vec![known(), usage("low", start, length, None)]), "the one above shows the same energy");
        assert!(!whole(vec![known(), usage("later", start + HOUR, 22 * HOUR, Some(1))]), "fitted on this day");
        assert!(!whole(vec![known(), usage("later", start, length, None)]));
        assert!(!whole(vec![usage("top", start, length - HOUR, Some(1))]), "a day that still runs");
        assert!(!whole(vec![usage("low", start, length, Some(1))]) && !whole(Vec::new()));
    }
}
