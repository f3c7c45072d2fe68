//! What the same load would cost by other tariffs, and what verified savings would be worth.

use super::{Asked, invoiced, say, supplied};
use crate::acquire::Clock;
use crate::cli::{self, Ended, Failure, Outcome, unopened};
use crate::config::{Configuration, other_tariffs};
use crate::cost::{Invoice, Tariff, looks_back};
use crate::time::Month;
use crate::units::{Energy, Money, fixed};
use crate::verify::statement::Statement;
use chrono::NaiveDate;
use serde::Serialize;
use std::fs;
use std::path::Path;

/// Prints days month by month as billed by the tariffs in force and by those of a file.
pub fn run(asked: &Asked, days: (NaiveDate, NaiveDate), file: &Path, json: bool) -> Ended {
    let text = fs::read_to_string(file).map_err(|error| unopened(file, &error))?;
    let shown = file.display().to_string();
    let other = other_tariffs(shown, text, &asked.configuration.plant.currency).map_err(Failure::unusable)?;
    let ours = &asked.configuration.tariffs;
    let first = looks_back(ours, days).min(looks_back(&other, days));
    let supply = supplied(asked, (first, days.1))?;
    let mut rows = Vec::new();
    for days in months(days) {
        let [now, then] = [ours, &other].map(|tariffs| invoiced(&supply, tariffs, days));
        rows.push(Row::of(&now?, &then?));
    }
    let total = Row::sum(&rows);
    let savings = savings(asked, days, other)?;
    let told = Told { currency: &asked.configuration.plant.currency, months: &rows, total: &total, savings: &savings };
    let text = match json {
        true => serde_json::to_string_pretty(&told).map_err(Failure::unusable)?,
        false => table(&told, file),
    };
    say(&text);
    Ok(if total.is_whole { Outcome::Done } else { Outcome::Finding })
}

/// What the energy that presses avoided in these days is worth by both: each avoided kWh at the price of its hour.
fn savings(asked: &Asked, (first, last): (NaiveDate, NaiveDate), tariffs: Vec<Tariff>) -> Result<Vec<Saving>, Failure> {
    let days = cli::Asked { press: None, first: Some(first), last: Some(last) };
    let now = Clock::start(0).now();
    let stated = |configuration| cli::statements(asked.folder, configuration, &asked.books, &days, now);
    let other = Configuration { tariffs, ..asked.configuration.clone() };
    let (Some(ours), Some(other)) = (stated(&asked.configuration)?, stated(&other)?) else { return Ok(Vec::new()) };
    let both = ours.presses.iter().zip(&other.presses);
    Ok(both.map(|(now, then)| Saving::of(now, then)).collect())
}

/// The parts of days in each month.
fn months((first, last): (NaiveDate, NaiveDate)) -> Vec<(NaiveDate, NaiveDate)> {
    let months = std::iter::successors(Some(Month::of(first)), |month| Some(month.next()));
    let months = months.take_while(|month| month.first() <= last);
    months.map(|month| (month.first().max(first), month.last().min(last))).collect()
}

#[derive(Serialize)]
struct Told<'a> {
    currency: &'a str,
    months: &'a [Row],
    total: &'a Row,
    /// Of the presses with a frozen baseline.
    savings: &'a [Saving],
}

/// What a verified saving is worth: energy alone, without standing charges, demand or tax.
#[derive(Serialize)]
struct Saving {
    press: String,
    avoided_kwh: String,
    now: Option<String>,
    then: Option<String>,
    #[serde(skip)]
    sums: (Energy, [Option<Money>; 2]),
}

impl Saving {
    fn of(now: &Statement, then: &Statement) -> Self {
        let avoided = Energy::from_mwh((now.savings.avoided.value * 1e6).round() as i64);
        let worth = [now, then].map(|statement| statement.worth.money);
        let [now_money, then_money] = worth.map(|money| money.map(|money| money.to_string()));
        Self {
            press: now.press.to_string(),
            avoided_kwh: avoided.to_string(),
            now: now_money,
            then: then_money,
            sums: (avoided, worth),
        }
    }
}

#[derive(Serialize)]
struct Row {
    from: String,
    to: String,
    now: String,
    then: String,
    difference: String,
    is_whole: bool,
    remarks: Vec<String>,
    #[serde(skip)]
    sums: [Money; 2],
}

impl Row {
    fn of(now: &Invoice, then: &Invoice) -> Self {
        let mut remarks = [now.remarks.clone(), then.remarks.clone()].concat();
        let unknown = now.lines.iter().chain(&then.lines).filter(|line| line.cost.is_none());
        remarks.extend(unknown.map(|line| format!("{}, {}: {}", line.tariff, line.label, line.note)));
        remarks.sort();
        remarks.dedup();
        let is_whole = now.is_whole() && then.is_whole();
        Self::new([now.days.0.to_string(), now.days.1.to_string()], [now.total(), then.total()], is_whole, remarks)
    }

    fn new([from, to]: [String; 2], sums: [Money; 2], is_whole: bool, remarks: Vec<String>) -> Self {
        let difference = (sums[1] - sums[0]).to_string();
        let [now, then] = sums.map(|sum| sum.to_string());
        Self { from, to, now, then, difference, is_whole, remarks, sums }
    }

    fn sum(rows: &[Self]) -> Self {
        let ends = [rows.first().map(|row| &row.from), rows.last().map(|row| &row.to)];
        let sums = [0, 1].map(|k| rows.iter().map(|row| row.sums[k]).sum());
        Self::new(
            ends.map(|end| end.cloned().unwrap_or_default()),
            sums,
            rows.iter().all(|row| row.is_whole),
            Vec::new(),
        )
    }
}

fn table(told: &Told, file: &Path) -> String {
    let Told { currency, months, total, savings } = told;
    let mut text = format!("From {} to {}, {currency}: the same load at {}\n\n", total.from, total.to, file.display());
    let line = |label: &str, cells: [&str; 3]| {
        let [now, then, difference] = cells;
        format!("  {label:23}  {now:>14}  {then:>14}  {difference:>14}\n")
    };
    text.push_str(&line("", ["now", "then", "difference"]));
    let row = |label: &str, row: &Row| {
        let cell = |money: Money| fixed(money.micros().into(), 6, 2);
        let [now, then] = row.sums;
        line(label, [&cell(now), &cell(then), &cell(then - now)])
    };
    for month in *months {
        text.push_str(&row(&format!("{} to {}", month.from, month.to), month));
    }
    text.push_str(&row(if total.is_whole { "total" } else { "total of what is known" }, total));
    let mut remarks: Vec<&String> = months.iter().flat_map(|month| &month.remarks).collect();
    remarks.sort();
    remarks.dedup();
    if !savings.is_empty() {
        text.push_str("\n  worth of what verified presses avoided, energy alone\n");
    }
    for Saving { press, sums: (avoided, [now, then]), .. } in *savings {
        let cell =
            |money: Option<Money>| money.map_or_else(|| "not known".into(), |money| fixed(money.micros().into(), 6, 2));
        let more = then.zip(*now).map(|(then, now)| then - now);
        let label = format!("{press}, {} kWh", avoided.rounded());
        text.push_str(&line(&label, [&cell(*now), &cell(*then), &cell(more)]));
    }
    remarks.iter().for_each(|remark| text.push_str(&format!("  {}\n", crate::cli::columns::hanging(remark, 2))));
    text
}
