//! The load of the month: energy day by day, and power over a mean day.

use super::uses::Use;
use crate::plant::Plant;
use crate::report::chart::{Column, Curve, Layer, Words, profile, stacked};
use crate::report::lines::Ledger;
use crate::report::number::{Figure, Ids, fixed, kilowatts, shares};
use crate::report::peak::{of_plant, quarters};
use crate::report::sums::by;
use crate::time::{At, HOUR, MINUTE, Month, QUARTER};
use crate::units::Energy;
use chrono::{Datelike, NaiveDate, Timelike};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// The section on the load.
#[derive(Clone, Debug, Serialize)]
pub struct Load {
    /// Energy day by day, as SVG.
    pub daily: String,
    /// The layers of that drawing from the ground up, with their sums.
    pub legend: Vec<Key>,
    /// Power over a mean day, as SVG; `None` without a whole day.
    pub profile: Option<String>,
    /// The curves of that drawing.
    pub curves: Vec<Key>,
}

/// An entry of a legend.
#[derive(Clone, Debug, Serialize)]
pub struct Key {
    /// Class of its swatch.
    pub class: &'static str,
    /// Name.
    pub name: String,
    /// What it amounts to.
    pub figure: Figure,
    /// Its share in per cent; empty where it has none.
    pub share: String,
}

/// Draws the load of a month.
pub fn load(plant: &Plant, month: Month, ledger: &Ledger) -> Load {
    let sums = by(&ledger.accounts, |slice| Some(Use::of(plant, slice)));
    let uses: Vec<Use> =
        Use::ALL.into_iter().filter(|u| sums.get(u).is_some_and(|s| s.energy > Energy::ZERO)).collect();
    let energy = |u: Use| sums.get(&u).map_or(0, |s| s.energy.mwh());
    let shares: BTreeMap<Use, String> = Use::ALL.into_iter().zip(shares(&Use::ALL.map(energy))).collect();
    let key = |u: &Use| Key {
        class: u.class(),
        name: u.word().into(),
        figure: Figure::plain(fixed(sums[u].energy, 0), "kWh").with(Ids(month).of(&["use", u.class()])),
        share: shares[u].clone(),
    };
    let worked = ledger.sums.iter().filter(|day| day.is_known()).map(|day| (day.date, day.worked)).collect();
    let (profile, curves) = mean_day(plant, ledger, &worked);
    Load { daily: daily(plant, month, ledger, &uses, &worked), legend: uses.iter().map(key).collect(), profile, curves }
}

/// Of each day of which any energy is known, whether a press produced.
type Worked = BTreeMap<NaiveDate, Option<bool>>;

fn daily(plant: &Plant, month: Month, ledger: &Ledger, uses: &[Use], worked: &Worked) -> String {
    let used: Vec<Use> = ledger.accounts.iter().map(|account| Use::of(plant, account.slice)).collect();
    let mut days: BTreeMap<(NaiveDate, Use), Energy> = BTreeMap::new();
    for line in &ledger.lines {
        *days.entry((line.day, used[line.account])).or_default() += line.energy();
    }
    let value = |day, u: &Use| days.get(&(day, *u)).map_or(0.0, |energy| energy.kwh());
    let columns: Vec<Column> = month
        .days()
        .map(|day| Column {
            label: day.day().to_string(),
            name: day.format("%a %-d %b").to_string(),
            part: ledger.sums.iter().any(|sums| sums.date == day && !sums.whole),
            apart: worked.get(&day) == Some(&Some(false)),
            values: worked.contains_key(&day).then(|| uses.iter().map(|u| value(day, u)).collect()),
        })
        .collect();
    let layers: Vec<Layer> = uses.iter().map(|u| Layer { class: u.class(), name: u.word().into() }).collect();
    let description = "One column a day, stacked from the ground up in the order of the legend.";
    let words = Words { title: &format!("Electricity by day, {month}"), description, unit: "kWh", every: 7 };
    stacked(words, &layers, &columns)
}

