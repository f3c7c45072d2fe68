//! A figure of a year, explained from its months.

use super::{Arguments, Explained, unknown};
use crate::acquire::Clock;
use crate::agent::Books;
use crate::attribute::RULES;
use crate::cli::Failure;
use crate::cli::filing::{of_months, of_year};
use crate::config::Configuration;
use crate::report::filing::{FilingInput, origin, year_ids};
use crate::report::{Text, Versions};
use crate::time::Month;
use anyhow::anyhow;
use std::path::Path;

/// Explains a figure of a year by its path below it.
///
/// # Errors
/// A year of which nothing is known, a path of no figure, a day asked for, facts that cannot be read.
pub fn figure(
    plant: &Path,
    configuration: &Configuration,
    year: i32,
    path: &str,
    arguments: &Arguments,
) -> Result<Explained, Failure> {
    if arguments.day.is_some() || arguments.at.is_some() {
        return Err(Failure::unusable(anyhow!(
            "a figure of a year is made of months, not of slices\nhelp: leave out --day and --at; then ask for one of the months that \
             are listed"
        )));
    }
    let books = Books::open(plant, configuration, Clock::start(0).now()).map_err(Failure::unreachable)?;
    let nothing =
        || Failure::unusable(anyhow!("nothing is known of {year}: no meter of the store has a reading in it"));
    let whole = of_year(&books, configuration, year)?.ok_or_else(nothing)?;
    let mut months = Vec::new();
    for month in (1..=12).map(|month| Month { year, month }) {
        months.extend(of_months(&books, configuration, &[month])?.map(|facts| (month, facts)));
    }
    let texts: Vec<Text> =
        configuration.texts.iter().map(|t| Text { path: t.path.clone(), text: t.text.clone() }).collect();
    let input = FilingInput {
        plant: books.plant(),
        year: &whole,
        before: None,
        base: None,
        sites: None,
        site: None,
        closed: &[],
        mapping: &configuration.filing,
        texts: &texts,
        versions: Versions { program: env!("CARGO_PKG_VERSION"), rules: RULES, zones: crate::time::ZONES },
    };
    let origin = origin(&input, &months, path).ok_or_else(|| unknown(&arguments.id, &year_ids(&input)))?;
    Ok(Explained { origin, closed: None, readings: Vec::new() })
}
