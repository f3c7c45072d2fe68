//! The jobs of the month.

use super::grid::{Cell, Grid, Table};
use crate::plant::Plant;
use crate::report::accounts::Account;
use crate::report::jobs::{Job, NoFigure};
use crate::report::lines::Ledger;
use crate::report::number::{Ids, UNKNOWN, grouped, percent};
use crate::report::sums::{Sums, total};
use crate::report::words;
use crate::time::Month;
use crate::units::Energy;
use serde::Serialize;
use std::collections::BTreeMap;

/// As many jobs as fit a page; the file has all.
const SHOWN: usize = 24;

/// The section on jobs.
#[derive(Clone, Debug, Serialize)]
pub struct Jobs {
    /// How many there were.
    pub count: String,
    /// Share of their energy that went into make-ready, in per cent.
    pub make_ready: Option<String>,
    /// The largest, the others in one row, and what no job was charged with; adds up to the plant.
    pub table: Table,
    /// How many have no energy per length, and why; empty where all have one.
    pub without: Vec<String>,
    /// Whether any of those shown is indicative.
    pub indicative: bool,
}

/// Lists the jobs; `None` where there was none.
pub fn jobs(plant: &Plant, month: Month, ledger: &Ledger, jobs: &[Job]) -> Option<Jobs> {
    if jobs.is_empty() {
        return None;
    }
    let (shown, others) = largest(jobs);
    let mut grid = Grid::new("The jobs with the most energy; those without a figure per length stand last")
        .words("Job")
        .words("Press")
        .words("Start")
        .numbers("Good length", "m")
        .decimals("Energy", "kWh", 1)
        .decimals("Make-ready", "kWh", 1)
        .decimals("Cost", &plant.currency, 2)
        .decimals("Carbon", &ledger.carbon_unit("kg"), 1)
        .numbers("per 1,000 m", "kWh")
        .numbers("per 1,000 m²", "kWh");
    for job in &shown {
        grid.row("plain", row(plant, Ids(month), job));
    }
    let rest = |kind, name: String, path: &str, sums: &Sums, make_ready: Option<Energy>, grid: &mut Grid| {
        let ids = Ids(month);
        let cells = vec![
            name.into(),
            "".into(),
            "".into(),
            "".into(),
            Cell::of(sums.energy, ids.of(&["energy", "jobs", path])),
            make_ready.map_or_else(|| "".into(), |e| Cell::of(e, ids.of(&["make-ready", "jobs", path]))),
            Cell::maybe(sums.cost(), ids.of(&["cost", "jobs", path])),
            Cell::maybe(sums.co2e(), ids.of(&["carbon", "jobs", path])),
            "".into(),
            "".into(),
        ];
        grid.row(kind, cells);
    };
    let known: std::collections::BTreeSet<_> = jobs.iter().map(|job| &job.run.id).collect();
    let run = |account: &Account| account.slice.owner.run.clone();
    if !others.is_empty() {
        let ids: std::collections::BTreeSet<_> = others.iter().map(|job| &job.run.id).collect();
        let of_others = ledger.accounts.iter().filter(|a| run(a).is_some_and(|id| ids.contains(&id)));
        let ready = others.iter().map(|job| job.make_ready).sum();
        let name = format!("{} other jobs", others.len());
        rest("plain", name, "others", &total(of_others), Some(ready), &mut grid);
    }
    let outside = ledger.accounts.iter().filter(|a| run(a).is_none_or(|id| !known.contains(&id)));
    rest("plain", "Charged to no job".into(), "none", &total(outside), None, &mut grid);
    let ready: Energy = jobs.iter().map(|job| job.make_ready).sum();
    rest("sum", "Plant".into(), "plant", &total(&ledger.accounts), Some(ready), &mut grid);

    let energy: Energy = jobs.iter().map(|job| job.all.energy).sum();
    Some(Jobs {
        count: grouped(jobs.len() as u128),
        make_ready: percent(ready.mwh(), energy.mwh()),
        table: grid.finish(),
        without: without(jobs),
        indicative: shown.iter().any(|job| job.indicative),
    })
}

/// The jobs that the page lists one by one, and those that it lists in one row.
pub fn largest<'j, 'a>(jobs: &'j [Job<'a>]) -> (Vec<&'j Job<'a>>, Vec<&'j Job<'a>>) {
    let mut largest: Vec<&Job> = jobs.iter().collect();
    largest.sort_by_key(|job| (job.no_figure().is_some(), -job.all.energy.mwh(), job.run.start, &job.run.id));
    let others = largest.split_off(largest.len().min(SHOWN));
    (largest, others)
}

/// How many jobs have no energy per length, by reason.
fn without(jobs: &[Job]) -> Vec<String> {
    let mut reasons: BTreeMap<NoFigure, (usize, Energy)> = BTreeMap::new();
    for (reason, job) in jobs.iter().filter_map(|job| Some((job.no_figure()?, job))) {
        let (count, energy) = reasons.entry(reason).or_default();
        (*count, *energy) = (*count + 1, *energy + job.all.energy);
    }
    let told = |(reason, (count, energy)): (NoFigure, (usize, Energy))| {
        let jobs = if count == 1 { "job" } else { "jobs" };
        format!("{count} {jobs} with {} kWh: {}", energy.rounded(), words::no_figure(reason))
    };
    reasons.into_iter().map(told).collect()
}

fn row(plant: &Plant, ids: Ids, job: &Job) -> Vec<Cell> {
    let run = job.run;
    let id = |what: &str| ids.of(&[what, "job", run.id.as_str()]);
    let mark = if job.indicative { " ≈" } else { "" };
    let reason = job.no_figure().map_or_else(String::new, |reason| format!(" ({})", words::no_figure(reason)));
    let name = run.product.as_ref().map_or_else(|| run.job.clone(), |product| format!("{}, {product}", run.job));
    let length = run.good_mm.filter(|mm| *mm > 0).map(|mm| grouped(u128::from((mm.unsigned_abs() + 500) / 1_000)));
    vec![
        format!("{name}{mark}{reason}").into(),
        plant.press(&run.press).map_or_else(|| run.press.to_string(), |press| press.name.clone()).into(),
        plant.zone.local(run.start).format("%-d %b %H:%M").to_string().into(),
        length.unwrap_or_else(|| UNKNOWN.into()).into(),
        Cell::of(job.all.energy, id("energy")),
        Cell::of(job.make_ready, id("make-ready")),
        Cell::maybe(job.all.cost(), id("cost")),
        Cell::maybe(job.all.co2e(), id("carbon")),
        Cell::maybe(job.per_length(), id("energy-per-1000-m")),
        Cell::maybe(job.per_area(), id("energy-per-1000-m2")),
    ]
}
