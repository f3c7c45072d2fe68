//! `inkwatt report`: the month as HTML and CSV.

use super::bill::LONGEST_BEFORE;
use super::noticed::noticed;
use super::statements::{Asked, statements};
use super::{Ended, Failure, Outcome, configuration, say};
use crate::acquire::Clock;
use crate::agent::{self, Books};
use crate::attribute::RULES;
use crate::closing::{Closing, broken, in_force};
use crate::config::{Configuration, Use};
use crate::cost::{Supply, looks_back};
use crate::report::month::{Summary, view};
use crate::report::{Billed, Facts, MonthInput, Noticed, ReportFile, Text, Versions, render};
use crate::store::{Access, Store};
use crate::time::{At, Month, Zone};
use crate::units::counted;
use crate::verify::statement::Statements;
use anyhow::{Context, anyhow};
use chrono::Days;
use serde::Serialize;
use std::collections::BTreeMap;
use std::fs;
use std::io::{self, IsTerminal};
use std::path::{Path, PathBuf};

/// Arguments of the command.
#[derive(clap::Args)]
#[command(after_help = "Examples:
  inkwatt report 2026-03            writes reports/2026-03/ with report.html and its tables
  inkwatt report 2026-03 --json     and prints the month in a few exact numbers
Templates in the plant folder's templates/report/ replace those of the same name.")]
pub struct Arguments {
    /// The month, such as 2026-03.
    #[arg(value_name = "YYYY-MM", value_parser = month)]
    month: Month,
    /// Prints JSON.
    #[arg(long)]
    json: bool,
}

pub(super) fn month(text: &str) -> Result<Month, String> {
    Month::parse(text).ok_or_else(|| "a month is written like 2026-03".into())
}

/// Runs the command on a plant folder.
pub fn run(plant: &Path, arguments: Arguments) -> Ended {
    let configuration = configuration(plant, Use::Pricing)?;
    if io::stderr().is_terminal() {
        eprintln!("attributing {} and the same month a year before ...", arguments.month);
    }
    let written = write_month(plant, &configuration, arguments.month, Clock::start(0).now(), true)?;
    let text = match arguments.json {
        true => serde_json::to_string_pretty(&written).map_err(Failure::unusable)?,
        false => written.to_string(),
    };
    say(&text);
    Ok(Outcome::Done)
}

/// A report that was written.
#[derive(Debug, Serialize)]
pub struct Written {
    /// Its folder.
    pub folder: PathBuf,
    /// The names of its files.
    pub files: Vec<String>,
    /// The month in a few exact numbers.
    #[serde(flatten)]
    pub summary: Summary,
}

impl std::fmt::Display for Written {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let (folder, summary) = (self.folder.display(), &self.summary);
        writeln!(f, "{}: {}", summary.month, summary.line)?;
        if let Some(known) = &summary.known {
            writeln!(f, "{known}")?;
        }
        if !summary.missing_hours.is_empty() {
            writeln!(f, "missing: {}", missing(&summary.missing_hours))?;
        }
        match summary.to_act_on {
            0 => {}
            1 => writeln!(f, "1 remark on the data asks for an action; the report says which")?,
            many => writeln!(f, "{many} remarks on the data ask for an action; the report says which")?,
        }
        write!(f, "{folder}/report.html and {} beside it", counted(self.files.len() - 1, "file"))
    }
}

/// Hours by meter in one line; of many meters the first few.
fn missing(hours: &BTreeMap<String, String>) -> String {
    const TOLD: usize = 6;
    let mut told: Vec<String> = hours.iter().take(TOLD).map(|(meter, hours)| format!("{hours} h of {meter}")).collect();
    if let more @ 1.. = hours.len().saturating_sub(TOLD) {
        told.push(format!("and hours of {}", counted(more, "further meter")));
    }
    told.join(", ")
}

/// Writes the report of a month, as it is known at `now`, into the plant's `reports/`. The watch `looks` for what to act on, which
/// takes its time where it has never looked before.
///
/// # Errors
/// A month without data, a template that cannot be used, a store that cannot be read, a folder that cannot be written.
pub fn write_month(
    folder: &Path,
    configuration: &Configuration,
    month: Month,
    now: At,
    looks: bool,
) -> Result<Written, Failure> {
    let books = Books::open(folder, configuration, now).map_err(Failure::unreachable)?;
    let asked = Asked { last: Some(month.last()), ..Asked::default() };
    let savings = statements(folder, configuration, &books, &asked, now)?;
    let templates = templates(&folder.join("templates/report")).map_err(Failure::Unusable)?;
    let store = Store::open(folder, books.plant().zone, Access::Read).map_err(Failure::unreachable)?;
    let (closings, _) = broken(&store.closings().map_err(Failure::unreachable)?);
    let closed = closed(&closings, books.plant().zone, month);
    let noticed = match looks {
        true => noticed(&books, &store, configuration, month, now).map_err(Failure::unreachable)?,
        false => None,
    };
    let beside = Beside { savings: savings.as_ref(), closed: closed.as_deref(), findings: noticed.as_deref() };
    with_month(&books, configuration, month, beside, |input| {
        let view = view(input).map_err(Failure::unusable)?;
        let files = render(&view, &templates).map_err(Failure::unusable)?;
        let folder = folder.join("reports").join(month.to_string());
        replace(&folder, &files).map_err(Failure::Unreachable)?;
        Ok(Written { folder, files: files.into_iter().map(|f| f.name).collect(), summary: view.summary })
    })
}

/// What stands beside the days of a month.
#[derive(Clone, Copy, Default)]
pub(super) struct Beside<'a> {
    /// What came of the promise.
    pub savings: Option<&'a Statements>,
    /// Whether and when it was closed.
    pub closed: Option<&'a str>,
    /// What the watch found.
    pub findings: Option<&'a [Noticed]>,
}

