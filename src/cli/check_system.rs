//! `inkwatt check --system`: what the machine lacks to run the agent of a plant, each with what to do.

mod clock;
mod device;
mod disk;
mod listens;
mod reach;
mod secrets;
mod user;

use super::{Ended, Outcome};
use crate::agent::is_running;
use crate::config::Configuration;
use crate::units::counted;
use serde::Serialize;
use std::fmt::{self, Display};
use std::path::Path;

/// What came of a check.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Standing {
    /// As it should be.
    Ok,
    /// Something has to be done.
    Lacking,
    /// It cannot be told from here.
    Unknown,
}

impl Standing {
    const fn word(self) -> &'static str {
        match self {
            Self::Ok => "ok",
            Self::Lacking => "lacking",
            Self::Unknown => "unknown",
        }
    }
}

/// One check: what it is about, what was found, and what to do.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Checked {
    standing: Standing,
    about: String,
    found: String,
    #[serde(rename = "do")]
    remedy: Option<String>,
}

impl Checked {
    fn ok(about: impl Into<String>, found: impl Into<String>) -> Self {
        Self { standing: Standing::Ok, about: about.into(), found: found.into(), remedy: None }
    }

    fn lacking(about: impl Into<String>, found: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self { standing: Standing::Lacking, remedy: Some(remedy.into()), ..Self::ok(about, found) }
    }

    fn unknown(about: impl Into<String>, found: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self { standing: Standing::Unknown, ..Self::lacking(about, found, remedy) }
    }
}

/// Checks what the agent of a plant folder needs of the machine, as the user that runs this.
pub fn checked(plant: &Path, configuration: &Configuration) -> Vec<Checked> {
    let runs = is_running(plant);
    let mut all = vec![user::is_the_agents(plant), clock::is_synchronised()];
    all.extend(disk::writable(plant));
    all.push(disk::room(plant, configuration));
    all.push(listens::free(configuration.board.listen, runs));
    all.extend(device::devices(&configuration.lines));
    all.extend(reach::reached(plant, configuration, runs));
    all.extend(secrets::kept(configuration));
    all
}

/// How the command ends: 1 where something is lacking, else 0. What cannot be told from here, such as the clock in a
/// container, is left to the reader.
pub fn ended(all: &[Checked]) -> Ended {
    let lacks = all.iter().any(|one| one.standing == Standing::Lacking);
    Ok(if lacks { Outcome::Finding } else { Outcome::Done })
}

/// The checks as text, one after the other.
pub struct Text<'a>(pub &'a [Checked]);

impl Display for Text<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let width = self.0.iter().map(|one| one.about.chars().count()).max().unwrap_or_default();
        for Checked { standing, about, found, remedy } in self.0 {
            writeln!(f, "{:<7}  {about:<width$}  {found}", standing.word())?;
            if let Some(remedy) = remedy {
                writeln!(f, "{:<7}  {:<width$}  do: {remedy}", "", "")?;
            }
        }
        let count = |standing| self.0.iter().filter(|one| one.standing == standing).count();
        writeln!(
            f,
            "{}, {} lacking, {} unknown",
            counted(self.0.len(), "check"),
            count(Standing::Lacking),
            count(Standing::Unknown)
        )
    }
}
