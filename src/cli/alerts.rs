//! `inkwatt alerts`: what each channel was told, and what waits and why.

use super::{Ended, Failure, Outcome, configuration, say};
use crate::acquire::Clock;
use crate::agent::{self, ChannelLine};
use crate::config::{Configuration, Use};
use crate::forward::SCHEMA;
use crate::store::{Access, Store};
use crate::time::{At, Zone};
use crate::watch::{Findings, State};
use anyhow::anyhow;
use serde_json::json;
use std::path::Path;
use tokio::runtime::Runtime;

/// Arguments of the command.
#[derive(clap::Args)]
#[command(after_help = "Examples:
  inkwatt alerts                     what each channel was told last, and what waits and why
  inkwatt alerts --schema            the JSON schema of what is sent
  inkwatt alerts --try maintenance   sends a trial to a channel now, also in quiet hours
The agent sends alerts. Who is told, and when, stands under [alerts] in config/plant.toml.
Exits with 1 where an alert could not be sent yet, and with 3 where a trial does not arrive.")]
pub struct Arguments {
    /// Sends a trial to this channel: \"mqtt\", or the name of a webhook.
    #[arg(long = "try", value_name = "CHANNEL", conflicts_with = "schema")]
    trial: Option<String>,
    /// Prints the JSON schema of what is sent.
    #[arg(long)]
    schema: bool,
    /// Prints JSON.
    #[arg(long, conflicts_with_all = ["trial", "schema"])]
    json: bool,
}

/// Runs the command on a plant folder.
pub fn run(plant: &Path, arguments: &Arguments) -> Ended {
    if arguments.schema {
        say(SCHEMA.trim_end());
        return Ok(Outcome::Done);
    }
    let configuration = configuration(plant, Use::Metering)?;
    let now = Clock::start(0).now();
    match &arguments.trial {
        Some(channel) => tried(&configuration, channel, now),
        None => listed(plant, &configuration, arguments.json, now),
    }
}

fn tried(configuration: &Configuration, name: &str, now: At) -> Ended {
    let channels = agent::channels(configuration);
    let known: Vec<String> = channels.iter().map(|channel| channel.name.clone()).collect();
    let Some(channel) = channels.into_iter().find(|channel| channel.name == name) else {
        let help = match known.is_empty() {
            true => "none is set up: see [alerts] in config/plant.toml".into(),
            false => format!("the channels are {}", known.join(", ")),
        };
        return Err(Failure::unusable(anyhow!("there is no channel \"{name}\"\nhelp: {help}")));
    };
    let runtime = Runtime::new().map_err(Failure::unreachable)?;
    let came = runtime.block_on(agent::try_channel(channel, &configuration.plant, now));
    came.map_err(|fault| Failure::unreachable(anyhow!("{name}: {fault}")))?;
    say(&format!("{name}: the trial has arrived"));
    Ok(Outcome::Done)
}

fn listed(plant: &Path, configuration: &Configuration, is_json: bool, now: At) -> Ended {
    let zone = configuration.plant.zone;
    let store = Store::open(plant, zone, Access::Read).map_err(Failure::unreachable)?;
    let findings = Findings::of(&store.events_stated().map_err(Failure::unreachable)?);
    let states: Vec<State> = findings.wordings().collect();
    let lines = agent::channel_lines(plant, configuration, &states, now).map_err(Failure::unreachable)?;
    say(&if is_json { exact(zone, &lines) } else { told(zone, &lines) });
    let is_failed = lines.iter().any(ChannelLine::has_failed);
    Ok(if is_failed { Outcome::Finding } else { Outcome::Done })
}

fn told(zone: Zone, lines: &[ChannelLine]) -> String {
    if lines.is_empty() {
        return "nobody is told: no channel is set up under [alerts] in config/plant.toml".into();
    }
    let mut text = Vec::new();
    for line in lines {
        text.push(format!("{}  {}", line.name, line.summary(zone)));
        text.extend(line.waits(zone).into_iter().map(|wait| format!("  waits: {wait}")));
    }
    text.join("\n")
}

fn exact(zone: Zone, lines: &[ChannelLine]) -> String {
    let line = |line: &ChannelLine| {
        let waits: Vec<_> = line
            .due
            .iter()
            .map(|due| {
                json!({
                    "finding": due.state.kept.id,
                    "revision": due.state.revision,
                    "news": due.word.word(),
                    "why": agent::held(zone, due),
                })
            })
            .collect();
        let last = line.last.as_ref();
        json!({
            "channel": line.name,
            "last_finding": last.map(|(id, _)| id),
            "last_sent": last.map(|(_, at)| zone.stamp(*at)),
            "waits": waits,
        })
    };
    let channels: Vec<_> = lines.iter().map(line).collect();
    format!("{:#}", json!({ "channels": channels }))
}