/// The mean day, of days with production, of days without and of days of which nobody knows; beside them the day of the
/// peak. Each by the local clock.
fn mean_day(plant: &Plant, ledger: &Ledger, worked: &Worked) -> (Option<String>, Vec<Key>) {
    // Where the supply is metered by the half hour, quarter hours would show what nobody measured.
    let tops = plant.meters.iter().filter(|m| m.below.is_none());
    let step = tops.map(|m| m.native).max().unwrap_or(QUARTER).clamp(QUARTER, HOUR);
    let clock = Clock::of(plant, ledger, step);
    let kinds = [
        ("worked", Some(true), "Days with production"),
        ("idle", Some(false), "Days without"),
        ("unsure", None, "Days of which production is not known"),
    ];
    let mut curves: Vec<(Curve, Figure)> = Vec::new();
    for (class, wanted, words) in kinds {
        let days = worked.values().filter(|worked| **worked == wanted).count();
        let slots = clock.slots(|day| worked.get(&day) == Some(&wanted));
        let (energy, millis) = slots.iter().fold((Energy::ZERO, 0), |sum, slot| (sum.0 + slot.0, sum.1 + slot.1));
        if let Some(mean) = kilowatts(energy, millis) {
            let curve = Curve { class, name: format!("{words} ({days})"), values: watts(&slots) };
            curves.push((curve, Figure::plain(mean, "kW mean")));
        }
    }
    if let Some(peak) = of_plant(plant, ledger) {
        let start = plant.zone.local(peak.period.start);
        let slots = clock.slots(|day| day == start.date_naive());
        let name = format!("Day of the peak, {}", start.format("%a %-d %b"));
        let highest = kilowatts(peak.energy, peak.period.millis()).unwrap_or_default();
        let figure = Figure::plain(highest, &format!("kW at {}", start.format("%H:%M")));
        curves.push((Curve { class: "peak", name, values: watts(&slots) }, figure));
    }
    let key = |(curve, figure): &(Curve, Figure)| Key {
        class: curve.class,
        name: curve.name.clone(),
        figure: figure.clone(),
        share: String::new(),
    };
    let keys: Vec<Key> = curves.iter().map(key).collect();
    let drawn: Vec<Curve> = curves.into_iter().map(|(curve, _)| curve).collect();
    let title = "Power over the day by the local clock";
    let drawing = (!drawn.is_empty())
        .then(|| profile(title, &format!("Each step is a mean of {} minutes.", step / MINUTE), "kW", &drawn));
    (drawing, keys)
}

/// Quarter hours whose energy is known, laid on a local clock.
struct Clock {
    /// Day and step of the day of each, and its energy.
    quarters: Vec<(NaiveDate, usize, Energy)>,
    /// Milliseconds of a step.
    step: i64,
}

impl Clock {
    fn of(plant: &Plant, ledger: &Ledger, step: i64) -> Self {
        let missing = missing(plant, ledger);
        let known = quarters(plant, ledger).into_iter().enumerate().filter(|(k, _)| !missing.contains(k));
        let place = |(k, energy): (usize, Energy)| {
            let local = plant.zone.local(ledger.period.start + k as i64 * QUARTER);
            let slot = i64::from(local.num_seconds_from_midnight()) * 1_000 / step;
            (local.date_naive(), slot as usize, energy)
        };
        Self { quarters: known.map(place).collect(), step }
    }

    /// Energy and milliseconds in each step of the day, on the days that are wanted.
    fn slots(&self, wanted: impl Fn(NaiveDate) -> bool) -> Vec<(Energy, i64)> {
        let mut slots = vec![(Energy::ZERO, 0_i64); (24 * HOUR / self.step) as usize];
        for (_, place, energy) in self.quarters.iter().filter(|(day, ..)| wanted(*day)) {
            let slot = &mut slots[*place];
            *slot = (slot.0 + *energy, slot.1 + QUARTER);
        }
        slots
    }
}

/// Mean kilowatts of each step.
fn watts(slots: &[(Energy, i64)]) -> Vec<Option<f64>> {
    slots.iter().map(|(energy, millis)| energy.mean_watts(*millis).map(|watts| watts / 1_000.0)).collect()
}

/// The quarter hours in which a meter at the top is not known: what the others show is not the draw of the plant.
fn missing(plant: &Plant, ledger: &Ledger) -> BTreeSet<usize> {
    let tops: BTreeSet<_> = plant.meters.iter().filter(|m| m.below.is_none()).map(|m| &m.id).collect();
    let unknown = ledger.lines.iter().map(|line| &line.slice.usage).filter(|usage| usage.energy.is_none());
    let of_tops = unknown.filter(|usage| tops.contains(&usage.meter)).map(|usage| usage.period);
    let place = |at: At| ((at - ledger.period.start).max(0) / QUARTER) as usize;
    of_tops.flat_map(|period| place(period.start)..=place(period.end - 1)).collect()
}
