//! `inkwatt jobs`: energy, cost and carbon of jobs, and the statement on one for its customer.

use super::report::{replace, templates};
use super::{Ended, Failure, Outcome, configuration, in_order, say};
use crate::acquire::Clock;
use crate::agent::{Books, with_basis};
use crate::config::{Configuration, Use};
use crate::readings::Run;
use crate::report::jobs_of::{JobRow, JobsOf, jobs_of, statement, statement_files};
use crate::time::{At, Month, Period};
use crate::units::{Decimal, counted, fixed};
use anyhow::anyhow;
use chrono::{Datelike, NaiveDate};
use std::path::Path;

/// Arguments of the command.
#[derive(clap::Args)]
#[command(after_help = "Examples:
  inkwatt jobs --from 2026-06-01 --to 2026-06-30          every job of June, a line each
  inkwatt jobs --from 2026-06-01 --to 2026-06-30 --json   the same in exact numbers
  inkwatt jobs --job 10234                                writes a page for its customer to reports/jobs/10234/
A job that is not wholly inside the days, has no end or no good length, or ran while energy of a meter is missing, has no
figure for a length. Figures marked ≈ are indicative: web and job records of the press differ by more than 5 %.")]
pub struct Arguments {
    /// The first local day; the first of the month of --to where it is left out.
    #[arg(long, value_name = "YYYY-MM-DD")]
    from: Option<NaiveDate>,
    /// The last local day, included; today where it is left out.
    #[arg(long, value_name = "YYYY-MM-DD")]
    to: Option<NaiveDate>,
    /// Writes the statement on this job, on whatever days it ran.
    #[arg(long, value_name = "NUMBER", conflicts_with_all = ["from", "to"])]
    job: Option<String>,
    /// Prints JSON.
    #[arg(long)]
    json: bool,
}

/// Runs the command on a plant folder.
pub fn run(plant: &Path, arguments: &Arguments) -> Ended {
    let configuration = configuration(plant, Use::Pricing)?;
    let now = Clock::start(0).now();
    let books = Books::open(plant, &configuration, now).map_err(Failure::unreachable)?;
    let text = match &arguments.job {
        Some(job) => one(plant, &configuration, &books, job, arguments.json)?,
        None => list(&configuration, &books, arguments, now)?,
    };
    say(&text);
    Ok(Outcome::Done)
}

fn list(configuration: &Configuration, books: &Books, arguments: &Arguments, now: At) -> Result<String, Failure> {
    let last = arguments.to.unwrap_or_else(|| books.plant().zone.date(now));
    let first = arguments.from.unwrap_or_else(|| last.with_day(1).unwrap_or(last));
    in_order(first, last)?;
    let found = with_basis(books, configuration, (first, last), jobs_of).map_err(Failure::unreachable)?;
    if found.days.is_none() {
        return Err(Failure::unusable(anyhow!("no meter has a reading from {first} to {last}")));
    }
    match arguments.json {
        true => serde_json::to_string_pretty(&found).map_err(Failure::unusable),
        false => Ok(told(&found)),
    }
}

/// Writes the statement on a job.
fn one(plant: &Path, configuration: &Configuration, books: &Books, job: &str, json: bool) -> Result<String, Failure> {
    let zone = books.plant().zone;
    let all = books.runs(Period::new(At(0), At(i64::MAX)));
    let runs: Vec<&Run> = all.iter().filter(|run| run.job == job).collect();
    let unknown = || {
        let help = "`inkwatt jobs --from DAY --to DAY` lists the jobs";
        Failure::unusable(anyhow!("no run of job \"{job}\" was charged with any energy\nhelp: {help}"))
    };
    let first = runs.iter().map(|run| zone.date(run.start)).min().ok_or_else(unknown)?;
    let last = runs.iter().map(|run| zone.date(run.end.unwrap_or(run.start))).max().ok_or_else(unknown)?;
    // Whole months, so that a job is indicative here where it is in the report of its month.
    let first = Month::of(first).first();
    let last = Month::of(last).last();
    let found = with_basis(books, configuration, (first, last), |basis| statement(basis, job));
    let found = found.map_err(Failure::unreachable)?.ok_or_else(unknown)?;
    let own = templates(&plant.join("templates/report")).map_err(Failure::Unusable)?;
    let files = statement_files(&found, &own).map_err(Failure::unusable)?;
    let folder = plant.join("reports/jobs").join(as_name(job));
    replace(&folder, &files).map_err(Failure::Unreachable)?;
    if json {
        return serde_json::to_string_pretty(&found).map_err(Failure::unusable);
    }
    let figures = found.figures.iter().map(|(label, figure)| format!("{label}: {} {}", figure.text, figure.unit));
    let told = figures.collect::<Vec<_>>().join("\n");
    Ok(format!("{told}\n{}/statement.html and {} beside it", folder.display(), counted(files.len() - 1, "file")))
}

