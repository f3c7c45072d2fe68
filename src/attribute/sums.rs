//! What a day adds up to: all that the comparison of months wants, and a fraction of its slices.

use crate::attribute::{DayLedger, PressState};
use crate::names::PressId;
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
    /// Milliseconds of meters whose energy is not known.
    pub unknown: i64,
    /// Whether the web of a press moved.
    pub worked: bool,
    /// Millimetres of web run on each press, by [`DayFold::web_on`](crate::attribute::DayFold::web_on); left out where that is
    /// not known.
    pub web: BTreeMap<PressId, i64>,
}

impl DaySums {
    /// Adds up the slices of a day.
    pub fn of(zone: Zone, ledger: &DayLedger, web: BTreeMap<PressId, i64>) -> Self {
        let day = zone.day(ledger.date);
        let mut quarters = vec![None; (day.millis() / QUARTER) as usize];
        let mut unknown = 0;
        for usage in ledger.slices.iter().map(|slice| &slice.usage) {
            let Some(energy) = usage.energy else {
                unknown += usage.period.millis();
                continue;
            };
            for (start, energy) in by_quarter(usage.period, energy) {
                let place = usize::try_from((start - day.start).div_euclid(QUARTER)).ok();
                if let Some(sum) = place.and_then(|place| quarters.get_mut(place)) {
                    *sum = Some(sum.unwrap_or_default() + energy);
                }
            }
        }
        let worked = ledger.slices.iter().any(|slice| slice.owner.press_state.is_some_and(PressState::is_moving));
        Self { date: ledger.date, quarters, unknown, worked, web }
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
    use crate::time::{HOUR, MINUTE};

    fn slice(start: At, millis: i64, energy: Option<i64>, press_state: Option<PressState>) -> Slice {
        let period = Period::new(start, start + millis);
        let energy = energy.map(Energy::from_mwh);
        let (amount, placed) = (Amount::Metered, Placed::Measured);
        let usage = Usage { meter: "m1".into(), period, energy, amount, placed };
        let claim = Claim::Own;
        let owner = Owner { press: None, station: None, lamp: None, press_state, lamp_state: None, run: None, claim };
        Slice { usage, owner }
    }

    #[test]
    fn a_day_of_23_hours_adds_up_by_its_own_quarter_hours_and_an_unknown_one_is_not_zero() {
        let zone = Zone::parse("Europe/London").expect("a zone");
        let date = "2026-03-29".parse().expect("a date");
        let start = zone.day(date).start;
        let slices = vec![
            slice(start, QUARTER, Some(5), None),
            slice(start + 10 * MINUTE, 20 * MINUTE, Some(9), Some(PressState::Idle)),
            slice(start + HOUR, 2 * QUARTER, None, None),
        ];
        let mut ledger = DayLedger { date, usage: Vec::new(), slices };
        let sums = DaySums::of(zone, &ledger, BTreeMap::new());
        let kept: Vec<Option<i64>> = sums.quarters.iter().map(|energy| energy.map(Energy::mwh)).collect();
        assert_eq!((kept.len(), &kept[..3]), (92, &[Some(7), Some(7), None][..]));
        assert_eq!((sums.energy(), sums.unknown), (Energy::from_mwh(14), 2 * QUARTER));
        assert!(sums.is_known() && !sums.worked);
        ledger.slices.push(slice(start, QUARTER, None, Some(PressState::NoJob)));
        assert!(DaySums::of(zone, &ledger, BTreeMap::new()).worked);
    }
}
