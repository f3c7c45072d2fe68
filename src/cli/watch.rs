//! `inkwatt watch`: replays history and lists what a person should look at.

mod exact;
mod text;

use super::{Ended, Failure, Outcome, configuration, in_order, say};
use crate::acquire::Clock;
use crate::agent::{Books, is_running, keep, watched};
use crate::config::{Configuration, Use};
use crate::store::{Access, Store};
use crate::time::{At, Zone};
use crate::units::counted;
use crate::watch::{Finding, Findings, Kept, Rule, Watched};
use anyhow::anyhow;
use chrono::NaiveDate;
use std::io::{self, IsTerminal};
use std::path::Path;

/// Arguments of the command.
#[derive(clap::Args)]
#[command(after_help = "Examples:
  inkwatt watch                                           what goes on today, and since when
  inkwatt watch --from 2026-01-01 --to 2026-06-30         every event of half a year
  inkwatt watch --rule higher-draw --from 2026-01-01 --to 2026-06-30 --json
  inkwatt watch --keep                                    what the agent does by itself: keeps each finding under its name
All of history up to --to is replayed, since a station is compared with its first 40 days of curing under the lamp that is fitted.
How often the charts of all stations together may be wrong in a year is false_alarms_a_year under [watch] in config/plant.toml.
Exits with 1 where it lists a finding.")]
pub struct Arguments {
    /// The first local day; that of --to where it is left out.
    #[arg(long, value_name = "YYYY-MM-DD")]
    from: Option<NaiveDate>,
    /// The last local day, included; today where it is left out.
    #[arg(long, value_name = "YYYY-MM-DD")]
    to: Option<NaiveDate>,
    /// Only findings of this rule: left-on, higher-draw, long-standby, over-capacity, balance, register-reset, implausible, silent or
    /// clock.
    #[arg(long, value_name = "RULE", value_parser = rule)]
    rule: Option<Rule>,
    /// Keeps what is found, so that reports tell of it and people can answer it; for a plant without a running agent.
    #[arg(long, conflicts_with_all = ["from", "to", "rule"])]
    keep: bool,
    /// Prints JSON.
    #[arg(long)]
    json: bool,
}

fn rule(word: &str) -> Result<Rule, String> {
    let known = || Rule::ALL.map(Rule::word).join(", ");
    Rule::of(word).ok_or_else(|| format!("the rules are {}", known()))
}

/// Runs the command on a plant folder.
pub fn run(plant: &Path, arguments: &Arguments) -> Ended {
    let configuration = configuration(plant, Use::Pricing)?;
    let now = Clock::start(0).now();
    let books = Books::open(plant, &configuration, now).map_err(Failure::unreachable)?;
    let zone = books.plant().zone;
    let last = arguments.to.unwrap_or_else(|| zone.date(now));
    let first = arguments.from.unwrap_or(last);
    in_order(first, last)?;
    let mut watched = replay(plant, &books, &configuration, last)?
        .ok_or_else(|| Failure::unusable(anyhow!("no meter has a reading up to {last}")))?;
    if arguments.keep {
        return kept(plant, zone, &watched, now);
    }
    let period = zone.days(first, last);
    watched
        .findings
        .retain(|finding| finding.touches(period) && arguments.rule.is_none_or(|rule| rule == finding.rule));
    let store = Store::open(plant, zone, Access::Read).map_err(Failure::unreachable)?;
    let findings = Findings::of(&store.events_stated().map_err(Failure::unreachable)?);
    let currency = &books.plant().currency;
    let shown = Shown { zone, currency, first, last, watched: &watched, findings: &findings, now };
    say(&match arguments.json {
        true => serde_json::to_string_pretty(&exact::exact(&shown)).map_err(Failure::unusable)?,
        false => text::told(&shown),
    });
    Ok(if watched.findings.is_empty() { Outcome::Done } else { Outcome::Finding })
}

fn replay(
    plant: &Path,
    books: &Books,
    configuration: &Configuration,
    last: NaiveDate,
) -> Result<Option<Watched>, Failure> {
    let store = Store::open(plant, books.plant().zone, Access::Read).map_err(Failure::unreachable)?;
    let is_seen = io::stderr().is_terminal();
    let progress = |month| {
        if is_seen {
            eprint!("watching {month} ...\r");
        }
    };
    watched(books, &store, configuration, last, progress).map_err(Failure::unreachable)
}

/// What is shown.
struct Shown<'a> {
    zone: Zone,
    currency: &'a str,
    first: NaiveDate,
    last: NaiveDate,
    watched: &'a Watched,
    findings: &'a Findings,
    now: At,
}

impl Shown<'_> {
    /// A finding as it is kept; `None` where it is not.
    fn kept(&self, finding: &Finding) -> Option<Kept> {
        self.findings.same(finding)
    }
}

/// Keeps what was found.
fn kept(plant: &Path, zone: Zone, watched: &Watched, now: At) -> Ended {
    if is_running(plant) {
        return Err(Failure::unusable(anyhow!(
            "the agent runs on this plant, and keeps what its watch finds by itself"
        )));
    }
    let mut store = Store::open(plant, zone, Access::Command).map_err(Failure::unreachable)?;
    let (raised, changed) = keep(&mut store, &watched.findings, now).map_err(Failure::unreachable)?;
    let all = counted(watched.findings.len(), "finding");
    say(&format!("{all}: {raised} new, {changed} changed or withdrawn, the others as they were kept"));
    Ok(Outcome::Done)
}
