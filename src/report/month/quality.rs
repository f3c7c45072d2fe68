//! Data quality: how each meter was known, and what was remarked.

use super::grid::{Cell, Grid, Table};
use crate::found::{Issue, Remark};
use crate::names::MeterId;
use crate::plant::Plant;
use crate::report::known::{Known, hours, told_hours};
use crate::report::lines::Ledger;
use crate::report::number::{Ids, UNKNOWN, grouped, percent};
use crate::report::words;
use crate::time::{Month, Zone};
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
pub fn quality(plant: &Plant, month: Month, ledger: &Ledger, known: &Known) -> Quality {
    let (meters, missing) = meters(plant, month, ledger, known);
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

/// How each meter was known, and of which of them hours are missing.
fn meters(plant: &Plant, month: Month, ledger: &Ledger, known: &Known) -> (Table, Vec<(MeterId, String)>) {
    let mut lacking = Vec::new();
    let mut grid = Grid::new("How the energy of each meter is known, as a share of the time since it was fitted")
        .words("Meter")
        .words("Measures at")
        .numbers("Energy", "kWh")
        .numbers("Metered", "%")
        .numbers("From power readings", "%")
        .numbers("Estimated", "%")
        .numbers("Spread over a gap", "%")
        .numbers("Missing", "h");
    for meter in &plant.meters {
        let time = known.meters.get(&meter.id).copied().unwrap_or_default();
        if time.missing > 0 {
            lacking.push((meter.id.clone(), told_hours(time.missing)));
        }
        let share = |millis: i64| Cell::from(percent(millis, time.all()).unwrap_or_else(|| UNKNOWN.into()));
        let point = meter.boundary.at(ledger.period.end - 1).map_or(UNKNOWN, |b| b.point.word());
        let id = Ids(month).of(&["energy", "meter", meter.id.as_str()]);
        let cells = vec![
            format!("{} {}", meter.id, meter.name).into(),
            point.into(),
            Cell::maybe((time.known() > 0).then_some(time.energy), id),
            share(time.metered),
            share(time.from_power),
            share(time.estimated),
            share(time.spread),
            Cell::of(hours(time.missing), String::new()),
        ];
        grid.row("plain", cells);
    }
    (grid.finish(), lacking)
}
