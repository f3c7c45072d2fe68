//! `inkwatt explain`: how a figure of a report came about.

mod readings;
mod text;
mod year;

use super::close::{chain, kept};
use super::report::{Beside, with_month};
use super::statements::{Asked, statements};
use super::{Ended, Failure, Outcome, configuration, say};
use crate::acquire::Clock;
use crate::agent::Books;
use crate::closing::{Closing, in_force};
use crate::config::{Configuration, Use, did_you_mean};
use crate::report::month::view;
use crate::report::origin::{Closer, Origin, ids, origin};
use crate::store::{Access, Store};
use crate::time::{At, Month, Period, Zone};
use crate::units::decimal;
use anyhow::anyhow;
use chrono::{NaiveDate, NaiveDateTime};
use readings::{Reads, behind};
use serde::Serialize;
use std::path::Path;

/// Arguments of the command.
#[derive(clap::Args)]
#[command(after_help = "Examples:
  inkwatt explain 2026-03/energy/p1/s3                          meters, prices or factors, and what each day adds
  inkwatt explain 2026-03/energy/p1/s3 --day 2026-03-12         its slices on a day, and the registers behind them
  inkwatt explain 2026-03/cost/p1 --at 2026-03-12T10:05         the slices of an instant, with every reading behind them
  inkwatt explain 2026/filing/scope2-market                     a figure of the year: its months, factors and certificates
The id of a figure stands in the first column of each table of a report; on the page it is shown with the figure.
A month that is closed is explained under the tariffs, factors and other texts with which it was closed.")]
pub struct Arguments {
    /// The id of the figure, such as 2026-03/energy/p1/s3.
    #[arg(value_name = "ID")]
    id: String,
    /// Shows the slices of a local day.
    #[arg(long, value_name = "YYYY-MM-DD")]
    day: Option<NaiveDate>,
    /// Shows the slices of an instant by the local clock, with the readings behind them.
    #[arg(long, value_name = "YYYY-MM-DDTHH:MM", value_parser = instant, conflicts_with = "day")]
    at: Option<NaiveDateTime>,
    /// Prints JSON.
    #[arg(long)]
    json: bool,
}

fn instant(text: &str) -> Result<NaiveDateTime, String> {
    let forms = ["%Y-%m-%dT%H:%M", "%Y-%m-%dT%H:%M:%S", "%Y-%m-%d %H:%M", "%Y-%m-%d %H:%M:%S"];
    let found = forms.iter().find_map(|form| NaiveDateTime::parse_from_str(text, form).ok());
    found.ok_or_else(|| "an instant is written like 2026-03-12T10:05, by the clock of the plant".into())
}

/// A figure explained.
#[derive(Debug, Serialize)]
struct Explained {
    #[serde(flatten)]
    origin: Origin,
    /// The closing of its month.
    #[serde(skip_serializing_if = "Option::is_none")]
    closed: Option<Closed>,
    /// The readings behind the slices asked for.
    readings: Vec<Reads>,
}

/// What a closing says of a figure.
#[derive(Debug, Serialize)]
struct Closed {
    /// The local day on which the month was closed, or restated.
    on: String,
    /// By whom.
    by: String,
    /// The figure as it was closed; `None` where it is none of those that a closing freezes.
    exact: Option<String>,
    /// Whether it comes out the same today, under the texts with which it was closed.
    same: Option<bool>,
}

/// Runs the command on a plant folder.
pub fn run(plant: &Path, arguments: &Arguments) -> Ended {
    let configuration = configuration(plant, Use::Pricing)?;
    let found = match parsed(&arguments.id)? {
        (Of::Month(month), path) => month_figure(plant, configuration, month, path, arguments)?,
        (Of::Year(year), path) => year::figure(plant, &configuration, year, path, arguments)?,
    };
    let told = match arguments.json {
        true => serde_json::to_string_pretty(&found).map_err(Failure::unusable)?,
        false => text::told(&found, arguments.day.is_none() && arguments.at.is_none()),
    };
    say(&told);
    Ok(Outcome::Done)
}