/// Reads a month and has something made of it.
///
/// # Errors
/// A store that cannot be read, and those of what is made.
pub(super) fn with_month<R>(
    books: &Books,
    configuration: &Configuration,
    month: Month,
    Beside { savings, closed, findings }: Beside<'_>,
    then: impl FnOnce(&MonthInput) -> Result<R, Failure>,
) -> Result<R, Failure> {
    let dates = |month: Month| month.days().collect::<Vec<_>>();
    let (days, sums): (Vec<_>, Vec<_>) = books.days(&dates(month)).map_err(Failure::unreachable)?.into_iter().unzip();
    let before = books.sums(&dates(month.year_before())).map_err(Failure::unreachable)?;
    let runs = books.runs(books.plant().zone.month(month));
    let instruments = books.instruments();
    let facts = Facts { days: &days, sums: &sums, runs: &runs };
    let billed = billed(books, configuration, month, &facts)?;
    let texts = texts(configuration);
    then(&MonthInput {
        plant: books.plant(),
        month,
        facts,
        year_before: Some(&before),
        savings,
        findings,
        billed: billed.as_ref(),
        closed,
        issues: books.issues(),
        tariffs: &configuration.tariffs,
        factors: &configuration.factors,
        instruments: &instruments,
        texts: &texts,
        versions: versions(),
    })
}

/// The supplier's bill of a month, with the bills on file that touch it; `None` where not every day has a tariff, of which prices
/// are remarked as missing already.
fn billed(
    books: &Books,
    configuration: &Configuration,
    month: Month,
    facts: &Facts,
) -> Result<Option<Billed>, Failure> {
    let (tariffs, bills) = (&configuration.tariffs, books.bills());
    let days = (month.first(), month.last());
    let touching = bills.iter().filter(|bill| bill.from <= days.1 && bill.to >= days.0);
    let spans = touching.map(|bill| {
        let beyond = Days::new(LONGEST_BEFORE);
        let first = looks_back(tariffs, (bill.from, bill.to));
        (first.checked_sub_days(beyond).unwrap_or(first), bill.to.checked_add_days(beyond).unwrap_or(bill.to))
    });
    let whole = spans.fold((looks_back(tariffs, days), days.1), |all, one| (all.0.min(one.0), all.1.max(one.1)));
    let intervals = agent::supplied(books, whole).map_err(Failure::unreachable)?;
    Ok(Billed::of(&Supply::new(books.plant(), intervals), tariffs, month, facts, &bills).ok())
}

/// Whether and when a month was closed, in words; `None` where it is open.
pub(super) fn closed(closings: &[Closing], zone: Zone, month: Month) -> Option<String> {
    let of = in_force(closings).get(&month).copied()?;
    let what = match (of.true_up, of.sequence) {
        (true, _) => "trued up",
        (false, 0) => "closed",
        (false, _) => "restated",
    };
    Some(format!("{what} on {} by {}", zone.date(At(of.at)), of.by))
}

/// The configuration texts in force, to be cited.
pub(super) fn texts(configuration: &Configuration) -> Vec<Text> {
    configuration.texts.iter().map(|text| Text { path: text.path.clone(), text: text.text.clone() }).collect()
}

/// What computes it.
pub(super) const fn versions() -> Versions<'static> {
    Versions { program: env!("CARGO_PKG_VERSION"), rules: RULES, zones: crate::time::ZONES }
}

/// The plant's own templates, by the names under which the embedded ones stand.
pub(super) fn templates(folder: &Path) -> anyhow::Result<Vec<Text>> {
    let entries = match fs::read_dir(folder) {
        Ok(entries) => entries,
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
        Err(error) => return Err(anyhow!(error).context(format!("cannot read {}", folder.display()))),
    };
    let mut texts = Vec::new();
    for entry in entries {
        let path = entry.with_context(|| format!("cannot read {}", folder.display()))?.path();
        let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        if path.is_file() && !name.starts_with('.') {
            let text = fs::read_to_string(&path).with_context(|| format!("cannot read {}", path.display()))?;
            texts.push(Text { path: format!("report/{name}"), text });
        }
    }
    texts.sort_by(|a, b| a.path.cmp(&b.path));
    Ok(texts)
}

/// Writes the files beside the folder and then puts them in its place, so that no reader meets half a report.
pub(super) fn replace(folder: &Path, files: &[ReportFile]) -> anyhow::Result<()> {
    let name = folder.file_name().unwrap_or_default().to_string_lossy().into_owned();
    let beside = |what: &str| folder.with_file_name(format!(".{name}.{what}.{}", std::process::id()));
    let (new, old) = (beside("new"), beside("old"));
    let written = || format!("cannot write {}", folder.display());
    fs::create_dir_all(&new).with_context(written)?;
    for file in files {
        fs::write(new.join(&file.name), &file.bytes).with_context(written)?;
    }
    if folder.exists() {
        fs::rename(folder, &old).with_context(written)?;
    }
    fs::rename(&new, folder).with_context(written)?;
    if old.exists() {
        fs::remove_dir_all(&old).with_context(|| format!("cannot remove {}", old.display()))?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn missing_hours_are_told_in_one_line() {
        let hours = |count: usize| (0..count).map(|k| (format!("m{k}"), "1.50".to_owned())).collect();
        assert_eq!(missing(&hours(2)), "1.50 h of m0, 1.50 h of m1");
        let many = missing(&hours(7));
        assert_eq!(
            many,
            "1.50 h of m0, 1.50 h of m1, 1.50 h of m2, 1.50 h of m3, 1.50 h of m4, 1.50 h of m5, and hours of 1 further meter"
        );
    }
}
