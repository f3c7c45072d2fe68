//! `inkwatt record`: a dated fact by hand, with who and why.

mod correction;
mod facts;

use super::{Ended, Failure, Outcome};
use crate::config::{self, Configuration, did_you_mean};
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
  inkwatt record lamp p1/s3 led-13 --since 2026-03-02T10:20 --why \"varnish lamp exchanged\"
  inkwatt record lamp p1/s3 none --since 2026-03-02 --why \"lamp sent in for repair\"
  inkwatt record meter p1-main --serial M-1801 --end-kwh 84120.6 --start-kwh 0 --since 2026-03-02T10:20 --why \"display failed\"
  inkwatt record meter p1-main --ct 250/5 --ct-programmed 200/5 --since 2026-03-01 --why \"read off the transformers\"
  inkwatt record adjustment p1 --from 2026-03-01 --until 2026-04-01 --kwh=-120 --why \"second chiller on hire\"
  inkwatt record static \"shifts a week\" 15 --since 2026-03-01 --why \"night shift added\"
  inkwatt record correction p1-main import --at 2026-03-02T10:15:00 --value \"84118.2 kWh\" --why \"digit misread\"

Facts are only ever added to. The same fact recorded again for the same instant takes the place of the former, which is
kept. Times are the plant's local clock unless they carry an offset; a day means its first moment.")]
pub struct Arguments {
    #[command(subcommand)]
    fact: Fact,
}

#[derive(Subcommand)]
enum Fact {
    /// A lamp was fitted to a station, or taken out.
    Lamp(facts::Lamp),
    /// A meter's device was exchanged, or its transformers turned out to be others.
    Meter(facts::Meter),
    /// A non-routine adjustment of a saving.
    Adjustment(facts::Adjustment),
    /// A static factor has a new value.
    Static(facts::Static),
    /// A reading was wrong.
    Correction(correction::Correction),
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
        let login = || ["USER", "LOGNAME"].iter().find_map(|name| std::env::var(name).ok());
        let by = self.by.clone().or_else(login).filter(|by| !by.trim().is_empty());
        let by = by.ok_or_else(|| anyhow!("who says so is not known; name them with --by NAME"))?;
        if self.why.trim().is_empty() {
            bail!("--why is empty; a fact by hand needs its reason");
        }
        Ok(format!("{}: {}", by.trim(), self.why.trim()))
    }
}

/// What a fact is checked against.
struct Ground {
    configuration: Configuration,
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

    /// A name that must be known, else the nearest one is told.
    fn known<'k>(&self, noun: &str, word: &str, known: impl Iterator<Item = &'k str> + Clone) -> anyhow::Result<()> {
        if known.clone().any(|other| other == word) {
            return Ok(());
        }
        bail!("{noun} \"{word}\" is not known\nhelp: {}", did_you_mean(word, known))
    }
}

/// A fact that was checked: what it is called within its kind, since when, what, and how to tell it.
struct Checked {
    id: String,
    at: At,
    what: Happening,
    note: String,
    line: String,
}

/// Runs the command on a plant folder.
pub fn run(plant: &Path, arguments: Arguments) -> Ended {
    let configuration = config::load(plant).map_err(Failure::unusable)?;
    let ground = Ground { configuration, now: At(Utc::now().timestamp_millis()) };
    let open = || Store::open(plant, ground.zone(), Access::Command).map_err(Failure::unreachable);
    let checked = match arguments.fact {
        Fact::Correction(asked) => {
            let correction = asked.check(&ground).map_err(Failure::Unusable)?;
            println!("{}", correction.write(&mut open()?, &ground)?);
            return Ok(Outcome::Done);
        }
        Fact::Lamp(fact) => fact.check(&ground),
        Fact::Meter(fact) => fact.check(&ground),
        Fact::Adjustment(fact) => fact.check(&ground),
        Fact::Static(fact) => fact.check(&ground),
    };
    let checked = checked.map_err(Failure::Unusable)?;
    println!("{}", write(&mut open()?, checked).map_err(Failure::unreachable)?);
    Ok(Outcome::Done)
}

/// Writes a fact; where the same one stands for the same instant, as its next revision.
fn write(store: &mut Store, checked: Checked) -> Result<String, StoreError> {
    let Checked { id, at, what, note, line } = checked;
    let mut event = Event { id, at, rank: Rank::Correction, revision: 0, what, note: Some(note) };
    let before = store.events()?.value;
    let twin = before.iter().find(|other| rank::kind(other) == rank::kind(&event) && other.id == event.id);
    if let Some(twin) = twin {
        if twin.what == event.what && twin.at == event.at {
            return Ok(format!("{line}: this is recorded already"));
        }
        event.revision = twin.revision + 1;
    }
    let note = event.note.clone();
    store.commit("record", Rank::Correction, &[], &[event], note.as_deref())?;
    let former = if twin.is_some() { ", in place of what was recorded before" } else { "" };
    Ok(format!("{line}{former} ({})", note.unwrap_or_default()))
}
