//! A fact that was recorded and did not happen. It is kept, and is no longer in force.

use super::list::{about, says};
use super::{Checked, Ground, Told};
use crate::plant::clashes;
use crate::readings::{Event, Happening, rank};
use anyhow::{anyhow, bail};
use clap::{Args, ValueEnum};

/// The fact.
#[derive(Args)]
#[command(after_help = "Examples:
  inkwatt record withdraw lamp p1/s3 --since 2026-03-02T10:20 --why \"it was press 2\" --by anna
  inkwatt record withdraw ratio p1-main --since 2026-03-01 --why \"the plate was misread\" --by anna
`inkwatt record list` shows kind, thing and instant of every fact. The same fact can be recorded again later.")]
pub struct Withdraw {
    /// Its kind.
    kind: Kind,
    /// What it is about: a station, a meter, a press, a certificate, a bill, or the name of a static factor.
    about: String,
    /// Since when it was said to hold.
    #[arg(long, value_name = "INSTANT")]
    since: String,
    #[command(flatten)]
    told: Told,
}

/// The kinds of facts that can be withdrawn, by the words that the list shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Kind {
    /// A lamp fitted or taken out.
    Lamp,
    /// A meter's device exchanged.
    Device,
    /// A meter's transformers.
    Ratio,
    /// A non-routine adjustment.
    Adjustment,
    /// A static factor.
    Static,
    /// A correction between two boundaries of a meter.
    Boundary,
    /// A certificate or contract.
    Instrument,
    /// A bill of the supplier.
    Bill,
}

impl Kind {
    const fn word(self) -> &'static str {
        match self {
            Self::Lamp => "lamp",
            Self::Device => "device",
            Self::Ratio => "ratio",
            Self::Adjustment => "adjustment",
            Self::Static => "static",
            Self::Boundary => "boundary",
            Self::Instrument => "instrument",
            Self::Bill => "bill",
        }
    }
}

impl Withdraw {
    pub(super) fn check(self, ground: &Ground) -> anyhow::Result<Checked> {
        let at = ground.instant("--since", &self.since)?;
        let (word, stamp) = (self.kind.word(), ground.zone().stamp(at));
        let is_meant = |event: &&Event| {
            let about = about(&event.what).unwrap_or_default();
            rank::kind(event) == word && event.at == at && about.trim_matches('"') == self.about
        };
        let event = ground.events.iter().find(is_meant).ok_or_else(|| {
            let help = "`inkwatt record list` shows what is recorded";
            anyhow!("no {word} of {} is in force with the instant {stamp}\nhelp: {help}", self.about)
        })?;
        stand_once(ground, event)?;
        Ok(Checked {
            at,
            what: vec![(event.id.clone(), Happening::Withdrawn(Box::new(event.what.clone())))],
            line: format!("withdrawn: {word} {} since {stamp}: {}", self.about, says(&event.what, ground.zone())),
            note: self.told.note()?,
        })
    }
}

/// Without the fact, every lamp must be in one place still.
fn stand_once(ground: &Ground, event: &Event) -> anyhow::Result<()> {
    let without: Vec<Event> = ground.events.iter().filter(|other| *other != event).cloned().collect();
    let (before, after) = (ground.plant(&ground.events), ground.plant(&without));
    let [before, after] = [&before, &after].map(|plant| clashes(plant.presses.iter().flat_map(|p| &p.stations)));
    match after.iter().find(|clash| !before.contains(clash)) {
        None => Ok(()),
        Some(clash) => bail!(
            "without it lamp \"{}\" would be in station {} and in station {} at once\n\
             help: withdraw first that it was fitted to the other",
            clash.lamp,
            clash.first.0,
            clash.second.0
        ),
    }
}
