//! `inkwatt watch`: replays history and lists what a person should look at.

use super::columns::hanging;
use super::{Ended, Failure, Outcome, configuration, in_order, say};
use crate::acquire::Clock;
use crate::agent::{Books, watched};
use crate::config::{Configuration, Use};
use crate::store::{Access, Store};
use crate::time::{At, Zone};
use crate::units::{counted, decimal, fixed, places, significant};
use crate::watch::{Above, Finding, Rule, SAFETY, Watched};
use anyhow::anyhow;
use chrono::NaiveDate;
use serde::Serialize;
use std::fmt::Write;
use std::io::{self, IsTerminal};
use std::path::Path;

/// Arguments of the command.
#[derive(clap::Args)]
#[command(after_help = "Examples:
  inkwatt watch                                           what goes on today, and since when
  inkwatt watch --from 2026-01-01 --to 2026-06-30         every event of half a year
  inkwatt watch --rule higher-draw --from 2026-01-01 --to 2026-06-30 --json
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
    /// Only findings of this rule: left-on, higher-draw, balance, register-reset, implausible, silent or clock.
    #[arg(long, value_name = "RULE", value_parser = rule)]
    rule: Option<Rule>,
    /// Prints JSON.
    #[arg(long)]
    json: bool,
}

fn rule(word: &str) -> Result<Rule, String> {
    let found = Rule::ALL.into_iter().find(|rule| rule.word() == word);
    let known = || Rule::ALL.map(Rule::word).join(", ");
    found.ok_or_else(|| format!("the rules are {}", known()))
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
    let period = zone.days(first, last);
    watched
        .findings
        .retain(|finding| finding.touches(period) && arguments.rule.is_none_or(|rule| rule == finding.rule));
    let currency = &books.plant().currency;
    say(&match arguments.json {
        true => {
            serde_json::to_string_pretty(&exact(zone, currency, (first, last), &watched)).map_err(Failure::unusable)?
        }
        false => told(zone, currency, (first, last), &watched),
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

/// The findings on a terminal.
fn told(zone: Zone, currency: &str, (first, last): (NaiveDate, NaiveDate), watched: &Watched) -> String {
    let mut text = String::new();
    for finding in &watched.findings {
        let since = if finding.is_about { "since about" } else { "since" };
        let until = finding.until.map_or_else(|| "goes on".into(), |until| format!("until {}", clock(zone, until)));
        let _ = writeln!(
            text,
            "{}  {}  {since} {}, {until}",
            finding.about,
            finding.rule.word(),
            clock(zone, finding.since)
        );
        if let Some(above) = &finding.above {
            let _ = writeln!(text, "  {}", hanging(&amounts(currency, above), 2));
        }
        for sentence in finding.evidence.iter().map(String::as_str).chain(finding.rule.questions().iter().copied()) {
            let _ = writeln!(text, "  {}", hanging(sentence, 2));
        }
        text.push('\n');
    }
    if watched.findings.iter().any(|finding| finding.station.is_some()) {
        let _ = writeln!(text, "{}\n", hanging(SAFETY, 0));
    }
    let _ = writeln!(text, "{} from {first} to {last}", counted(watched.findings.len(), "finding"));
    text.push_str(&charts(watched));
    text
}

/// How far the charts can be trusted.
fn charts(watched: &Watched) -> String {
    let mut text = match watched.decision {
        Some((least, most)) if least < most => {
            format!(
                "{} charted, with decision intervals of {least} to {most} standard deviations",
                counted(watched.charted, "station")
            )
        }
        Some((least, _)) => {
            format!(
                "{} charted, with a decision interval of {least} standard deviations",
                counted(watched.charted, "station")
            )
        }
        None => "no station is charted: a chart needs 40 days of curing under one lamp, and a day after them".into(),
    };
    if watched.decision.is_some() && !watched.uncharted.is_empty() {
        let ids: Vec<&str> = watched.uncharted.iter().map(|id| id.as_str()).collect();
        text.push_str(&format!("; not charted, for want of a meter or of 40 days of curing: {}", ids.join(", ")));
    }
    hanging(&text, 0)
}

fn clock(zone: Zone, at: At) -> String {
    zone.local(at).format("%Y-%m-%d %H:%M").to_string()
}

fn amounts(currency: &str, above: &Above) -> String {
    let watts = |watts: f64| fixed((watts * 1e6).round() as i128, 6, 0);
    let mut text = match above.watts_half {
        Some(half) => format!("{} ± {} W above its baseline (90 %)", watts(above.watts), watts(half)),
        None => format!("{} W", watts(above.watts)),
    };
    let energy = i128::from(above.energy.mwh());
    let decimals = places(energy, 6);
    let _ = write!(text, "; so far {}", fixed(energy, 6, decimals));
    if let Some(half) = above.energy_half {
        let _ = write!(text, " ± {}", fixed(half.mwh().into(), 6, decimals));
    }
    text.push_str(" kWh");
    let _ = write!(text, ", {} {currency}", fixed(above.cost.micros().into(), 6, 2));
    if let Some((energy, cost)) = above.ahead {
        let _ = write!(
            text,
            "; 28 days ahead {} kWh, {} {currency}",
            significant(energy.mwh().into(), 6),
            fixed(cost.micros().into(), 6, 2)
        );
    }
    text
}

/// The findings for scripts.
#[derive(Serialize)]
struct Exact<'a> {
    from: String,
    to: String,
    currency: &'a str,
    findings: Vec<ExactFinding<'a>>,
    charted: usize,
    not_charted: Vec<&'a str>,
    decision_interval: Option<[f64; 2]>,
    safety: &'static str,
}

#[derive(Serialize)]
struct ExactFinding<'a> {
    id: String,
    rule: &'static str,
    about: &'a str,
    station: Option<&'a str>,
    since: String,
    is_about: bool,
    raised: String,
    until: Option<String>,
    watts_above: Option<f64>,
    watts_half: Option<f64>,
    energy_kwh: Option<String>,
    energy_half_kwh: Option<String>,
    cost: Option<String>,
    ahead_kwh: Option<String>,
    ahead_cost: Option<String>,
    evidence: &'a [String],
    questions: &'static [&'static str],
}

