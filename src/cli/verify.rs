//! `inkwatt verify`: promised, modelled, measured, for a terminal.

mod text;

use super::statements::{Asked, statements};
use super::{Ended, Failure, Outcome, configuration, say, unknown};
use crate::acquire::Clock;
use crate::agent::Books;
use crate::config::Use;
use crate::report::savings::{Answer, Savings, exact, savings};
use anyhow::anyhow;
use chrono::NaiveDate;
use std::io::{self, IsTerminal};
use std::path::Path;

/// Arguments of the command.
#[derive(clap::Args)]
#[command(after_help = "Examples:
  inkwatt verify                                every converted press since its acceptance
  inkwatt verify p1                             one press, with its bridge and its statistics
  inkwatt verify p1 --from 2026-03-01 --to 2026-05-31
  inkwatt verify --json                         the same for scripts
A press needs a frozen baseline: inkwatt baseline fit p1, then inkwatt baseline freeze p1. The promise stands in
config/promise.toml. Exit code 1: a press is short of its promise, or an open question blocks a verdict.")]
pub struct Arguments {
    /// The press; every converted one if absent.
    #[arg(value_name = "PRESS")]
    only: Option<String>,
    /// The same.
    #[arg(long, value_name = "PRESS", conflicts_with = "only")]
    press: Option<String>,
    /// First day; that of the acceptance if absent.
    #[arg(long, value_name = "DATE")]
    from: Option<NaiveDate>,
    /// Last day; yesterday if absent.
    #[arg(long, value_name = "DATE")]
    to: Option<NaiveDate>,
    /// Prints JSON.
    #[arg(long)]
    json: bool,
}

/// Runs the command on a plant folder.
pub fn run(plant: &Path, arguments: Arguments) -> Ended {
    let configuration = configuration(plant, Use::Promise)?;
    let now = Clock::start(0).now();
    let press = arguments.only.or(arguments.press);
    if let Some(press) = &press {
        let known = configuration.plant.presses.iter().map(|press| press.id.as_str());
        if !known.clone().any(|known| known == press) {
            return Err(Failure::Unusable(unknown("press", press, known)));
        }
    }
    if let (Some(from), Some(to)) = (arguments.from, arguments.to)
        && from > to
    {
        return Err(Failure::unusable(anyhow!("--from {from} lies after --to {to}")));
    }
    if io::stderr().is_terminal() {
        eprintln!("reading the days of baseline and reporting period ...");
    }
    let books = Books::open(plant, &configuration, now).map_err(Failure::unreachable)?;
    let yesterday = books.plant().zone.date(now).pred_opt();
    let asked =
        Asked { press: press.as_deref().map(Into::into), first: arguments.from, last: arguments.to.or(yesterday) };
    let all = statements(plant, &configuration, &books, &asked, now)?;
    let all = all.ok_or_else(|| nothing(press.as_deref()))?;
    let view = savings(books.plant(), &all, None).ok_or_else(|| nothing(press.as_deref()))?;
    let text = match arguments.json {
        true => serde_json::to_string_pretty(&exact(books.plant(), &all)).map_err(Failure::unusable)?,
        false => text::page(&view, press.is_some()),
    };
    say(&text);
    Ok(if is_finding(&view) { Outcome::Finding } else { Outcome::Done })
}

fn nothing(press: Option<&str>) -> Failure {
    let about = press.map_or("no press".to_owned(), |press| format!("press {press}"));
    let not = if press.is_some() { "was not" } else { "was" };
    Failure::unusable(anyhow!(
        "{about} {not} converted by then, so that there is no saving to verify\nhelp: state the conversion as \
         `implementation` of its stations in config/plant.toml, with the day of acceptance"
    ))
}

/// Whether a press is short, a question is open, or a baseline is missing.
fn is_finding(view: &Savings) -> bool {
    let asks = |answer| matches!(answer, Answer::Short | Answer::Blocked);
    !view.missing.is_empty() || view.verdicts.iter().any(|verdict| asks(verdict.answer))
}
