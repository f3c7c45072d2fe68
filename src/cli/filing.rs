//! `inkwatt filing`: the year's figures for disclosure.

mod sites;

use super::report::{replace, templates, texts, versions};
use super::{Ended, Failure, Outcome, configuration, say};
use crate::acquire::Clock;
use crate::agent::Books;
use crate::attribute::{Amount, DaySums};
use crate::config::{Configuration, Use};
use crate::report::filing::{FilingInput, SiteMonth, SiteYear, YearFacts, files};
use crate::store::{Access, Store};
use crate::time::Month;
use crate::units::{Energy, counted};
use crate::verify::listed;
use anyhow::anyhow;
use chrono::NaiveDate;
use std::io::{self, IsTerminal};
use std::path::{Path, PathBuf};

/// Arguments of the command.
#[derive(clap::Args)]
#[command(after_help = "Examples:
  inkwatt filing 2026                          writes reports/2026/ with filing.html and its tables
  inkwatt filing 2026 --site north-2026.json   for this plant and another one, with the site.json that was written there
What is printed, and under which data point of which standard, stands in config/filing.toml; `inkwatt check --example
filing` prints the shipped one. site.json beside it has the closed months of this plant for whoever files for several sites: each
with its own factors, grid and time zone.")]
pub struct Arguments {
    /// The year, such as 2026.
    #[arg(value_name = "YYYY", value_parser = clap::value_parser!(i32).range(1990..=2100))]
    year: i32,
    /// A site.json of another site, for which this plant files as well; several may be named.
    #[arg(long = "site", value_name = "FILE")]
    sites: Vec<PathBuf>,
}

/// Runs the command on a plant folder.
pub fn run(plant: &Path, arguments: &Arguments) -> Ended {
    let configuration = configuration(plant, Use::Pricing)?;
    let books = Books::open(plant, &configuration, Clock::start(0).now()).map_err(Failure::unreachable)?;
    let year = |year: i32| of_year(&books, &configuration, year);
    let Some(this) = year(arguments.year)? else {
        return Err(unknown_year(arguments.year));
    };
    let before = year(arguments.year - 1)?;
    let base = match configuration.filing.base {
        Some(base) if base.year == arguments.year - 1 => before.clone(),
        Some(base) => year(base.year)?,
        None => None,
    };
    let handed_on = closed_months(plant, &configuration, &books, arguments.year)?;
    let version = env!("CARGO_PKG_VERSION");
    let own = || SiteYear::of(books.plant(), &this, handed_on.listed.clone(), version);
    let sites = match arguments.sites.as_slice() {
        [] => None,
        files => Some(sites::read(own(), files)?),
    };
    let texts = texts(&configuration);
    let input = FilingInput {
        plant: books.plant(),
        year: &this,
        before: before.as_ref(),
        base: base.as_ref(),
        sites: sites.as_ref(),
        site: handed_on.site.as_ref(),
        closed: &handed_on.listed,
        mapping: &configuration.filing,
        texts: &texts,
        versions: versions(),
    };
    let own = templates(&plant.join("templates/report")).map_err(Failure::Unusable)?;
    let files = files(&input, &own).map_err(Failure::unusable)?;
    let folder = plant.join("reports").join(this.year.to_string());
    replace(&folder, &files).map_err(Failure::Unreachable)?;
    let (shown, beside) = (folder.display(), counted(files.len() - 1, "file"));
    let mut told = format!(
        "{}: {} kWh on {} of {} days\n{shown}/filing.html and {beside} beside it",
        this.year,
        this.energy.rounded(),
        counted(this.whole, "whole day"),
        this.days
    );
    if let Some(sites) = &sites {
        told.push_str(&format!("\nfor {}", listed(&sites.all().map(|site| site.site.clone()).collect::<Vec<_>>())));
    }
    match (&handed_on.site, &handed_on.why_not) {
        (Some(site), _) => {
            told.push_str(&format!("\nsite.json hands on {}", counted(site.months.len(), "closed month")))
        }
        (None, Some(why)) => told.push_str(&format!("\nsite.json is not written: {why}")),
        (None, None) => {}
    }
    say(&told);
    Ok(Outcome::Done)
}

/// The closed months of the plant.
#[derive(Default)]
struct HandedOn {
    listed: Vec<SiteMonth>,
    /// What is handed on; `None` where no month is closed, or they do not come out as they were closed.
    site: Option<SiteYear>,
    why_not: Option<String>,
}

fn closed_months(plant: &Path, configuration: &Configuration, books: &Books, year: i32) -> Result<HandedOn, Failure> {
    let store = Store::open(plant, books.plant().zone, Access::Read).map_err(Failure::unreachable)?;
    let closed = sites::Closed::of(&store, year)?;
    let months = closed.months();
    let listed = closed.listed();
    let Some(facts) = of_months(books, configuration, &months)? else { return Ok(HandedOn::default()) };
    let why_not = closed.differs(&facts);
    let site = || SiteYear::of(books.plant(), &facts, listed.clone(), env!("CARGO_PKG_VERSION"));
    Ok(HandedOn { site: why_not.is_none().then(site), listed, why_not })
}

/// The facts of a year.
fn of_year(books: &Books, configuration: &Configuration, year: i32) -> Result<Option<YearFacts>, Failure> {
    of_months(books, configuration, &Month::of_year(year))
}

/// The facts of months of a year.
fn of_months(books: &Books, configuration: &Configuration, months: &[Month]) -> Result<Option<YearFacts>, Failure> {
    Ok(facts(books, configuration, &read(books, months)?))
}

/// What the days of a month add up to.
pub(super) struct MonthSums {
    pub month: Month,
    sums: Vec<DaySums>,
    estimated: Energy,
}

/// Reads months, one at a time.
pub(super) fn read(books: &Books, months: &[Month]) -> Result<Vec<MonthSums>, Failure> {
    let of = |month: &Month| {
        if io::stderr().is_terminal() {
            eprint!("attributing {month} ...\r");
        }
        let days: Vec<NaiveDate> = month.days().collect();
        let found = books.days(&days).map_err(Failure::unreachable)?;
        let slices = found.iter().flat_map(|(ledger, _)| &ledger.value.slices);
        let guessed = slices.filter(|slice| slice.usage.amount == Amount::Estimated);
        let estimated = guessed.filter_map(|slice| slice.usage.energy).sum();
        Ok(MonthSums { month: *month, sums: found.into_iter().map(|(_, sums)| sums).collect(), estimated })
    };
    months.iter().map(of).collect()
}

/// The facts of months of a year; `None` where nothing is known of them.
pub(super) fn facts(books: &Books, configuration: &Configuration, months: &[MonthSums]) -> Option<YearFacts> {
    let sums: Vec<DaySums> = months.iter().flat_map(|month| month.sums.iter().cloned()).collect();
    let estimated = months.iter().map(|month| month.estimated).sum();
    YearFacts::of(books.plant(), &configuration.factors, &books.instruments(), &sums, estimated)
}

/// Said of a year without readings.
pub(super) fn unknown_year(year: i32) -> Failure {
    Failure::unusable(anyhow!("nothing is known of {year}: no meter of the store has a reading in it"))
}
