//! `inkwatt bill`: what the supplier will bill for a month, line by line.

use super::columns::hanging;
use super::{Ended, Failure, Outcome, configuration};
use crate::acquire::Clock;
use crate::agent::{self, Books};
use crate::config::{Configuration, Use};
use crate::cost::{self, Invoice, InvoiceLine, Supply, invoice, looks_back};
use crate::store::{Access, Store};
use crate::time::Month;
use crate::units::{Money, decimal, fixed};
use anyhow::anyhow;
use chrono::NaiveDate;
use serde::Serialize;
use std::fmt;
use std::io::{self, Write};
use std::path::Path;

/// Arguments of the command.
#[derive(clap::Args)]
#[command(after_help = "Examples:
  inkwatt bill 2026-03                                the bill of March, line by line
  inkwatt bill --from 2026-03-14 --to 2026-04-13      of a billing period, both days included
  inkwatt bill 2026-03 --json                         the same for scripts
It is reckoned from the fiscal meter by config/tariffs/; a price that changes within the month counts from its day on.
Exit code 1: part of the bill is not known, and the lines say why.")]
pub struct Arguments {
    /// The month, such as 2026-03.
    #[arg(value_name = "YYYY-MM", value_parser = month, required_unless_present = "from")]
    month: Option<Month>,
    /// The first day of a billing period.
    #[arg(long, value_name = "YYYY-MM-DD", requires = "to", conflicts_with = "month")]
    from: Option<NaiveDate>,
    /// Its last day, included.
    #[arg(long, value_name = "YYYY-MM-DD", requires = "from")]
    to: Option<NaiveDate>,
    /// Prints JSON.
    #[arg(long)]
    json: bool,
}

fn month(text: &str) -> Result<Month, String> {
    Month::parse(text).ok_or_else(|| "a month is written like 2026-03".into())
}

/// Runs the command on a plant folder.
pub fn run(plant: &Path, arguments: Arguments) -> Ended {
    let configuration = configuration(plant, Use::Pricing)?;
    let days = match (arguments.month, arguments.from, arguments.to) {
        (_, Some(from), Some(to)) if to < from => {
            return Err(Failure::unusable(anyhow!(
                "--to {to} lies before --from {from}; expected the last day, included"
            )));
        }
        (_, Some(from), Some(to)) => (from, to),
        (Some(month), ..) => (month.first(), month.next().first().pred_opt().unwrap_or(month.first())),
        _ => return Err(Failure::unusable(anyhow!("say which month, such as inkwatt bill 2026-03"))),
    };
    let books = Books::open(plant, &configuration, Clock::start(0).now()).map_err(Failure::unreachable)?;
    let invoice = bill(plant, &configuration, &books, days)?;
    let told = Told::of(&invoice, &configuration.plant.currency);
    let text = match arguments.json {
        true => serde_json::to_string_pretty(&told).map_err(Failure::unusable)?,
        false => told.to_string(),
    };
    // A closed pipe is nobody left to tell.
    let _ = writeln!(io::stdout(), "{}", text.trim_end());
    Ok(if invoice.is_whole() { Outcome::Done } else { Outcome::Finding })
}

/// The bill of days.
///
/// # Errors
/// A store that cannot be read, days without any reading, days without exactly one tariff.
pub fn bill(
    folder: &Path,
    configuration: &Configuration,
    books: &Books,
    days: (NaiveDate, NaiveDate),
) -> Result<Invoice, Failure> {
    let store = Store::open(folder, books.plant().zone, Access::Read).map_err(Failure::unreachable)?;
    let first = looks_back(&configuration.tariffs, days);
    let intervals = agent::supply(books, &store, (first, days.1)).map_err(Failure::unreachable)?;
    let supply = Supply::new(books.plant(), intervals);
    if supply.of(days.0, days.1).iter().all(|(_, interval)| interval.energy.is_none()) {
        return Err(Failure::unusable(anyhow!(
            "no energy is known from {} to {}; import its readings or choose days that the agent has seen",
            days.0,
            days.1
        )));
    }
    invoice(&supply, &configuration.tariffs, days).map_err(Failure::unusable)
}

/// A bill as it is printed.
#[derive(Debug, Serialize)]
struct Told {
    from: String,
    to: String,
    currency: String,
    lines: Vec<Line>,
    total: String,
    #[serde(skip)]
    sum: Money,
    is_whole: bool,
    remarks: Vec<String>,
}

#[derive(Debug, Serialize)]
struct Line {
    tariff: String,
    line: String,
    amount: String,
    unit: String,
    price: String,
    cost: Option<String>,
    #[serde(skip)]
    shown: [String; 2],
    note: String,
}

impl Told {
    fn of(invoice: &Invoice, currency: &str) -> Self {
        Self {
            from: invoice.days.0.to_string(),
            to: invoice.days.1.to_string(),
            currency: currency.into(),
            lines: invoice.lines.iter().map(|line| Line::of(line, currency)).collect(),
            total: invoice.total().to_string(),
            sum: invoice.total(),
            is_whole: invoice.is_whole(),
            remarks: invoice.remarks.clone(),
        }
    }
}

impl Line {
    fn of(line: &InvoiceLine, currency: &str) -> Self {
        let places = match line.unit {
            cost::Unit::Days => 0,
            _ => 2,
        };
        let cost = line.cost.map(|cost| fixed(cost.micros().into(), 6, 2)).unwrap_or("not known".into());
        Self {
            tariff: line.tariff.clone(),
            line: line.label.clone(),
            amount: decimal(line.amount, 6),
            unit: line.unit.word().unwrap_or(currency).into(),
            price: line.price.to_string(),
            cost: line.cost.map(|cost| cost.to_string()),
            shown: [fixed(line.amount.into(), 6, places), cost],
            note: line.note.clone(),
        }
    }
}

impl fmt::Display for Told {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "Bill from {} to {}, {}, from the fiscal meter", self.from, self.to, self.currency)?;
        let width = self.lines.iter().map(|line| line.line.chars().count()).max().unwrap_or(0).max(5);
        let mut tariff = "";
        for line in &self.lines {
            if line.tariff != tariff {
                writeln!(f, "\n{}", line.tariff)?;
                tariff = &line.tariff;
            }
            let [amount, cost] = &line.shown;
            writeln!(f, "  {:width$}  {amount:>14} {:<6}  {:>10}  {cost:>14}", line.line, line.unit, line.price)?;
            if !line.note.is_empty() {
                writeln!(f, "      {}", hanging(&line.note, 6))?;
            }
        }
        let label = if self.is_whole { "Total" } else { "Total of what is known" };
        writeln!(
            f,
            "\n  {label:width$}  {:>14} {:<6}  {:>10}  {:>14}",
            "",
            "",
            "",
            fixed(self.sum.micros().into(), 6, 2)
        )?;
        self.remarks.iter().try_for_each(|remark| writeln!(f, "  {}", hanging(remark, 2)))
    }
}
