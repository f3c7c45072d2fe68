//! Data quality: how each meter was known, and what was remarked.

use super::grid::{Cell, Grid, Table};
use crate::attribute::{Amount, Placed, Usage};
use crate::found::{Issue, Remark};
use crate::names::MeterId;
use crate::plant::Plant;
use crate::report::input::Facts;
use crate::report::lines::Ledger;
use crate::report::number::{Ids, UNKNOWN, fixed, grouped, percent};
use crate::report::words;
use crate::time::{HOUR, Month, Zone};
use crate::units::Energy;
use serde::Serialize;
use std::collections::BTreeMap;

/// The section on data quality.
#[derive(Clone, Debug, Serialize)]
pub struct Quality {
    /// How each meter was known.
    pub meters: Table,
    /// Remarks, gathered by kind and thing.
    pub remarks: Vec<Remarks>,
    /// Meters of which time is missing, with the hours.
    #[serde(skip)]
    pub missing: Vec<(MeterId, String)>,
}

impl Quality {
    /// How many of the remarks ask for an action.
    pub fn to_act_on(&self) -> usize {
        self.remarks.iter().filter(|remark| remark.advice.is_some()).count()
    }
}

/// Remarks of one kind about one thing.
#[derive(Clone, Debug, Serialize)]
pub struct Remarks {
    /// The kind, as a heading.
    pub kind: &'static str,
    /// The thing.
    pub about: String,
    /// How many there are.
    pub count: String,
    /// First and last local day.
    pub when: String,
    /// The first of them.
    pub text: String,
    /// What to do; `None` where it is told for information.
    pub advice: Option<&'static str>,
}

/// Gathers what is to be said about the data.
pub fn quality(plant: &Plant, month: Month, facts: &Facts, ledger: &Ledger) -> Quality {
    let (meters, missing) = meters(plant, month, facts, ledger);
    Quality { meters, remarks: remarks(plant.zone, &ledger.issues), missing }
}

/// The same kind of remark about the same thing becomes one; those that ask for an action come first.
pub fn remarks(zone: Zone, issues: &[Issue]) -> Vec<Remarks> {
    let mut groups: BTreeMap<(bool, Remark, &str), Vec<&Issue>> = BTreeMap::new();
    for issue in issues {
        let key = (words::advice(issue.remark).is_none(), issue.remark, issue.about.as_str());
        groups.entry(key).or_default().push(issue);
    }
    let gathered = groups.into_iter().map(|((_, remark, about), issues)| {
        let first = issues.iter().map(|i| i.period.start).min().unwrap_or_default();
        let last = issues.iter().map(|i| (i.period.end - 1).max(i.period.start)).max().unwrap_or_default();
        let (first, last) = (zone.date(first), zone.date(last));
        Remarks {
            kind: words::remark(remark),
            about: about.to_owned(),
            count: grouped(issues.len() as u128),
            when: if first == last { first.to_string() } else { format!("{first} to {last}") },
            text: issues[0].text.clone(),
            advice: words::advice(remark),
        }
    });
    gathered.collect()
}

#[derive(Default)]
struct Known {
    energy: Energy,
    metered: i64,
    integrated: i64,
    estimated: i64,
    missing: i64,
    interpolated: i64,
}

impl Known {
    fn add(&mut self, usage: &Usage) {
        let millis = usage.period.millis();
        self.energy += usage.energy.unwrap_or(Energy::ZERO);
        match usage.amount {
            Amount::Metered => self.metered += millis,
            Amount::Integrated => self.integrated += millis,
            Amount::Estimated => self.estimated += millis,
            Amount::Missing => self.missing += millis,
        }
        if usage.energy.is_some() && usage.placed != Placed::Measured {
            self.interpolated += millis;
        }
    }
}

/// How each meter was known, and of which of them hours are missing.
fn meters(plant: &Plant, month: Month, facts: &Facts, ledger: &Ledger) -> (Table, Vec<(MeterId, String)>) {
    let mut lacking = Vec::new();
    let mut known: BTreeMap<&MeterId, Known> = BTreeMap::new();
    let days = facts.days.iter().filter(|day| ledger.days.contains(&day.value.date));
    for of_meter in days.flat_map(|day| day.value.usage.chunk_by(|a, b| a.meter == b.meter)) {
        let known = known.entry(&of_meter[0].meter).or_default();
        of_meter.iter().for_each(|usage| known.add(usage));
    }
    let span: i64 = ledger.days.iter().map(|day| plant.zone.day(*day).millis()).sum();
    let mut grid = Grid::new("How the energy of each meter is known, as a share of the time")
        .words("Meter")
        .words("Measures at")
        .numbers("Energy", "kWh")
        .numbers("Metered", "%")
        .numbers("Integrated", "%")
        .numbers("Estimated", "%")
        .numbers("Missing", "h")
        .numbers("Placed by interpolation", "%");
    for meter in &plant.meters {
        let none = Known { missing: span, ..Known::default() };
        let k = known.get(&meter.id).unwrap_or(&none);
        let share = |millis: i64| Cell::from(percent(millis, span).unwrap_or_else(|| UNKNOWN.into()));
        let missing = (span - k.metered - k.integrated - k.estimated).max(k.missing);
        if missing > 0 {
            lacking.push((meter.id.clone(), hours(missing)));
        }
        let point = meter.boundary.at(ledger.period.end - 1).map_or(UNKNOWN, |b| b.point.word());
        let id = Ids(month).of(&["energy", "meter", meter.id.as_str()]);
        let cells = vec![
            format!("{} {}", meter.id, meter.name).into(),
            point.into(),
            Cell::maybe((missing < span).then_some(k.energy), id),
            share(k.metered),
            share(k.integrated),
            share(k.estimated),
            hours(missing).into(),
            share(k.interpolated),
        ];
        grid.row("plain", cells);
    }
    (grid.finish(), lacking)
}

/// Hours to the hundredth.
pub fn hours(millis: i64) -> String {
    if millis == 0 { "0".into() } else { fixed(millis.saturating_mul(1_000) / (HOUR / 1_000), 2) }
}