fn exact<'a>(zone: Zone, currency: &'a str, (first, last): (NaiveDate, NaiveDate), watched: &'a Watched) -> Exact<'a> {
    let of = |finding: &'a Finding| {
        let above = finding.above;
        let millionths = |count: i64| decimal(count, 6);
        ExactFinding {
            id: finding.id(),
            rule: finding.rule.word(),
            about: &finding.about,
            station: finding.station.as_ref().map(|id| id.as_str()),
            since: zone.stamp(finding.since),
            is_about: finding.is_about,
            raised: zone.stamp(finding.raised),
            until: finding.until.map(|until| zone.stamp(until)),
            watts_above: above.map(|above| above.watts),
            watts_half: above.and_then(|above| above.watts_half),
            energy_kwh: above.map(|above| above.energy.to_string()),
            energy_half_kwh: above.and_then(|above| above.energy_half).map(|half| half.to_string()),
            cost: above.map(|above| millionths(above.cost.micros())),
            ahead_kwh: above.and_then(|above| above.ahead).map(|(energy, _)| energy.to_string()),
            ahead_cost: above.and_then(|above| above.ahead).map(|(_, cost)| millionths(cost.micros())),
            evidence: &finding.evidence,
            questions: finding.rule.questions(),
        }
    };
    Exact {
        from: first.to_string(),
        to: last.to_string(),
        currency,
        findings: watched.findings.iter().map(of).collect(),
        charted: watched.charted,
        not_charted: watched.uncharted.iter().map(|id| id.as_str()).collect(),
        decision_interval: watched.decision.map(|(least, most)| [least, most]),
        safety: SAFETY,
    }
}
