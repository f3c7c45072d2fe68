//! The month as people read it: view structs of strings, ready to print.

mod act;
mod before;
mod bill;
mod carbon;
mod first;
pub(super) mod grid;
mod hours;
pub(super) mod joblist;
mod load;
pub(super) mod market;
mod method;
mod money;
pub(super) mod presses;
mod quality;
mod rest;
mod stations;
mod trust;
pub(super) mod uses;

pub use grid::{Row, Table};

use super::csv::{self, CsvTable};
use super::input::MonthInput;
use super::jobs::{coverage, jobs};
use super::known::Known;
use super::lines::Ledger;
use super::manifest::{Sources, sources};
use super::number::Ids;
use super::number::thousands;
use super::savings::{Savings, savings};
use super::sums::total;
use serde::Serialize;
use std::collections::BTreeMap;

/// A month without any reading.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("no energy is known in {month}; import its readings or choose a month that the agent has seen")]
pub struct NoData {
    /// The month in question.
    pub month: String,
}

/// A month, ready to print.
#[derive(Clone, Debug, Serialize)]
pub struct MonthView {
    /// Name of the plant.
    pub plant: String,
    /// Such as `2026-03`.
    pub month: String,
    /// Such as `March 2026`.
    pub title: String,
    /// The first and the last day known, and the zone.
    pub span: String,
    /// Said where not every day of the month is known whole.
    pub part: Option<String>,
    /// Whether and when it was closed.
    pub closed: Option<String>,
    /// Whether `findings.csv` stands beside the page.
    pub has_findings: bool,
    /// The first screen.
    pub first: first::First,
    /// What came of the promise; `None` where no press was converted.
    pub savings: Option<Savings>,
    /// The load of the month.
    pub load: load::Load,
    /// Presses and stations.
    pub presses: grid::Table,
    /// Energy, cost and carbon by press.
    pub charged: grid::Table,
    /// Cost by band.
    pub cost: money::Cost,
    /// The supplier's bill; `None` where none can be reckoned.
    pub bill: Option<bill::Bill>,
    /// The bands over the hours of the day; `None` where nothing has a price.
    pub hours: Option<hours::Hours>,
    /// Carbon by factor set.
    pub carbon: carbon::Carbon,
    /// Carbon of presses and their stations.
    pub carbon_by_station: grid::Table,
    /// Scope 2 by both methods.
    pub methods: market::Methods,
    /// Jobs; `None` without any.
    pub jobs: Option<joblist::Jobs>,
    /// Presses whose jobs are indicative, and why.
    pub indicative: Vec<String>,
    /// Data quality.
    pub quality: quality::Quality,
    /// Method.
    pub method: method::Method,
    /// The month in a few exact numbers.
    pub summary: Summary,
    /// What the files hold beside the page.
    #[serde(skip)]
    pub(super) tables: Vec<CsvTable>,
    /// What the report was made from.
    #[serde(skip)]
    pub(super) sources: Sources,
}

/// A month in a few exact numbers, for scripts.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Summary {
    /// Such as `2026-03`.
    pub month: String,
    /// Local days on which the plant's energy is known from midnight to midnight.
    pub days_known: usize,
    /// Local days of which only a part is known.
    pub days_in_part: usize,
    /// Local days of the month.
    pub days: usize,
    /// Energy of the plant in kWh.
    pub energy_kwh: String,
    /// Currency of the cost.
    pub currency: String,
    /// Cost with standing charges; absent without any price.
    pub cost: Option<String>,
    /// Energy without a price in kWh.
    pub unpriced_kwh: String,
    /// Scope 2, location-based, in kg; absent without any factor.
    pub co2e_kg: Option<String>,
    /// Energy without a factor in kWh.
    pub unfactored_kwh: String,
    /// `provisional` or `final`.
    pub carbon_status: &'static str,
    /// Whether the month's energy is the same by every route.
    pub routes_agree: bool,
    /// Remarks on the data that ask for an action.
    pub to_act_on: usize,
    /// Hours that are missing, by meter, where any are.
    pub missing_hours: BTreeMap<String, String>,
    /// The month in one line.
    pub line: String,
    /// How many days are known, said where not all are.
    #[serde(skip)]
    pub known: Option<String>,
}

