//! A bill shared out to presses, stations or jobs.

use super::{Asked, say};
use crate::attribute::Slice;
use crate::cli::{Ended, Failure, Outcome};
use crate::cost::{Invoice, Used, shares};
use crate::readings::Run;
use crate::time::{Period, days};
use crate::units::{Energy, Money, fixed};
use clap::ValueEnum;
use serde::Serialize;
use std::collections::{BTreeMap, HashMap};

/// To what a bill is shared out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum By {
    /// Presses, with what shared loads used for them.
    Press,
    /// Stations, and what else their presses used.
    Station,
    /// Jobs, and what their presses used without one.
    Job,
}

/// How it is printed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Form {
    /// As a table.
    Text,
    /// As JSON.
    Json,
    /// As CSV.
    Csv,
}

/// What is charged to no press.
const NOBODY: &str = "not shared out";

/// Prints the shares of a bill.
pub fn run(asked: &Asked, invoice: &Invoice, by: By, form: Form) -> Ended {
    let (names, parts) = parts(asked, invoice, by)?;
    let rows = rows(asked, invoice, &names, &parts);
    let text = match form {
        Form::Json => {
            let told = Told { from: invoice.days.0.to_string(), to: invoice.days.1.to_string(), rows: &rows };
            serde_json::to_string_pretty(&told).map_err(Failure::unusable)?
        }
        Form::Csv => csv(&rows).map_err(Failure::unusable)?,
        Form::Text => table(invoice, &rows, &asked.configuration.plant.currency),
    };
    say(&text);
    Ok(if invoice.is_whole() { Outcome::Done } else { Outcome::Finding })
}

#[derive(Serialize)]
struct Told<'a> {
    from: String,
    to: String,
    rows: &'a [Row],
}

/// What falls to one of them, exact, and last to nobody and to all.
#[derive(Serialize)]
struct Row {
    name: String,
    kwh: String,
    energy: String,
    demand: String,
    other: String,
    total: String,
    #[serde(skip)]
    sums: (Energy, [Money; 4]),
}

/// Who used which energy, and the names by place.
fn parts(asked: &Asked, invoice: &Invoice, by: By) -> Result<(Vec<String>, Vec<Used>), Failure> {
    let days: Vec<_> = days(invoice.days.0, invoice.days.1).collect();
    let period = asked.books.plant().zone.days(invoice.days.0, invoice.days.1);
    let runs = asked.books.runs(period);
    let jobs: HashMap<_, _> = runs.iter().map(|run: &Run| (&run.id, run.job.as_str())).collect();
    let name = |slice: &Slice| -> Option<String> {
        let owner = &slice.owner;
        let press = owner.press.as_ref()?;
        Some(match by {
            By::Press => press.to_string(),
            By::Station => owner.station.as_ref().map_or_else(|| format!("{press}, no station"), ToString::to_string),
            By::Job => match &owner.run {
                Some(run) => jobs.get(run).map_or_else(|| run.to_string(), |job| (*job).to_owned()),
                None => format!("{press}, no job"),
            },
        })
    };
    let mut used: BTreeMap<String, Vec<(Period, Energy)>> = BTreeMap::new();
    let mut parts = Vec::new();
    for ledger in asked.books.ledgers(&days).map_err(Failure::unreachable)? {
        for slice in &ledger.value.slices {
            let Some(energy) = slice.usage.energy else { continue };
            match name(slice) {
                Some(name) => used.entry(name).or_default().push((slice.usage.period, energy)),
                None => parts.push(Used { period: slice.usage.period, energy, who: None }),
            }
        }
    }
    for (who, pieces) in used.values().enumerate() {
        parts.extend(pieces.iter().map(|(period, energy)| Used { period: *period, energy: *energy, who: Some(who) }));
    }
    Ok((used.into_keys().collect(), parts))
}

fn rows(asked: &Asked, invoice: &Invoice, names: &[String], parts: &[Used]) -> Vec<Row> {
    let count = names.len();
    let costs = shares(invoice, asked.books.plant(), &asked.configuration.tariffs, parts, count);
    let mut sums = vec![(Energy::ZERO, [Money::ZERO; 4]); count + 1];
    for part in parts {
        sums[part.who.unwrap_or(count)].0 += part.energy;
    }
    for (line, costs) in invoice.lines.iter().zip(costs) {
        let column = line.element.group() as usize;
        for (sum, cost) in sums.iter_mut().zip(costs.unwrap_or_default()) {
            sum.1[column] += cost;
            sum.1[3] += cost;
        }
    }
    let all = sums.iter().fold((Energy::ZERO, [Money::ZERO; 4]), |mut all, one| {
        all.0 += one.0;
        all.1.iter_mut().zip(one.1).for_each(|(sum, cost)| *sum += cost);
        all
    });
    let names = names.iter().map(String::as_str).chain([NOBODY, "total"]);
    names.zip(sums.into_iter().chain([all])).map(|(name, sums)| Row::of(name, sums)).collect()
}

impl Row {
    fn of(name: &str, sums: (Energy, [Money; 4])) -> Self {
        let [energy, demand, other, total] = sums.1.map(|money| money.to_string());
        Self { name: name.into(), kwh: sums.0.to_string(), energy, demand, other, total, sums }
    }
}

fn csv(rows: &[Row]) -> anyhow::Result<String> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    rows.iter().try_for_each(|row| writer.serialize(row))?;
    Ok(String::from_utf8(writer.into_inner()?)?)
}

fn table(invoice: &Invoice, rows: &[Row], currency: &str) -> String {
    let width = rows.iter().map(|row| row.name.chars().count()).max().unwrap_or(0);
    let mut text = format!("Bill from {} to {} shared out, {currency}\n\n", invoice.days.0, invoice.days.1);
    let line = |name: &str, cells: [&str; 5]| {
        let [kwh, energy, demand, other, total] = cells;
        format!("  {name:width$}  {kwh:>12}  {energy:>12}  {demand:>12}  {other:>12}  {total:>12}\n")
    };
    text.push_str(&line("", ["kWh", "energy", "demand", "other", "total"]));
    for row in rows {
        let [energy, demand, other, total] = row.sums.1.map(|money| fixed(money.micros().into(), 6, 2));
        let kwh = fixed(row.sums.0.mwh().into(), 6, 1);
        text.push_str(&line(&row.name, [&kwh, &energy, &demand, &other, &total]));
    }
    if !invoice.is_whole() {
        text.push_str("\n  Lines of the bill that are not known are not in it; `inkwatt bill` names them.\n");
    }
    text
}
