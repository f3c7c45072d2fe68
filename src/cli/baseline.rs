//! `inkwatt baseline`: what the old lamps drew, as a model that is chosen by a person and then frozen.

mod asked;
mod bills;
mod exchanged;
mod frozen;
mod json;
mod rated;
mod table;

pub use frozen::{differs, in_force};

use super::{Ended, Failure, Outcome, configuration};
use crate::config::Use;
use crate::verify::baseline::{Fitted, Form, Refused, candidates, fit, fit_with_outdoor};
use anyhow::anyhow;
use asked::{Asked, Chosen, Ground};
use clap::{Args, Subcommand};
use rated::RatingOptions;
use std::io::{self, Write};
use std::path::Path;

/// Arguments of the command.
#[derive(Args)]
#[command(after_help = "Examples:
  inkwatt baseline fit p1                              compares the usual models over all days before the conversion
  inkwatt baseline fit p1 --drivers station_km,ran     one model with its coefficients, criteria and remarks
  inkwatt baseline fit p1 --monthly --from 2025-01-01 --to 2025-12-31
  inkwatt baseline freeze p1 --drivers station_km,ran --why \"least BIC, every driver significant\"
  inkwatt baseline freeze p1 --kind sister-press --other p4 --drivers web_km --why \"p1 was not metered before\"
  inkwatt baseline show p1 --json

A shared load has a baseline of its own under its name: inkwatt baseline fit fan. Drivers: web_km, jobs, station_km, ran,
run_h, outdoor_c; of a shared load also attended_h, the hours in which a press that it serves moved or was made ready, pauses
of up to two hours included. A frozen baseline is never refitted in silence: freezing anew keeps the former beside it.")]
pub struct Arguments {
    #[command(subcommand)]
    action: Action,
}

#[derive(Subcommand)]
enum Action {
    /// Fits models and compares them; nothing is kept.
    #[command(after_help = "Examples:
  inkwatt baseline fit p1
  inkwatt baseline fit p1 --drivers station_km,ran --json
  inkwatt baseline fit p1 --kind billed --bills bills.csv --drivers web_km")]
    Fit(FitArguments),
    /// Keeps one model with its reason, author and data hash.
    #[command(after_help = "Examples:
  inkwatt baseline freeze p1 --drivers station_km,ran --why \"least BIC, every driver significant\" --by Anna
  inkwatt baseline freeze p1 --kind lamp-exchange-test --days 2026-03-03,2026-03-04,2026-03-05,2026-03-06,2026-03-09 --drivers web_km --why \"no figures from before\"
  inkwatt baseline freeze p1 --kind rated --bound 25% --standby-share 50% --why \"nobody metered before\"
With rated nothing was measured before: what the old lamps would have drawn is reckoned from their ratings, those of
config/plant.toml first and of config/promise.toml else, and the hours in which the new ones cured; standby and warm-up are
never longer than the time on a job less curing. Such a saving is not a measured one in the sense of IPMVP, and every
output says so.")]
    Freeze(FreezeArguments),
    /// Shows the baseline in force.
    #[command(after_help = "Example:
  inkwatt baseline show p1
Ends with 1 where the days it rests on were corrected since.")]
    Show(ShowArguments),
}

#[derive(Args)]
struct FitArguments {
    #[command(flatten)]
    chosen: Chosen,
    /// Prints JSON.
    #[arg(long)]
    json: bool,
}

#[derive(Args)]
struct FreezeArguments {
    #[command(flatten)]
    chosen: Chosen,
    #[command(flatten)]
    ratings: RatingOptions,
    /// Why this one.
    #[arg(long, value_name = "TEXT")]
    why: String,
    /// Who freezes it; the login name if absent.
    #[arg(long, value_name = "NAME")]
    by: Option<String>,
    /// Prints JSON.
    #[arg(long)]
    json: bool,
}

#[derive(Args)]
struct ShowArguments {
    /// The press.
    press: String,
    /// Prints JSON.
    #[arg(long)]
    json: bool,
}

/// Runs the command on a plant folder.
pub fn run(plant: &Path, arguments: Arguments) -> Ended {
    let configuration = configuration(plant, Use::Promise)?;
    match arguments.action {
        Action::Fit(asked) => {
            let ground = Ground::open(plant, &configuration, &asked.chosen.press)?;
            let known = ground.gather(&asked.chosen)?;
            let all = models(&known)?;
            print(&if asked.json { json::fits(&known, &all)? } else { table::fits(&known, &all) })
        }
        Action::Freeze(asked) => {
            let ground = Ground::open(plant, &configuration, &asked.chosen.press)?;
            if asked.chosen.is_rated()? {
                let ratings = asked.ratings.ratings(&ground, configuration.promise.as_ref())?;
                let (text, told) = frozen::freeze_rated(plant, &ground, ratings, asked.by, &asked.why)?;
                return print(if asked.json { &text } else { &told });
            }
            asked.ratings.refuse()?;
            let known = ground.gather(&asked.chosen)?;
            if known.drivers.is_none() {
                return Err(Failure::unusable(anyhow!(
                    "--drivers is missing: which model is frozen is your choice\nhelp: inkwatt baseline fit {} compares them",
                    asked.chosen.press
                )));
            }
            let fitted = chosen(&known)?;
            let (text, told) = frozen::freeze(plant, &ground, &known, &fitted, asked.by, &asked.why)?;
            print(if asked.json { &text } else { &told })
        }
        Action::Show(asked) => {
            let ground = Ground::open(plant, &configuration, &asked.press)?;
            let shown = frozen::show(&ground)?;
            print(if asked.json { &shown.json } else { &shown.told })?;
            Ok(if shown.changed { Outcome::Finding } else { Outcome::Done })
        }
    }
}

/// Models with the form that was tried, and why there is none.
type Models = Vec<(Form, Result<Fitted, Refused>)>;

/// The model that was named, or the usual ones.
fn models(known: &Asked) -> Result<Models, Failure> {
    if known.drivers.is_some() {
        let fitted = chosen(known)?;
        return Ok(vec![(fitted.form.clone(), Ok(fitted))]);
    }
    let all = candidates(&known.days, known.interval);
    if all.iter().all(|(_, fitted)| fitted.is_err()) {
        let (_, first) = all.into_iter().next().unwrap_or((Form::daily(&[]), Err(Refused::LampHours)));
        return Err(Failure::unusable(first.err().unwrap_or(Refused::LampHours)));
    }
    Ok(all)
}

/// The model of the drivers that were named.
fn chosen(known: &Asked) -> Result<Fitted, Failure> {
    let form = known.form();
    let fitted = match known.with_outdoor() {
        true => fit_with_outdoor(&form, &known.days).map_err(Failure::unusable)?.ok_or_else(|| {
            Failure::unusable(anyhow!(
                "outdoor_c is not known on enough days, or the energy does not depend on it\nhelp: inkwatt import temperature"
            ))
        })?,
        false => fit(&form, &known.days, known.kind.least()).map_err(Failure::unusable)?,
    };
    Ok(fitted)
}

fn print(text: &str) -> Ended {
    match writeln!(io::stdout(), "{}", text.trim_end()) {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => Err(Failure::unreachable(error)),
        _ => Ok(Outcome::Done),
    }
}