/// Lays out a month.
pub fn view(input: &MonthInput) -> Result<MonthView, NoData> {
    let mut ledger = Ledger::new(&input.basis());
    ledger.issues.extend(rest::large(input.plant, &ledger));
    let (Some(start), Some(end)) = (ledger.days.first(), ledger.days.last()) else {
        return Err(NoData { month: input.month.to_string() });
    };
    let (plant, month) = (input.plant, input.month);
    let coverage = coverage(&ledger);
    let span = plant.zone.days(*start, *end);
    let jobs = jobs(input.facts.runs, &ledger.accounts, &coverage, span);
    let known = Known::of(&input.facts);
    let first = first::first(input, &ledger, &coverage, &known);
    let quality = quality::quality(plant, month, &ledger, &known);
    let method = method::method(input, &ledger);
    Ok(MonthView {
        plant: plant.name.clone(),
        month: month.to_string(),
        title: month.first().format("%B %Y").to_string(),
        span: format!("{start} to {end}, {}", plant.zone.0.name()),
        part: known.said(month.days().count()),
        savings: input.savings.and_then(|statements| savings(plant, statements, Some(input.month))),
        load: load::load(plant, month, &ledger),
        presses: presses::presses(plant, month, &ledger),
        charged: presses::charged(plant, month, &ledger),
        cost: money::cost(plant, month, &ledger, input.tariffs),
        bill: input.billed.map(|billed| bill::bill(plant, month, billed)),
        closed: input.closed.map(ToOwned::to_owned),
        hours: hours::hours(plant.zone, &ledger),
        carbon: carbon::carbon(month, &ledger),
        carbon_by_station: stations::carbon_by_station(plant, month, &ledger),
        methods: market::methods(&|path| Ids(month).of(path), &ledger.footprint, &ledger.market),
        jobs: joblist::jobs(plant, month, &ledger, &jobs),
        indicative: first::indicative(plant, &coverage),
        summary: summary(input, &ledger, &known, method.agree, &quality),
        quality,
        tables: csv::tables(input, &ledger, &jobs),
        sources: sources(input, &ledger),
        has_findings: input.findings.is_some(),
        first,
        method,
    })
}

fn summary(input: &MonthInput, ledger: &Ledger, known: &Known, agree: bool, quality: &quality::Quality) -> Summary {
    let sums = total(&ledger.accounts);
    let cost = (!ledger.bill.bands.is_empty()).then(|| ledger.bill.total());
    let status = super::words::status(ledger.footprint.status());
    let mut parts = vec![format!("{} kWh", super::number::fixed(sums.energy, 0))];
    parts.extend(cost.map(|c| format!("{} {}", super::number::fixed(c, 2), input.plant.currency)));
    parts.extend(sums.co2e().map(|c| format!("{} {} by location ({status})", thousands(c), ledger.carbon_unit("t"))));
    parts.push(format!("{} % of meter hours known", known.share()));
    Summary {
        month: input.month.to_string(),
        days_known: known.whole,
        days_in_part: known.part,
        days: input.month.days().count(),
        energy_kwh: sums.energy.to_string(),
        currency: input.plant.currency.clone(),
        cost: cost.map(|c| c.to_string()),
        unpriced_kwh: ledger.bill.unpriced.to_string(),
        co2e_kg: sums.co2e().map(|c| c.to_string()),
        unfactored_kwh: ledger.footprint.without.to_string(),
        carbon_status: status,
        routes_agree: agree,
        to_act_on: quality.to_act_on(),
        missing_hours: quality.missing.iter().map(|(meter, hours)| (meter.to_string(), hours.clone())).collect(),
        line: parts.join(", "),
        known: known.said(input.month.days().count()),
    }
}
