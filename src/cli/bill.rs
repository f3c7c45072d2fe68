//! `inkwatt bill`: what the supplier will bill for a month, line by line; what it billed, to whom it falls, and what it would
//! be by other tariffs.

mod check;
mod shares;
mod what_if;

pub use check::LONGEST_BEFORE;

use super::columns::hanging;
use super::{Ended, Failure, Outcome, configuration, in_order, report, say};
use crate::acquire::Clock;
use crate::agent::{self, Books};
use crate::config::{Configuration, Use};
use crate::cost::{self, Invoice, InvoiceLine, Supply, Tariff, invoice, looks_back};
use crate::store::{Access, Store};
use crate::time::Month;
use crate::units::{Money, decimal, fixed};
use anyhow::anyhow;
use chrono::NaiveDate;
use serde::Serialize;
use std::fmt;
use std::path::{Path, PathBuf};

/// Arguments of the command.
#[derive(clap::Args)]
#[command(after_help = "Examples:
  inkwatt bill 2026-03                                the bill of March, line by line
  inkwatt bill --from 2026-03-14 --to 2026-04-13      of a billing period, both days included
  inkwatt bill 2026-03 --json                         the same for scripts
  inkwatt bill --check                                the supplier's bills on file beside meter and tariffs
  inkwatt bill 2026-03 --check                        those that touch March
  inkwatt bill 2026-03 --shares press                 the bill of March shared out to the presses
  inkwatt bill --from 2025-04-01 --to 2026-03-31 --at offer.toml
                                                      what the load of a year would cost by the tariffs of a file, and
                                                      what the savings of verified presses would be worth
It is reckoned from the fiscal meter by config/tariffs/; a price that changes within the month counts from its day on.
A figure on a bill of the supplier differs from half a per cent on; the likely causes are named below it.
Shares add up to the bill. Energy goes by what each used in the hours of a price; demand, and what exceeds the agreed
capacity, by what each drew in the highest interval; standing charges, agreed capacity and reactive energy by energy;
discounts, taxes and rounding by what the lines above them come to. What no press used is not shared out.
A file for --at is written as those in config/tariffs/; its first tariff is taken to have held before, its last to go on.
Exit code 1: part of the bill is not known, and the lines say why; or a bill of the supplier differs.")]
pub struct Arguments {
    /// The month, such as 2026-03.
    #[arg(value_name = "YYYY-MM", value_parser = report::month, required_unless_present_any = ["from", "check"])]
    month: Option<Month>,
    /// The first day of a billing period.
    #[arg(long, value_name = "YYYY-MM-DD", requires = "to", conflicts_with = "month")]
    from: Option<NaiveDate>,
    /// Its last day, included.
    #[arg(long, value_name = "YYYY-MM-DD", requires = "from")]
    to: Option<NaiveDate>,
    /// Holds the supplier's bills against what the fiscal meter shows and the tariffs give.
    #[arg(long, conflicts_with_all = ["shares", "at"])]
    check: bool,
    /// Shares the bill out.
    #[arg(long, value_name = "BY", conflicts_with = "at")]
    shares: Option<shares::By>,
    /// Bills the same load by the tariffs of this file as well, and shows the difference.
    #[arg(long, value_name = "FILE")]
    at: Option<PathBuf>,
    /// Prints JSON.
    #[arg(long)]
    json: bool,
    /// Prints the shares as CSV.
    #[arg(long, requires = "shares", conflicts_with = "json")]
    csv: bool,
}

/// What is asked about.
struct Asked<'a> {
    folder: &'a Path,
    configuration: Configuration,
    books: Books,
}

/// Runs the command on a plant folder.
pub fn run(plant: &Path, arguments: Arguments) -> Ended {
    let configuration = configuration(plant, Use::Pricing)?;
    let days = days(&arguments)?;
    let books = Books::open(plant, &configuration, Clock::start(0).now()).map_err(Failure::unreachable)?;
    let asked = Asked { folder: plant, configuration, books };
    if arguments.check {
        return check::run(&asked, days, arguments.json);
    }
    let days = days.ok_or_else(|| Failure::unusable(anyhow!("say which month, such as inkwatt bill 2026-03")))?;
    if let Some(file) = &arguments.at {
        return what_if::run(&asked, days, file, arguments.json);
    }
    let tariffs = &asked.configuration.tariffs;
    let invoice = invoiced(&supplied(&asked, (looks_back(tariffs, days), days.1))?, tariffs, days)?;
    if let Some(by) = arguments.shares {
        let form = match (arguments.json, arguments.csv) {
            (true, _) => shares::Form::Json,
            (_, true) => shares::Form::Csv,
            _ => shares::Form::Text,
        };
        return shares::run(&asked, &invoice, by, form);
    }
    let told = Told::of(&invoice, &asked.configuration.plant.currency);
    let text = match arguments.json {
        true => serde_json::to_string_pretty(&told).map_err(Failure::unusable)?,
        false => told.to_string(),
    };
    say(&text);
    Ok(if invoice.is_whole() { Outcome::Done } else { Outcome::Finding })
}

fn days(arguments: &Arguments) -> Result<Option<(NaiveDate, NaiveDate)>, Failure> {
    match (arguments.month, arguments.from, arguments.to) {
        (_, Some(from), Some(to)) => in_order(from, to).map(Some),
        (Some(month), ..) => Ok(Some((month.first(), month.last()))),
        _ => Ok(None),
    }
}

/// What the supplier's meters show of days.
///
/// # Errors
/// A store that cannot be read.
fn supplied<'a>(asked: &'a Asked<'_>, days: (NaiveDate, NaiveDate)) -> Result<Supply<'a>, Failure> {
    let zone = asked.books.plant().zone;
    let store = Store::open(asked.folder, zone, Access::Read).map_err(Failure::unreachable)?;
    let intervals = agent::supply(&asked.books, &store, days).map_err(Failure::unreachable)?;
    Ok(Supply::new(asked.books.plant(), intervals))
}

/// The bill of days.
///
/// # Errors
/// Days without any reading, days without exactly one tariff.
fn invoiced(supply: &Supply, tariffs: &[Tariff], days: (NaiveDate, NaiveDate)) -> Result<Invoice, Failure> {
    if supply.of(days.0, days.1).iter().all(|(_, interval)| interval.energy.is_none()) {
        return Err(Failure::unusable(anyhow!(
            "no energy is known from {} to {}; import its readings or choose days that the agent has seen",
            days.0,
            days.1
        )));
    }
    invoice(supply, tariffs, days).map_err(Failure::unusable)
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
