//! `inkwatt scan`: which units answer on a line, and what they state about themselves.

mod reached;
mod section;

use super::{Ended, Failure, Outcome, configuration, say, unknown};
use crate::acquire::modbus::{Answered, look_at_connection, scan};
use crate::config::Use;
use crate::sources::Line;
use crate::sources::sunspec::{Nameplate, offers, word};
use crate::units::counted;
use anyhow::anyhow;
use serde_json::json;
use std::fmt::Write as _;
use std::io::{self, IsTerminal};
use std::path::Path;

pub(super) use reached::Reached;
pub(super) use section::Sections;

/// Arguments of the command.
#[derive(clap::Args)]
#[command(after_help = "Examples:
  inkwatt scan hall                                  the line of that id in config/plant.toml
  inkwatt scan 192.168.10.20:502 --units 1-10,255    a device or gateway that no configuration knows yet
  inkwatt scan 192.168.10.21:4001 --framing rtu-over-tcp
  inkwatt scan /dev/ttyUSB0 --baud 9600 --parity none --write
Only reads, one unit after the other; each that is not there costs one time-out. Stop the agent for it where the gateway allows one
connection, or the line is serial. Exits with 1 where no unit answers, and with 3 where there is no connection.")]
pub struct Arguments {
    /// A line of the configuration by its id, host:port, or the device of a serial line.
    line: String,
    /// The units to ask.
    #[arg(long, value_name = "UNITS", default_value = "1-247", value_parser = units)]
    units: Units,
    #[command(flatten)]
    reached: Reached,
    /// How long an answer may take.
    #[arg(long, value_name = "TIME", default_value = "300ms")]
    timeout: String,
    /// Writes the register maps into config/registers/; maps that are there already stay.
    #[arg(long)]
    write: bool,
    /// Prints JSON.
    #[arg(long)]
    json: bool,
}

/// Unit ids in ascending order.
#[derive(Clone, Debug, PartialEq)]
struct Units(Vec<u8>);

/// Runs the command on a plant folder.
pub fn run(plant: &Path, arguments: &Arguments) -> Ended {
    let line = line(plant, arguments)?;
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().map_err(Failure::unusable)?;
    let progress = |unit: u8| {
        if io::stderr().is_terminal() {
            eprint!("\runit {unit:<3}");
        }
    };
    let answered = runtime.block_on(scan(&line, &arguments.units.0, progress));
    if io::stderr().is_terminal() {
        eprint!("\r        \r");
    }
    let answered = answered.map_err(|fault| {
        Failure::unreachable(anyhow!(
            "{}: {fault}\nlook at: {}; where the agent polls this line, stop it for the scan",
            line.endpoint,
            look_at_connection(line.framing)
        ))
    })?;
    let sections = Sections::of(&line, &answered);
    if arguments.write {
        sections.write(plant).map_err(Failure::unreachable)?;
    }
    say(&if arguments.json { exact(&line, &answered) } else { told(&line, arguments, &answered, &sections) });
    Ok(if answered.is_empty() { Outcome::Finding } else { Outcome::Done })
}

/// The line that is meant: of the configuration, or one that is named by what it is reached by.
fn line(plant: &Path, arguments: &Arguments) -> Result<Line, Failure> {
    let name = arguments.line.as_str();
    if !name.contains([':', '/']) {
        let lines = configuration(plant, Use::Metering)?.lines;
        let found = lines.iter().find(|line| line.id == name).cloned();
        return found
            .ok_or_else(|| Failure::unusable(unknown("line", name, lines.iter().map(|line| line.id.as_str()))));
    }
    arguments.reached.line(name, &arguments.timeout)
}

