//! Power from energy: the series of a quarter hour each, and the highest mean of an interval.
//!
//! A peak is taken from summed energy of its own group. Peaks of parts are never added up.

use super::accounts::group;
use super::lines::Ledger;
use crate::attribute::{Slice, by_quarter};
use crate::plant::Plant;
use crate::time::{At, HOUR, Period, QUARTER};
use crate::units::{Energy, divide_rounded};
use std::collections::BTreeMap;

/// The highest mean over an interval.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Peak {
    /// Energy of that interval.
    pub energy: Energy,
    /// The interval: a quarter hour, or the longest native interval of the meters behind it.
    pub period: Period,
}

impl Peak {
    /// Its mean power.
    pub fn milliwatts(self) -> i64 {
        divide_rounded(i128::from(self.energy.mwh()) * i128::from(HOUR), i128::from(self.period.millis())) as i64
    }
}

/// Energy of the plant in each quarter hour of the month.
pub fn quarters(plant: &Plant, ledger: &Ledger) -> Vec<Energy> {
    let mut series = Series::of(ledger.period);
    for (period, energy) in ledger.sums.iter().flat_map(|day| day.used(plant.zone)) {
        series.add(period, energy.unwrap_or_default());
    }
    series.energy
}

/// Energy of each quarter hour of a period.
#[derive(Clone)]
struct Series {
    start: At,
    energy: Vec<Energy>,
}

impl Series {
    fn of(period: Period) -> Self {
        Self { start: period.start, energy: vec![Energy::ZERO; (period.millis() / QUARTER) as usize] }
    }

    fn add(&mut self, period: Period, energy: Energy) {
        for (start, energy) in by_quarter(period, energy) {
            let place = usize::try_from((start - self.start).div_euclid(QUARTER)).ok();
            if let Some(sum) = place.and_then(|place| self.energy.get_mut(place)) {
                *sum += energy;
            }
        }
    }
}

/// The peak of the plant. Whatever stands below the meters at the top adds up to them: their intervals decide.
pub fn of_plant(plant: &Plant, ledger: &Ledger) -> Option<Peak> {
    let tops = plant.meters.iter().filter(|meter| meter.below.is_none());
    let step = tops.map(|meter| meter.native).fold(QUARTER, i64::max);
    highest(&quarters(plant, ledger), ledger.period.start, step)
}

/// The peak of each group of accounts.
pub fn peaks<'a, K: Ord>(
    plant: &Plant,
    ledger: &Ledger<'a>,
    key: impl Fn(&'a Slice) -> Option<K>,
) -> BTreeMap<K, Peak> {
    let groups = group(&ledger.accounts, key);
    let native: BTreeMap<_, i64> = plant.meters.iter().map(|m| (&m.id, m.native)).collect();
    let mut steps = vec![QUARTER; groups.keys.len()];
    for (account, place) in ledger.accounts.iter().zip(&groups.of) {
        let step = native.get(&account.slice.usage.meter).copied().unwrap_or(QUARTER);
        place.iter().for_each(|place| steps[*place] = steps[*place].max(step));
    }
    let mut series = vec![Series::of(ledger.period); groups.keys.len()];
    for line in &ledger.lines {
        groups.of[line.account].iter().for_each(|place| series[*place].add(line.slice.usage.period, line.energy()));
    }
    let peaks = series.iter().zip(steps).map(|(series, step)| highest(&series.energy, series.start, step));
    groups.keys.into_iter().zip(peaks).filter_map(|(key, peak)| Some((key, peak?))).collect()
}

/// The highest mean of a series over intervals of `step`; the first of equals.
pub fn highest(series: &[Energy], start: At, step: i64) -> Option<Peak> {
    let wide = (step / QUARTER).max(1);
    let means = series.chunks(wide as usize).zip(0_i64..);
    let (energy, at) = means.map(|(chunk, k)| (chunk.iter().sum::<Energy>(), k)).max_by_key(|(e, k)| (*e, -k))?;
    let start = start + at * wide * QUARTER;
    (energy > Energy::ZERO).then(|| Peak { energy, period: Period::new(start, start + wide * QUARTER) })
}