/// Of what an id is a figure.
enum Of {
    Month(Month),
    Year(i32),
}

/// The month or year of an id, and the path below it.
fn parsed(id: &str) -> Result<(Of, &str), Failure> {
    let of = |text: &str| match Month::parse(text) {
        Some(month) => Some(Of::Month(month)),
        None => text.parse().ok().filter(|year| text.len() == 4 && (1990..=2100).contains(year)).map(Of::Year),
    };
    let parts = id.split_once('/').and_then(|(first, path)| Some((of(first)?, path)));
    parts.ok_or_else(|| {
        Failure::unusable(anyhow!(
            "\"{id}\" is no id of a figure; it begins with its month or year, such as 2026-03/energy/plant or \
             2026/filing/electricity\nhelp: the first column of each table of a report has the ids"
        ))
    })
}

fn month_figure(
    plant: &Path,
    configuration: Configuration,
    month: Month,
    path: &str,
    arguments: &Arguments,
) -> Result<Explained, Failure> {
    let now = Clock::start(0).now();
    let closing = closing(plant, configuration.plant.zone, month)?;
    let is_saving = path.starts_with("savings/");
    // A saving is of more than its month, and is closed with none.
    let configuration = match &closing {
        Some(closing) if !is_saving => kept(plant, closing)?,
        _ => configuration,
    };
    let zone = configuration.plant.zone;
    let books = Books::open(plant, &configuration, now).map_err(Failure::unreachable)?;
    let asked = Asked { last: Some(month.last()), ..Asked::default() };
    let savings = if is_saving { statements(plant, &configuration, &books, &asked, now)? } else { None };
    let closer = match (arguments.day, arguments.at) {
        (Some(day), _) => Closer::Day(day),
        (_, Some(local)) => Closer::At(zone.first(local)),
        _ => Closer::Whole,
    };
    let origin = with_month(
        &books,
        &configuration,
        month,
        Beside { savings: savings.as_ref(), ..Beside::default() },
        |input| {
            let view = view(input).map_err(Failure::unusable)?;
            origin(input, &view, path, closer).ok_or_else(|| unknown(&arguments.id, &ids(&view)))
        },
    )?;
    let readings = behind(&books, &origin, period(zone, closer, &origin)).map_err(Failure::unreachable)?;
    let closed = closing.filter(|_| !is_saving).map(|closing| closed(zone, &closing, path, &origin));
    Ok(Explained { origin, closed, readings })
}

/// What readings are wanted of: a day, or the slices of an instant.
fn period(zone: Zone, closer: Closer, origin: &Origin) -> Option<Period> {
    match closer {
        Closer::Whole => None,
        Closer::Day(day) => Some(zone.day(day)),
        Closer::At(_) => {
            let start = origin.slices.iter().map(|slice| slice.period.start).min()?;
            let end = origin.slices.iter().map(|slice| slice.period.end).max()?;
            Some(Period::new(start, end))
        }
    }
}

fn unknown(id: &str, known: &std::collections::BTreeSet<String>) -> Failure {
    let help = did_you_mean(id, known.iter().map(String::as_str));
    Failure::unusable(anyhow!("no figure has the id \"{id}\"\nhelp: {help}"))
}

/// The closing of a month that is in force.
fn closing(plant: &Path, zone: Zone, month: Month) -> Result<Option<Closing>, Failure> {
    let store = Store::open(plant, zone, Access::Read).map_err(Failure::unreachable)?;
    Ok(in_force(&chain(&store)?).get(&month).map(|closing| (*closing).clone()))
}

fn closed(zone: Zone, closing: &Closing, path: &str, origin: &Origin) -> Closed {
    let exact = closing.figures.get(path).map(|count| decimal(*count, 6));
    let same = exact.as_ref().map(|exact| origin.exact.as_ref() == Some(exact));
    Closed { on: zone.date(At(closing.at)).to_string(), by: closing.by.clone(), exact, same }
}