/// A job number as the name of a folder: what no file system takes becomes a dash.
fn as_name(job: &str) -> String {
    const LONGEST: usize = 80;
    let plain = |c: char| if c.is_ascii_alphanumeric() || c == '-' || c == '_' { c } else { '-' };
    job.chars().take(LONGEST).map(plain).collect()
}

/// The list on a terminal.
fn told(found: &JobsOf) -> String {
    let head = [
        "job".into(),
        "press".into(),
        "start".into(),
        "kWh".into(),
        "make-ready".into(),
        found.currency.clone(),
        format!("kg{}", found.gases),
        "per 1,000 m".into(),
        "per 1,000 m2".into(),
    ];
    let rows: Vec<[String; 9]> = std::iter::once(head).chain(found.jobs.iter().map(line)).collect();
    let width = |k: usize| rows.iter().map(|row| row[k].chars().count()).max().unwrap_or(0);
    let widths: [usize; 9] = std::array::from_fn(width);
    let mut text = String::new();
    for row in &rows {
        let cells = row.iter().zip(widths).enumerate().map(|(k, (cell, width))| match k {
            0..=2 => format!("{cell:<width$}"),
            _ => format!("{cell:>width$}"),
        });
        text.push_str(cells.collect::<Vec<_>>().join("  ").trim_end());
        text.push('\n');
    }
    let (first, last) = found.days.as_ref().map_or(("", ""), |(first, last)| (first, last));
    let jobs = counted(found.jobs.len(), "job");
    let none = rounded(Some(&found.charged_to_no_job_kwh), 1);
    text.push_str(&format!(
        "{jobs} from {first} to {last}; {none} kWh were charged to no job; carbon is location-based and {}\n",
        found.carbon_status
    ));
    let mut reasons: Vec<&str> = found.jobs.iter().filter_map(|job| job.no_figure).collect();
    reasons.sort_unstable();
    reasons.dedup();
    if !reasons.is_empty() {
        text.push_str(&format!("– for a length: {}\n", reasons.join("; ")));
    }
    if found.jobs.iter().any(|job| job.indicative) {
        text.push_str("≈ is indicative: web and job records of the press differ by more than 5 %\n");
    }
    text
}

fn line(job: &JobRow) -> [String; 9] {
    let mark = if job.indicative { " ≈" } else { "" };
    [
        format!("{}{mark}", job.job),
        job.press.clone(),
        job.start.get(..16).unwrap_or(&job.start).replace('T', " "),
        rounded(Some(&job.energy_kwh), 1),
        rounded(Some(&job.make_ready_kwh), 1),
        rounded(job.cost.as_ref(), 2),
        rounded(job.co2e_kg.as_ref(), 2),
        rounded(job.energy_per_1000_m_kwh.as_ref(), 2),
        rounded(job.energy_per_1000_m2_kwh.as_ref(), 1),
    ]
}

/// An exact number with some decimals; a dash where there is none.
fn rounded(exact: Option<&String>, places: u32) -> String {
    let count = exact.and_then(|exact| Decimal::parse(exact)?.scale(1_000_000, 1, 1));
    count.map_or_else(|| "–".into(), |count| fixed(count.into(), 6, places))
}
