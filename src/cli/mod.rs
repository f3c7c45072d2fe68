//! The command line: one file a command.

mod alerts;
mod backup;
mod baseline;
mod bill;
mod check;
mod check_electrical;
mod check_poll;
mod check_system;
mod close;
mod columns;
#[cfg(feature = "demo")]
mod demo;
mod explain;
mod export;
mod import;
mod jobs;
mod new;
mod noticed;
mod record;
mod filing;
mod report;
mod run;
mod scan;
mod statements;
mod supervisor;
mod token;
mod verify;
mod watch;

pub use baseline::in_force;
pub use close::{Audit, Audited, ToClose, audit_months, close_month, true_up};
pub use statements::{Asked, statements};

use crate::config::{self, Configuration, Use, did_you_mean};
use crate::found::Found;
use crate::readings::Event;
use crate::store::{Access, Store, StoreError};
use crate::time::Zone;
use anyhow::anyhow;
use chrono::NaiveDate;
use clap::{CommandFactory, Parser, Subcommand};
use std::collections::BTreeSet;
use std::ffi::OsString;
use std::fmt;
use std::io::{self, IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use tracing_subscriber::EnvFilter;

/// How a command ended, short of an error.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// Done.
    Done,
    /// Done, and something was found that a person should look at.
    Finding,
}

/// An error, sorted by the exit code it gives.
#[derive(Debug)]
pub enum Failure {
    /// Unusable arguments or configuration: 2.
    Unusable(anyhow::Error),
    /// A source or the store could not be reached: 3.
    Unreachable(anyhow::Error),
}

impl Failure {
    /// Arguments or a configuration that cannot be used.
    pub fn unusable(error: impl Into<anyhow::Error>) -> Self {
        Self::Unusable(error.into())
    }

    /// A source or the store could not be reached.
    pub fn unreachable(error: impl Into<anyhow::Error>) -> Self {
        Self::Unreachable(error.into())
    }
}

impl fmt::Display for Failure {
    /// With its causes.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (Self::Unusable(error) | Self::Unreachable(error)) = self;
        write!(f, "{error:#}")
    }
}

/// What a command gives.
pub type Ended = Result<Outcome, Failure>;

/// Measures what came of the change from arc lamps to UV LED, press by press and kWh by kWh.
#[derive(Parser)]
#[command(name = "inkwatt", version, max_term_width = 100)]
struct Inkwatt {
    /// The folder of the plant, with config/, store/ and reports/; where none is named the current one, and for the demo
    /// inkwatt-demo.
    #[arg(long, global = true, value_name = "DIR")]
    plant: Option<PathBuf>,
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Does the whole job on an invented plant, then serves its page until stopped.
    #[cfg(feature = "demo")]
    Demo(demo::Arguments),
    /// Begins a plant: asks what it needs to know, writes its configuration and reads its first meter.
    New(new::Arguments),
    /// Reads the configuration and prints the plant as understood; reads or tests its meters.
    Check(check::Arguments),
    /// Says which units answer on a line, and which SunSpec models they state; writes register maps from these.
    Scan(scan::Arguments),
    /// Runs the agent: polls, listens, stores and serves the page.
    Run(run::Arguments),
    /// Makes a token, by which other machines may see the board or answer findings.
    Token(token::Arguments),
    /// Takes in history from CSV files.
    Import(import::Arguments),
    /// Records a dated fact by hand: a lamp exchanged, a meter swapped, a value corrected.
    Record(record::Arguments),
    /// Says what came of the promise: promised, at actual operation, measured, with its uncertainty.
    Verify(verify::Arguments),
    /// Replays history and lists what a person should look at: lamps left on, stations that draw more than they did.
    Watch(watch::Arguments),
    /// Says who was told of findings, and what waits; tries a channel.
    Alerts(alerts::Arguments),
    /// Writes the report of a month as HTML and CSV.
    Report(report::Arguments),
    /// Freezes a month whose data are in; audits that closed months still come out of the facts.
    Close(close::Arguments),
    /// Writes the year's figures for disclosure: scope 2 by both methods, under the data points of standards.
    Filing(filing::Arguments),
    /// Says how a figure of a report came about, down to slices, readings, prices and factors.
    Explain(explain::Arguments),
    /// Lists the energy, cost and carbon of jobs; writes the statement on one for its customer.
    Jobs(jobs::Arguments),
    /// Bills a month by the tariffs in force, line by line, from the fiscal meter.
    Bill(bill::Arguments),
    /// Fits, freezes and shows what the old lamps drew.
    Baseline(baseline::Arguments),
    /// Writes readings or slices in open formats.
    Export(export::Arguments),
    /// Writes a consistent copy of the store, also while the agent runs.
    Backup(backup::Arguments),
}

/// The commands and their options, as the help shows them.
pub fn grammar() -> clap::Command {
    Inkwatt::command()
}