/// Units as they are written: `1-10,17,255`.
fn units(text: &str) -> Result<Units, String> {
    let wrong = || format!("expected unit ids from 1 to 247, or 255, such as 1-10,17; found \"{text}\"");
    let one = |word: &str| word.trim().parse::<u8>().ok().filter(|unit| matches!(unit, 1..=247 | 255));
    let mut units = Vec::new();
    for part in text.split(',') {
        let (first, last) = part.split_once('-').unwrap_or((part, part));
        let (first, last) = one(first).zip(one(last)).filter(|(first, last)| first <= last).ok_or_else(wrong)?;
        units.extend((first..=last).filter(|unit| matches!(unit, 1..=247 | 255)));
    }
    units.sort_unstable();
    units.dedup();
    Ok(Units(units))
}

fn told(line: &Line, arguments: &Arguments, answered: &[Answered], sections: &Sections) -> String {
    let asked = counted(arguments.units.0.len(), "unit");
    if answered.is_empty() {
        return format!(
            "none of {asked} answers on {}\nlook at: framing, baud rate and parity; whether A and B of the bus are exchanged; the unit \
             ids set at the devices. Opening a cabinet is for licensed people.",
            line.endpoint
        );
    }
    let mut text = format!("{} of {asked} answer on {}\n", answered.len(), line.endpoint);
    for one in answered {
        unit(&mut text, one);
    }
    sections.tell(&mut text, arguments.write);
    text
}

/// What is said of a unit. Writing to a text does not fail.
fn unit(text: &mut String, one: &Answered) {
    if one.models.is_empty() {
        let _ = writeln!(text, "\nunit {}: answers in {} ms, states no SunSpec models", one.unit, one.millis);
        let _ = writeln!(
            text,
            "  its registers are in the maker's list: write a map like config/registers/energy-integer.toml"
        );
        return;
    }
    let _ = writeln!(text, "\nunit {}: {}", one.unit, Nameplate::of(&one.models));
    for model in &one.models {
        let _ = writeln!(text, "  model {:<5} at {:<5}  {}", model.id, model.address, word(model.id));
        for offer in offers(model) {
            let unit = offer.unit.trim_start_matches("1 ");
            let _ = writeln!(text, "    {:<12} {:>14.3} {unit}", offer.quantity.to_string(), offer.now);
            if let Some(remark) = offer.remark {
                let _ = writeln!(text, "      ! {remark}");
            }
        }
    }
    if let Some(why) = &one.broken {
        let _ = writeln!(text, "  ! its chain of models was not read to the end: {why}");
    }
}

fn exact(line: &Line, answered: &[Answered]) -> String {
    let offer = |offer: crate::sources::sunspec::Offer| {
        json!({
            "quantity": offer.quantity.to_string(),
            "address": offer.address,
            "type": offer.kind,
            "unit": offer.unit,
            "step": offer.step,
            "scale_register": offer.scale,
            "now": offer.now,
            "remark": offer.remark,
        })
    };
    let units: Vec<_> = answered
        .iter()
        .map(|one| {
            let plate = Nameplate::of(&one.models);
            let models: Vec<_> = one
                .models
                .iter()
                .map(|model| {
                    let offered: Vec<_> = offers(model).into_iter().map(offer).collect();
                    json!({ "id": model.id, "address": model.address, "offers": offered })
                })
                .collect();
            json!({
                "unit": one.unit,
                "answer_ms": one.millis,
                "maker": plate.maker,
                "model": plate.model,
                "version": plate.version,
                "serial": plate.serial,
                "models": models,
                "broken": one.broken,
            })
        })
        .collect();
    format!("{:#}", json!({ "line": line.endpoint, "units": units }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_are_read_as_they_are_written() {
        assert_eq!(units("3-5, 1,255,4"), Ok(Units(vec![1, 3, 4, 5, 255])));
        assert_eq!(units("240-255").map(|units| units.0.len()), Ok(9));
        for wrong in ["", "0", "248", "5-3", "1-", "x", "1;2"] {
            assert!(units(wrong).is_err_and(|told| told.contains("expected unit ids from 1 to 247")), "{wrong}");
        }
    }
}
