//! `inkwatt record`: a dated fact by hand, with who and why.

mod answer;
mod boundary;
mod correction;
mod facts;
mod lamp;
mod list;
mod withdraw;

use super::{Ended, Failure, Outcome, configuration, recorded};
use crate::attribute;
use crate::config::{self, Configuration, Use};
use crate::plant::Plant;
use crate::readings::{Event, Happening, Rank, rank};
use crate::store::{Access, Store, StoreError};
use crate::time::{At, Zone};
use anyhow::{anyhow, bail};
use chrono::Utc;
use clap::{Args, Subcommand};
use std::path::Path;

/// Arguments of the command.
#[derive(Args)]
#[command(after_help = "Examples:
  inkwatt record lamp p1/s3 led-13 --since 2026-03-02T10:20 --why \"lamp exchanged\" --by anna
  inkwatt record list
Each kind of fact has examples of its own, as in `inkwatt record meter --help`.

Facts are only ever added to. The same fact recorded again for the same instant takes the place of the former, which is
kept. Times are the plant's local clock unless they carry an offset; a day means its first moment.")]
pub struct Arguments {
    #[command(subcommand)]
    fact: Fact,
}

#[derive(Subcommand)]
enum Fact {
    /// A lamp was fitted to a station, or taken out.
    Lamp(lamp::Lamp),
    /// A meter's device was exchanged, or its transformers turned out to be others.
    Meter(facts::Meter),
    /// A non-routine adjustment of a saving.
    Adjustment(facts::Adjustment),
    /// A static factor has a new value.
    Static(facts::Static),
    /// What a meter includes now was measured against what it included before.
    Boundary(boundary::Boundary),
    /// A reading was wrong.
    Correction(correction::Correction),
    /// A finding of the watch is acknowledged, rests, is closed, or is open again.
    Finding(answer::Finding),
    /// A fact that was recorded did not happen.
    Withdraw(withdraw::Withdraw),
    /// Shows what is recorded, and what was withdrawn.
    List(list::List),
}

/// Who says so, and why.
#[derive(Args)]
struct Told {
    /// Why: what happened, or where the knowledge comes from.
    #[arg(long, value_name = "TEXT")]
    why: String,
    /// Who says so; the login name if absent.
    #[arg(long, value_name = "NAME")]
    by: Option<String>,
}

impl Told {
    /// The note that stays with the fact.
    fn note(&self) -> anyhow::Result<String> {
        let by = author(self.by.clone())?;
        if self.why.trim().is_empty() {
            bail!("--why is empty; a fact by hand needs its reason");
        }
        Ok(format!("{by}: {}", self.why.trim()))
    }
}

/// Who says so: the name given, else the login name.
pub(super) fn author(by: Option<String>) -> anyhow::Result<String> {
    let login = || ["USER", "LOGNAME"].iter().find_map(|name| std::env::var(name).ok());
    let by = by.or_else(login).map(|by| by.trim().to_owned()).filter(|by| !by.is_empty());
    by.ok_or_else(|| anyhow!("who says so is not known; name them with --by NAME"))
}

/// What a fact is checked against.
struct Ground {
    configuration: Configuration,
    /// The events in force.
    events: Vec<Event>,
    now: At,
}

impl Ground {
    fn zone(&self) -> Zone {
        self.configuration.plant.zone
    }

    /// An instant that is not in the future.
    fn instant(&self, option: &str, text: &str) -> anyhow::Result<At> {
        let at = config::instant(self.zone(), text).map_err(|told| anyhow!("{option} {told}"))?;
        if at > self.now {
            bail!("{option} {text} lies in the future; record a fact once it has happened");
        }
        Ok(at)
    }

    /// The plant with these events in its dated facts.
    fn plant(&self, events: &[Event]) -> Plant {
        attribute::with_events(&self.configuration.plant, events).value
    }

    /// A name that must be known, else the nearest one is told.
    fn known<'k>(&self, noun: &str, word: &str, known: impl Iterator<Item = &'k str> + Clone) -> anyhow::Result<()> {
        if known.clone().any(|other| other == word) {
            return Ok(());
        }
        Err(super::unknown(noun, word, known))
    }
}

/// A fact that was checked: since when, what, and how to tell it.
struct Checked {
    at: At,
    /// What happened at once, each with what it is called within its kind.
    what: Vec<(String, Happening)>,
    note: String,
    line: String,
}

/// What a fact by hand is called within its kind: what it is about, and since when.
fn identity(about: &str, at: At) -> String {
    format!("{about} {at}")
}

/// Runs the command on a plant folder.
pub fn run(plant: &Path, arguments: Arguments) -> Ended {
    let configuration = configuration(plant, Use::Metering)?;
    let events = recorded(plant, configuration.plant.zone)?.value;
    let ground = Ground { configuration, events, now: At(Utc::now().timestamp_millis()) };
    let open = |access| Store::open(plant, ground.zone(), access).map_err(Failure::unreachable);
    let checked = match arguments.fact {
        Fact::Correction(asked) => {
            let correction = asked.check(&ground).map_err(Failure::Unusable)?;
            println!("{}", correction.write(&mut open(Access::Command)?, &ground)?);
            return Ok(Outcome::Done);
        }
        Fact::List(_) => {
            let store = open(Access::Read)?;
            let stated = store.events_stated().map_err(Failure::unreachable)?;
            let corrections = store.corrections().map_err(Failure::unreachable)?;
            print!("{}", list::text(&stated, &corrections, &ground.configuration));
            return Ok(Outcome::Done);
        }
        Fact::Lamp(fact) => fact.check(&ground),
        Fact::Meter(fact) => fact.check(&ground),
        Fact::Adjustment(fact) => fact.check(&ground),
        Fact::Static(fact) => fact.check(&ground),
        Fact::Boundary(fact) => fact.check(&ground),
        Fact::Finding(fact) => fact.check(&ground),
        Fact::Withdraw(fact) => fact.check(&ground),
    };
    let checked = checked.map_err(Failure::Unusable)?;
    println!("{}", write(&mut open(Access::Command)?, checked).map_err(Failure::unreachable)?);
    Ok(Outcome::Done)
}

/// Writes a fact; where something stands for the same instant, as its next revision.
fn write(store: &mut Store, checked: Checked) -> Result<String, StoreError> {
    let Checked { at, what, note, line } = checked;
    let stated = store.events_stated()?;
    let (mut events, mut former) = (Vec::new(), "");
    for (id, what) in what {
        let mut event = Event { id, at, rank: Rank::Correction, revision: 0, what, note: Some(note.clone()) };
        let same = |other: &&Event| rank::kind(other) == rank::kind(&event) && other.id == event.id;
        if let Some(last) = stated.iter().filter(same).max_by_key(|other| (other.rank, other.revision)) {
            if last.what == event.what && last.at == event.at {
                continue;
            }
            if !matches!(last.what, Happening::Withdrawn(_)) && !matches!(event.what, Happening::Withdrawn(_)) {
                former = ", in place of what was recorded before";
            }
            event.revision = last.revision + 1;
        }
        events.push(event);
    }
    if events.is_empty() {
        return Ok(format!("{line}: this is recorded already"));
    }
    store.commit("record", Rank::Correction, &[], &events, Some(&note))?;
    Ok(format!("{line}{former} ({note})"))
}
