//! The load of the month: energy day by day, and power over a mean day.

use super::uses::Use;
use crate::plant::Plant;
use crate::report::chart::{Column, Curve, Layer, profile, stacked};
use crate::report::lines::Ledger;
use crate::report::number::{Figure, Ids, fixed, kilowatts, shares};
use crate::report::peak::quarters;
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
    let layers: Vec<Layer> = uses.iter().map(|u| Layer { class: u.class(), name: u.word() }).collect();
    let description = "One column a day, stacked from the ground up in the order of the legend.";
    stacked(&format!("Electricity by day, {month}"), description, "kWh", &layers, &columns)
}

/// The mean day, of days with production, of days without and of days of which nobody knows; each by the local clock.
fn mean_day(plant: &Plant, ledger: &Ledger, worked: &Worked) -> (Option<String>, Vec<Key>) {
    let series = quarters(plant, ledger);
    // Where the supply is metered by the half hour, quarter hours would show what nobody measured.
    let tops = plant.meters.iter().filter(|m| m.below.is_none());
    let kind = |worked: &Option<bool>| worked.map_or(2, |worked| usize::from(!worked));
    let step = tops.map(|m| m.native).max().unwrap_or(QUARTER).clamp(QUARTER, HOUR);
    let mut sums = [0, 1, 2].map(|_| vec![(Energy::ZERO, 0_i64); (24 * HOUR / step) as usize]);
    let missing = missing(plant, ledger);
    for (k, energy) in series.iter().enumerate() {
        let local = plant.zone.local(ledger.period.start + k as i64 * QUARTER);
        if let Some(kind) = worked.get(&local.date_naive()).map(kind).filter(|_| !missing.contains(&k)) {
            let place = i64::from(local.num_seconds_from_midnight()) * 1_000 / step;
            let slot = &mut sums[kind][place as usize];
            *slot = (slot.0 + *energy, slot.1 + QUARTER);
        }
    }
    let days = |wanted: usize| worked.values().filter(|worked| kind(worked) == wanted).count();
    let names = [
        ("worked", format!("Days with production ({})", days(0))),
        ("idle", format!("Days without ({})", days(1))),
        ("unsure", format!("Days of which production is not known ({})", days(2))),
    ];
    let curves: Vec<(Curve, Energy, i64)> = names
        .into_iter()
        .zip(sums)
        .filter(|(_, sums)| sums.iter().any(|(_, millis)| *millis > 0))
        .map(|((class, name), sums)| {
            let watts = |(energy, millis): &(Energy, i64)| energy.mean_watts(*millis).map(|watts| watts / 1_000.0);
            let curve = Curve { class, name, values: sums.iter().map(watts).collect() };
            (curve, sums.iter().map(|s| s.0).sum(), sums.iter().map(|s| s.1).sum())
        })
        .collect();
    let keys = curves.iter().map(|(curve, energy, millis)| Key {
        class: curve.class,
        name: curve.name.clone(),
        figure: Figure::plain(kilowatts(*energy, *millis).unwrap_or_default(), "kW mean"),
        share: String::new(),
    });
    let keys: Vec<Key> = keys.collect();
    let drawn: Vec<Curve> = curves.into_iter().map(|(curve, _, _)| curve).collect();
    let title = "Mean power over the day by the local clock";
    let drawing = (!drawn.is_empty())
        .then(|| profile(title, &format!("Each step is a mean of {} minutes.", step / MINUTE), "kW", &drawn));
    (drawing, keys)
}

/// The quarter hours in which a meter at the top is not known: what the others show is not the draw of the plant.
fn missing(plant: &Plant, ledger: &Ledger) -> BTreeSet<usize> {
    let tops: BTreeSet<_> = plant.meters.iter().filter(|m| m.below.is_none()).map(|m| &m.id).collect();
    let unknown = ledger.lines.iter().map(|line| &line.slice.usage).filter(|usage| usage.energy.is_none());
    let of_tops = unknown.filter(|usage| tops.contains(&usage.meter)).map(|usage| usage.period);
    let place = |at: At| ((at - ledger.period.start).max(0) / QUARTER) as usize;
    of_tops.flat_map(|period| place(period.start)..=place(period.end - 1)).collect()
}
