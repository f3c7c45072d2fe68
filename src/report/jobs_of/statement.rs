//! The statement on one job: energy and carbon, what is inside and what is not, on one page for the customer.

use super::with_jobs;
use crate::attribute::{Amount, Claim, PressState, Slice};
use crate::names::RunId;
use crate::report::csv::table::{CsvTable, Kind, Writer, column, measured};
use crate::report::html::{TemplateError, render_as};
use crate::report::input::{Basis, Text};
use crate::report::jobs::{AREA, Job, LENGTH, per_size};
use crate::report::lines::{Ledger, carbon_unit};
use crate::report::month::grid::{Cell, Grid, Table};
use crate::report::number::{Figure, UNKNOWN, fixed, percent, significant};
use crate::report::render::ReportFile;
use crate::report::sums::{Sums, total};
use crate::report::words;
use crate::units::{Co2e, Energy};
use serde::Serialize;
use std::collections::BTreeSet;

/// One job for its customer.
#[derive(Clone, Debug, Serialize)]
pub struct JobStatement {
    /// Name of the plant.
    pub plant: String,
    /// The job number.
    pub job: String,
    /// What was printed.
    pub product: Option<String>,
    /// When and where: a line for each run.
    pub runs: Vec<String>,
    /// The figures at the top.
    pub figures: Vec<(&'static str, Figure)>,
    /// What the energy is made of.
    pub parts: Table,
    /// What the figures include, a sentence each.
    pub inside: Vec<String>,
    /// What they leave out.
    pub outside: Vec<String>,
    /// How far they may be trusted.
    pub trust: Vec<String>,
    /// The table of the same.
    #[serde(skip)]
    table: CsvTable,
}

/// The statement on a job; `None` where no run of it was charged with anything on the days.
pub fn statement(basis: &Basis, job: &str) -> Option<JobStatement> {
    with_jobs(basis, |ledger, _, jobs| {
        let own: Vec<&Job> = jobs.iter().filter(|one| one.run.job == job).collect();
        (!own.is_empty()).then(|| laid_out(basis, ledger, job, &own))
    })
}

/// The page and its table.
///
/// # Errors
/// A template that cannot be used.
pub fn statement_files(statement: &JobStatement, templates: &[Text]) -> Result<Vec<ReportFile>, TemplateError> {
    let page = render_as("report/job.html", statement, templates)?;
    let CsvTable { bytes, metadata, .. } = statement.table.clone();
    Ok(vec![
        ReportFile { name: "statement.html".into(), bytes: page.into_bytes() },
        ReportFile { name: "statement.csv".into(), bytes },
        ReportFile { name: "statement.csv-metadata.json".into(), bytes: metadata },
    ])
}

/// A part of a job's energy.
struct Part {
    label: &'static str,
    sums: Sums,
}

/// Printing, make-ready and shared loads; they add up to all that the job was charged with.
fn parts(ledger: &Ledger, runs: &BTreeSet<&RunId>) -> [Part; 3] {
    let of = |wanted: &dyn Fn(&Slice) -> bool| {
        let is_own = |slice: &Slice| slice.owner.run.as_ref().is_some_and(|run| runs.contains(run));
        total(ledger.accounts.iter().filter(|account| is_own(account.slice) && wanted(account.slice)))
    };
    let shared = |slice: &Slice| slice.owner.claim == Claim::Shared;
    let ready = |slice: &Slice| slice.owner.press_state == Some(PressState::MakeReady);
    [
        Part { label: "Press and lamps, printing", sums: of(&|slice| !shared(slice) && !ready(slice)) },
        Part { label: "Press and lamps, make-ready", sums: of(&|slice| !shared(slice) && ready(slice)) },
        Part { label: "Shares of shared loads", sums: of(&shared) },
    ]
}

fn laid_out(basis: &Basis, ledger: &Ledger, job: &str, own: &[&Job]) -> JobStatement {
    let runs: BTreeSet<&RunId> = own.iter().map(|one| &one.run.id).collect();
    let parts = parts(ledger, &runs);
    let all = parts.iter().fold(Sums::default(), |sums, part| sums + part.sums);
    let good = own.iter().map(|one| one.run.good_mm).sum::<Option<i64>>().filter(|mm| *mm > 0);
    let area = own.iter().map(|one| one.run.good_mm?.checked_mul(one.run.width_mm?)).sum::<Option<i64>>();
    let is_whole = own.iter().all(|one| one.no_figure().is_none());
    let unit = carbon_unit("kg", ledger.footprint.co2_only());
    let co2e = all.co2e().filter(|_| all.unfactored() == Energy::ZERO);
    // What leaves something out is not stated for a length.
    let for_size = |count, size: Option<i64>, unit| per_size(count, size.filter(|_| is_whole)?, unit);
    let for_length = |count| for_size(count, good, LENGTH);
    let for_area = |count| for_size(count, area, AREA);
    let (energy, carbon) = (all.energy.mwh(), co2e.map(Co2e::mg));
    let kwh = |label, name, count| Stated { label, name, unit: "kWh", count };
    let kg = |label, name, count| Stated { label, name, unit: "kg", count };
    let stated = [
        kwh("Electricity", "energy_kwh", Some(energy)),
        kg("Carbon, location-based", "co2e_kg", carbon),
        kwh("Electricity for 1,000 m of good web", "energy_per_1000_m_kwh", for_length(energy)),
        kg("Carbon for 1,000 m of good web", "co2e_per_1000_m_kg", carbon.and_then(for_length)),
        kwh("Electricity for 1,000 m² of good web", "energy_per_1000_m2_kwh", for_area(energy)),
        kg("Carbon for 1,000 m² of good web", "co2e_per_1000_m2_kg", carbon.and_then(for_area)),
    ];
    let outside = OUTSIDE.map(String::from).to_vec();
    let (inside, trust) = (inside(basis, ledger), trust(ledger, own, &runs, &all));
    let gases = if ledger.footprint.co2_only() { "CO2" } else { "CO2e" };
    let told = [("inside", &inside[..]), ("not_inside", &outside), ("trust", &trust)];
    JobStatement {
        table: table(job, &stated, &parts, told, gases),
        plant: basis.plant.name.clone(),
        job: job.to_owned(),
        product: own.iter().find_map(|one| one.run.product.clone()),
        runs: own.iter().map(|one| run_line(basis, one)).collect(),
        figures: stated.iter().map(|one| (one.label, one.shown(&unit))).collect(),
        parts: parts_table(&parts, &all, &unit),
        inside,
        outside,
        trust,
    }
}

fn run_line(basis: &Basis, one: &Job) -> String {
    let (run, zone) = (one.run, basis.plant.zone);
    let press = basis.plant.press(&run.press).map_or_else(|| run.press.to_string(), |press| press.name.clone());
    let at = |at| zone.local(at).format("%Y-%m-%d %H:%M").to_string();
    let end = run.end.map_or_else(|| "no end recorded".to_owned(), at);
    let good = run.good_mm.map_or_else(
        || "good length not recorded".to_owned(),
        |mm| format!("{} m good", crate::units::fixed(mm.into(), 3, 0)),
    );
    let width = run.width_mm.map_or_else(String::new, |mm| format!(", {mm} mm wide"));
    format!("{press}, {} to {end}, {good}{width}", at(run.start))
}

fn parts_table(parts: &[Part], all: &Sums, unit: &str) -> Table {
    let mut grid =
        Grid::new("What it is made of").words("").decimals("Electricity", "kWh", 1).decimals("Carbon", unit, 2);
    let mut row = |kind, label: &str, sums: &Sums| {
        let cells = [Cell::of(sums.energy, String::new()), Cell::maybe(sums.co2e(), String::new())];
        let [energy, carbon] = cells;
        grid.row(kind, vec![label.into(), energy, carbon]);
    };
    parts.iter().for_each(|part| row("plain", part.label, &part.sums));
    row("sum", "The job", all);
    grid.finish()
}

/// What no meter of the press sees, or belongs to nobody's job.
const OUTSIDE: [&str; 4] = [
    "Materials, inks, plates, prepress, finishing elsewhere, transport and waste.",
    "Heating of the hall and anything else that burns fuel.",
    "Electricity while no job was on the press, and of the plant's other uses that no rule charges to presses.",
    "Losses of the grid and the supply of fuels to power stations (scope 3 of the printer), and certificates, which cover \
     a year of the whole site and no single job.",
];

fn inside(basis: &Basis, ledger: &Ledger) -> Vec<String> {
    let mut inside = vec![
        "Electricity of the press and its curing lamps from the start of make-ready to the end of the run.".to_owned(),
    ];
    let loads: Vec<String> =
        basis.plant.loads.iter().map(|load| format!("{} by {}", load.name, load.rule.word())).collect();
    if !loads.is_empty() {
        inside.push(format!("Its share of loads that several presses use: {}.", loads.join("; ")));
    }
    for set in ledger.footprint.sets.iter().map(|line| &line.set) {
        inside.push(format!(
            "Carbon by the grid average of {}: {}, {}, {} kg for a kWh, {}.",
            set.region,
            set.publication,
            set.version,
            set.generation,
            words::status(set.status)
        ));
    }
    inside
}

fn trust(ledger: &Ledger, own: &[&Job], runs: &BTreeSet<&RunId>, all: &Sums) -> Vec<String> {
    let mut told = Vec::new();
    let is_own = |slice: &Slice| slice.owner.run.as_ref().is_some_and(|run| runs.contains(run));
    let known_by = |amount: Amount| {
        total(ledger.accounts.iter().filter(|a| is_own(a.slice) && a.slice.usage.amount == amount)).energy
    };
    for (amount, words) in [
        (Amount::Metered, "metered"),
        (Amount::Integrated, "added up from power readings"),
        (Amount::Estimated, "estimated by a stated rule"),
    ] {
        let share = percent(known_by(amount).mwh(), all.energy.mwh()).filter(|_| known_by(amount) != Energy::ZERO);
        told.extend(share.map(|share| format!("{share} % of the energy is {words}.")));
    }
    let reasons: BTreeSet<&str> = own.iter().filter_map(|one| one.no_figure()).map(words::no_figure).collect();
    if !reasons.is_empty() {
        let reasons = reasons.into_iter().collect::<Vec<_>>().join("; ");
        told.push(format!("There is no figure for a length or area: {reasons}."));
    }
    if own.iter().any(|one| one.indicative) {
        told.push(
            "The figures are indicative: on more than 5 % of the time, the job records of the press and its moving web do not \
             agree."
                .into(),
        );
    }
    if all.unfactored() != Energy::ZERO {
        told.push(format!("{} kWh have no factor, so no carbon is stated.", fixed(all.unfactored(), 1)));
    }
    told
}

/// A figure of the statement.
struct Stated {
    /// What it is called on the page.
    label: &'static str,
    /// What it is called in the table.
    name: &'static str,
    /// Its unit in the table: the gases stand apart there.
    unit: &'static str,
    /// In millionths of its unit; `None` where it is not known.
    count: Option<i64>,
}

impl Stated {
    /// As the page shows it, with the unit of carbon that says which gases.
    fn shown(&self, carbon: &str) -> Figure {
        let text = self.count.map_or_else(|| UNKNOWN.into(), |count| significant(count.into(), 6));
        Figure::plain(text, if self.unit == "kg" { carbon } else { self.unit })
    }
}

fn table(job: &str, figures: &[Stated], parts: &[Part], told: [(&str, &[String]); 3], gases: &str) -> CsvTable {
    let mut table = Writer::new(
        "statement",
        "Energy and carbon of one job",
        vec![
            column("job", Kind::Words, "Job number"),
            column("figure", Kind::Words, "Which figure, with its unit; or inside, not_inside, trust for a sentence"),
            column("what", Kind::Words, "What it is"),
            column("unit", Kind::Words, "Its unit"),
            measured("value", Kind::Number, "", "The figure; empty where it is not known, and of a sentence"),
            column("gases", Kind::Words, "CO2e, or CO2 where a factor is of carbon dioxide alone; empty for energy"),
        ],
    );
    let mut row = |figure: &str, what: &str, unit: &str, count: Option<i64>| {
        let value = count.map(|count| crate::units::decimal(count, 6)).unwrap_or_default();
        let gases = if unit == "kg" { gases } else { "" };
        table.row([job, figure, what, unit, value.as_str(), gases]);
    };
    figures.iter().for_each(|one| row(one.name, one.label, one.unit, one.count));
    for part in parts {
        row("part_energy_kwh", part.label, "kWh", Some(part.sums.energy.mwh()));
        row("part_co2e_kg", part.label, "kg", part.sums.co2e().map(Co2e::mg));
    }
    for (figure, sentences) in told {
        sentences.iter().for_each(|sentence| row(figure, sentence, "", None));
    }
    table.finish()
}
