//! `inkwatt filing`: the year's figures for disclosure.

use super::report::{replace, templates};
use super::{Ended, Failure, Outcome, configuration, say};
use crate::acquire::Clock;
use crate::agent::Books;
use crate::attribute::{Amount, DaySums, RULES};
use crate::config::{Configuration, Use};
use crate::report::filing::{FilingInput, YearFacts, files};
use crate::report::{Text, Versions};
use crate::time::Month;
use crate::units::{Energy, counted};
use anyhow::anyhow;
use chrono::NaiveDate;
use std::io::{self, IsTerminal};
use std::path::Path;

/// Arguments of the command.
#[derive(clap::Args)]
#[command(after_help = "Examples:
  inkwatt filing 2026            writes reports/2026/ with filing.html and its tables
What is printed, and under which data point of which standard, stands in config/filing.toml; `inkwatt check --example
filing` prints the shipped one.")]
pub struct Arguments {
    /// The year, such as 2026.
    #[arg(value_name = "YYYY", value_parser = clap::value_parser!(i32).range(1990..=2100))]
    year: i32,
}

/// Runs the command on a plant folder.
pub fn run(plant: &Path, arguments: &Arguments) -> Ended {
    let configuration = configuration(plant, Use::Pricing)?;
    let books = Books::open(plant, &configuration, Clock::start(0).now()).map_err(Failure::unreachable)?;
    let year = |year: i32| of_year(&books, &configuration, year);
    let Some(this) = year(arguments.year)? else {
        return Err(Failure::unusable(anyhow!(
            "nothing is known of {}: no meter of the store has a reading in it",
            arguments.year
        )));
    };
    let before = year(arguments.year - 1)?;
    let base = match configuration.filing.base {
        Some(base) if base.year == arguments.year - 1 => before.clone(),
        Some(base) => year(base.year)?,
        None => None,
    };
    let texts: Vec<Text> =
        configuration.texts.iter().map(|t| Text { path: t.path.clone(), text: t.text.clone() }).collect();
    let input = FilingInput {
        plant: books.plant(),
        year: &this,
        before: before.as_ref(),
        base: base.as_ref(),
        mapping: &configuration.filing,
        texts: &texts,
        versions: Versions { program: env!("CARGO_PKG_VERSION"), rules: RULES, zones: crate::time::ZONES },
    };
    let own = templates(&plant.join("templates/report")).map_err(Failure::Unusable)?;
    let files = files(&input, &own).map_err(Failure::unusable)?;
    let folder = plant.join("reports").join(this.year.to_string());
    replace(&folder, &files).map_err(Failure::Unreachable)?;
    let (shown, beside) = (folder.display(), counted(files.len() - 1, "file"));
    say(&format!(
        "{}: {} kWh on {} of {} days\n{shown}/filing.html and {beside} beside it",
        this.year,
        this.energy.rounded(),
        counted(this.whole, "whole day"),
        this.days
    ));
    Ok(Outcome::Done)
}

/// The facts of a year, read a month at a time.
fn of_year(books: &Books, configuration: &Configuration, year: i32) -> Result<Option<YearFacts>, Failure> {
    let mut sums: Vec<DaySums> = Vec::new();
    let mut estimated = Energy::ZERO;
    for month in 1..=12 {
        let month = Month { year, month };
        if io::stderr().is_terminal() {
            eprint!("attributing {month} ...\r");
        }
        let days: Vec<NaiveDate> = month.days().collect();
        let found = books.days(&days).map_err(Failure::unreachable)?;
        let slices = found.iter().flat_map(|(ledger, _)| &ledger.value.slices);
        let guessed = slices.filter(|slice| slice.usage.amount == Amount::Estimated);
        estimated += guessed.filter_map(|slice| slice.usage.energy).sum();
        sums.extend(found.into_iter().map(|(_, sums)| sums));
    }
    Ok(YearFacts::of(books.plant(), &configuration.factors, &books.instruments(), &sums, estimated))
}