/// Runs the program with its arguments, the first being its own name.
pub fn run(arguments: impl Iterator<Item = OsString>) -> ExitCode {
    let inkwatt = match Inkwatt::try_parse_from(arguments) {
        Ok(inkwatt) => inkwatt,
        Err(told) => {
            let code = if told.use_stderr() { 2 } else { 0 };
            // A closed pipe is nobody left to tell.
            let _ = told.print();
            return ExitCode::from(code);
        }
    };
    let plant = inkwatt.plant.as_deref().unwrap_or(Path::new("."));
    let ended = match inkwatt.command {
        #[cfg(feature = "demo")]
        Command::Demo(arguments) => demo::run(inkwatt.plant.as_deref(), arguments),
        Command::Check(arguments) => check::run(plant, arguments),
        Command::New(arguments) => new::run(plant, &arguments),
        Command::Scan(arguments) => scan::run(plant, &arguments),
        Command::Run(arguments) => run::run(plant, arguments),
        Command::Token(arguments) => token::run(&arguments),
        Command::Import(arguments) => import::run(plant, arguments),
        Command::Record(arguments) => record::run(plant, arguments),
        Command::Verify(arguments) => verify::run(plant, arguments),
        Command::Watch(arguments) => watch::run(plant, &arguments),
        Command::Alerts(arguments) => alerts::run(plant, &arguments),
        Command::Report(arguments) => report::run(plant, arguments),
        Command::Jobs(arguments) => jobs::run(plant, &arguments),
        Command::Close(arguments) => close::run(plant, &arguments),
        Command::Filing(arguments) => filing::run(plant, &arguments),
        Command::Explain(arguments) => explain::run(plant, &arguments),
        Command::Bill(arguments) => bill::run(plant, arguments),
        Command::Baseline(arguments) => baseline::run(plant, arguments),
        Command::Export(arguments) => export::run(plant, arguments),
        Command::Backup(arguments) => backup::run(plant, arguments),
    };
    match ended {
        Ok(Outcome::Done) => ExitCode::SUCCESS,
        Ok(Outcome::Finding) => ExitCode::from(1),
        Err(Failure::Unusable(error)) => told(&error, 2),
        Err(Failure::Unreachable(error)) => told(&error, 3),
    }
}

/// The configuration of a plant folder for a use; what had to be left out is named.
fn configuration(plant: &Path, wanted: Use) -> Result<Configuration, Failure> {
    let configuration = loaded(plant, wanted)?;
    left_out(&configuration).for_each(|line| eprintln!("warning: {line}"));
    Ok(configuration)
}

fn loaded(plant: &Path, wanted: Use) -> Result<Configuration, Failure> {
    config::load_for(plant, wanted).map_err(|problems| Failure::unusable(problems.seen_from(plant)))
}

/// The files that cannot be used and are not needed, a line each.
fn left_out(configuration: &Configuration) -> impl Iterator<Item = String> {
    let paths: BTreeSet<&str> = configuration.left_out.iter().map(|(_, problem)| problem.path.as_str()).collect();
    paths.into_iter().map(|path| format!("{path} cannot be used and is left out; inkwatt check names why"))
}

/// Prints a text. A closed pipe is nobody left to tell.
fn say(text: &str) {
    let _ = writeln!(io::stdout(), "{}", text.trim_end());
}

/// The first and the last day of `--from` and `--to`, in that order.
fn in_order(from: NaiveDate, to: NaiveDate) -> Result<(NaiveDate, NaiveDate), Failure> {
    if to < from {
        return Err(Failure::unusable(anyhow!("--to {to} lies before --from {from}; expected the last day, included")));
    }
    Ok((from, to))
}

/// What is said of a name that is not known: the nearest one, or those that are.
fn unknown<'k>(noun: &str, word: &str, known: impl Iterator<Item = &'k str> + Clone) -> anyhow::Error {
    anyhow!("{noun} \"{word}\" is not known\nhelp: {}", did_you_mean(word, known))
}

/// A file that cannot be opened.
fn unopened(file: &Path, error: &io::Error) -> Failure {
    let file = file.display();
    Failure::unusable(match error.kind() {
        io::ErrorKind::NotFound => anyhow!(
            "{file}: there is no such file\nhelp: its path is taken from the folder in which inkwatt is started, not from \
             the plant folder"
        ),
        _ => anyhow!("{file}: cannot be read: {error}"),
    })
}

/// The events in force in a plant folder; none where there is no store yet.
fn recorded(plant: &Path, zone: Zone) -> Result<Found<Vec<Event>>, Failure> {
    match Store::open(plant, zone, Access::Read).and_then(|store| store.events()) {
        Err(StoreError::Missing { .. }) => Ok(Found::clean(Vec::new())),
        events => events.map_err(Failure::unreachable),
    }
}

/// Starts the log on stderr: text on a terminal, JSON under a service manager. `RUST_LOG` says how much,
/// or else `usual`.
fn logging(usual: &str) {
    let wanted = EnvFilter::try_from_default_env().unwrap_or_else(|_| EnvFilter::new(usual));
    let log = tracing_subscriber::fmt().with_env_filter(wanted).with_writer(io::stderr);
    let on_terminal = io::stderr().is_terminal();
    // A log that was started before stays as it is.
    let _ = if on_terminal { log.try_init() } else { log.json().try_init() };
}

/// Tells an error once, with its chain of causes.
fn told(error: &anyhow::Error, code: u8) -> ExitCode {
    eprintln!("error: {error:#}");
    ExitCode::from(code)
}
