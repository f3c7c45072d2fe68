//! `inkwatt check --poll`: every meter once, in words.

use super::{Ended, Failure, Outcome};
use crate::acquire::Clock;
use crate::acquire::modbus::{Told, ToldValue, poll_once, tell};
use crate::agent::ask_to_poll;
use crate::config::Configuration;
use crate::units::counted;
use anyhow::Context;
use std::fmt::{self, Display, Write};
use std::path::Path;

/// Asks every meter of the configuration once: through the agent of the plant folder where one runs, since a line
/// carries one request at a time; else directly.
pub fn poll(plant: &Path, configuration: &Configuration) -> Result<Vec<Told>, Failure> {
    let through_agent =
        ask_to_poll(plant).context("the running agent does not answer").map_err(Failure::Unreachable)?;
    if let Some(told) = through_agent {
        return Ok(told);
    }
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().map_err(Failure::unusable)?;
    let answers = runtime.block_on(poll_once(&configuration.lines, &Clock::start(0)));
    Ok(tell(&configuration.plant, &configuration.lines, &answers))
}

/// How the command ends: 3 where a meter was not reached, 1 where something else is wrong, else 0.
pub fn ended(told: &[Told]) -> Ended {
    match told.iter().filter(|meter| !meter.reached).count() {
        0 if told.iter().all(|meter| meter.problems.is_empty()) => Ok(Outcome::Done),
        0 => Ok(Outcome::Finding),
        missing => {
            Err(Failure::unreachable(anyhow::anyhow!("{missing} of {} not reached", counted(told.len(), "meter"))))
        }
    }
}

/// The meters as text, line by line.
pub struct Text<'a>(pub &'a [Told]);

impl Display for Text<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut endpoints: Vec<&str> = self.0.iter().map(|meter| meter.endpoint.as_str()).collect();
        endpoints.sort_unstable();
        endpoints.dedup();
        if endpoints.is_empty() {
            return f.write_str("no meter is polled: the configuration has no [meter.modbus]\n");
        }
        for endpoint in endpoints {
            writeln!(f, "line {endpoint}")?;
            for meter in self.0.iter().filter(|meter| meter.endpoint == endpoint) {
                one(f, meter)?;
            }
        }
        let wrong = self.0.iter().filter(|meter| !meter.problems.is_empty()).count();
        writeln!(
            f,
            "{} asked, {wrong} with something to look at. Values as the devices show them, before the",
            counted(self.0.len(), "meter")
        )?;
        f.write_str("transformer ratios of the configuration. Opening a cabinet is for licensed people.\n")
    }
}

/// One meter.
fn one(f: &mut fmt::Formatter<'_>, meter: &Told) -> fmt::Result {
    let time = match meter.round_trip_ms {
        Some(millis) => format!("answers in {millis} ms"),
        None if meter.reached => "no values".to_owned(),
        None => "no answer".to_owned(),
    };
    writeln!(f, "  {}  unit {}, map {}, {time}", meter.meter, meter.unit, meter.map)?;
    if meter.round_trip_ms.is_some() {
        for value in &meter.values {
            writeln!(f, "    {:<16} {}", value.quantity, shown(value))?;
        }
    }
    for problem in &meter.problems {
        writeln!(f, "    ! {}", problem.what)?;
        writeln!(f, "      look at: {}", problem.look)?;
    }
    f.write_char('\n')
}

fn shown(value: &ToldValue) -> String {
    match value.value {
        Some(number) => format!("{number:>14.*} {:<5} [{}]", value.decimals, value.unit, value.raw),
        None => format!("{:>14} {:<5} {}", "-", "", value.why.as_deref().unwrap_or_default()),
    }
}
