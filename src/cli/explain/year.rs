//! A figure of a year, explained from its months.

use super::{Arguments, Explained, unknown};
use crate::acquire::Clock;
use crate::agent::Books;
use crate::cli::Failure;
use crate::cli::filing::{MonthSums, facts, read, unknown_year};
use crate::cli::report::{texts, versions};
use crate::config::Configuration;
use crate::report::filing::{FilingInput, YearFacts, origin, year_ids};
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
    let read = read(&books, &Month::of_year(year))?;
    let whole = facts(&books, configuration, &read).ok_or_else(|| unknown_year(year))?;
    let of_month = |month: &MonthSums| Some((month.month, facts(&books, configuration, std::slice::from_ref(month))?));
    let months: Vec<(Month, YearFacts)> = read.iter().filter_map(of_month).collect();
    let texts = texts(configuration);
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
        versions: versions(),
    };
    let origin = origin(&input, &months, path).ok_or_else(|| unknown(&arguments.id, &year_ids(&input)))?;
    Ok(Explained { origin, closed: None, readings: Vec::new() })
}
