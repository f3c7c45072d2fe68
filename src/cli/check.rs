//! `inkwatt check`.

use super::check_electrical::{self, Watching};
use super::{Ended, Failure, Outcome, check_poll, check_system, recorded};
use crate::agent;
use crate::attribute;
use crate::config::{self, Configuration, Problems, Understood};
use crate::time::At;
use chrono::Utc;
use serde::Serialize;
use std::io::{self, Write};
use std::path::Path;

/// Arguments of the command.
#[derive(clap::Args)]
#[command(after_help = "Examples:
  inkwatt check --plant /srv/plant           reads the configuration, prints the plant or every error in it
  inkwatt check --poll --json                reads every meter once; exit code 1: something is wrong, 3: not reached
  inkwatt check --electrical --step p1/s3    tests the wiring, and looks for a load that you switch on
  inkwatt check --system                     says what this machine lacks, and what to do; exit code 1: something is
  inkwatt check --example > config/plant.toml   a commented configuration to start from
  inkwatt check --example promise > config/promise.toml   a commented promise, which check holds against itself")]
pub struct Arguments {
    /// Prints JSON.
    #[arg(long)]
    json: bool,
    /// Prints a commented example of a file of config/ and does nothing else.
    #[arg(long, value_name = "FILE", num_args = 0..=1, default_missing_value = "plant")]
    example: Option<Example>,
    /// Reads every meter once and says what is wrong with it.
    #[arg(long)]
    poll: bool,
    /// Says what the machine lacks to run the agent: devices, clock, room, port, hosts, secrets.
    #[arg(long, conflicts_with_all = ["poll", "electrical"])]
    system: bool,
    /// Watches the meters for some minutes, tests transformers, phases and ratios, and keeps the record.
    #[arg(long, conflicts_with = "poll")]
    electrical: bool,
    #[command(flatten)]
    watching: Watching,
}

/// What an example can be printed of.
#[derive(Clone, Copy, clap::ValueEnum)]
enum Example {
    Plant,
    Promise,
    Filing,
}

/// Runs the command on a plant folder.
pub fn run(plant: &Path, arguments: Arguments) -> Ended {
    match arguments.example {
        Some(Example::Plant) => return printed(config::EXAMPLE),
        Some(Example::Promise) => return printed(config::PROMISE_EXAMPLE),
        Some(Example::Filing) => return printed(config::FILING),
        None => {}
    }
    let loaded = config::load(plant).map_err(|problems| problems.seen_from(plant));
    let mut configuration = match loaded {
        Ok(configuration) => configuration,
        Err(problems) if arguments.json => {
            printed(&json(&Refused::from(&problems))?)?;
            return Err(Failure::unusable(problems));
        }
        Err(problems) => return Err(Failure::unusable(problems)),
    };
    if arguments.system {
        let all = check_system::checked(plant, &configuration);
        printed(&if arguments.json { json(&all)? } else { check_system::Text(&all).to_string() })?;
        return check_system::ended(&all);
    }
    let zone = configuration.plant.zone;
    let now = At(Utc::now().timestamp_millis());
    // A lamp exchanged or a ratio corrected since the configuration was written is part of the plant, as in every report.
    let events = recorded(plant, zone)?;
    let folded = attribute::with_events(&configuration.plant, &events.value);
    configuration.plant = folded.value;
    if arguments.poll {
        let told = check_poll::poll(plant, &configuration)?;
        printed(&if arguments.json { json(&told)? } else { check_poll::Text(&told).to_string() })?;
        return check_poll::ended(&told);
    }
    if arguments.electrical {
        let record = check_electrical::watch(plant, &configuration, &arguments.watching)?;
        printed(&if arguments.json { json(&record.json())? } else { record.to_string() })?;
        check_electrical::keep(plant, &configuration.plant, &record)?;
        return check_electrical::ended(&record);
    }
    let issues = [events.issues, folded.issues].concat();
    let understood = Understood::at(&configuration, now, &issues);
    printed(&if arguments.json {
        json(&understood)?
    } else {
        understood.to_string() + &forwarded(plant, &configuration)?
    })?;
    Ok(if issues.is_empty() { Outcome::Done } else { Outcome::Finding })
}

/// How forwarding stood when the agent last wrote it down; nothing where nothing is forwarded.
fn forwarded(plant: &Path, configuration: &Configuration) -> Result<String, Failure> {
    let stands = agent::forwarded(plant, configuration).map_err(Failure::unusable)?;
    let zone = configuration.plant.zone;
    Ok(stands.map_or_else(String::new, |stands| {
        let lines = [format!("InfluxDB {}", stands.summary(zone))].into_iter().chain(stands.waits(zone));
        lines.map(|line| format!("{line}\n")).collect()
    }))
}

/// Problems as JSON.
#[derive(Serialize)]
struct Refused<'a> {
    problems: Vec<RefusedLine<'a>>,
}

#[derive(Serialize)]
struct RefusedLine<'a> {
    path: &'a str,
    line: Option<usize>,
    column: Option<usize>,
    text: &'a str,
    help: Option<&'a str>,
}

impl<'a> From<&'a Problems> for Refused<'a> {
    fn from(problems: &'a Problems) -> Self {
        let line = |problem: &'a config::Problem| RefusedLine {
            path: &problem.path,
            line: problem.place.map(|(line, _)| line),
            column: problem.place.map(|(_, column)| column),
            text: &problem.text,
            help: problem.help.as_deref(),
        };
        Self { problems: problems.0.iter().map(line).collect() }
    }
}

fn json(value: &impl Serialize) -> Result<String, Failure> {
    serde_json::to_string_pretty(value).map(|text| text + "\n").map_err(Failure::unusable)
}

/// Prints to the standard output; a reader that went away has seen enough.
fn printed(text: &str) -> Ended {
    let _ = io::stdout().lock().write_all(text.as_bytes());
    Ok(Outcome::Done)
}
