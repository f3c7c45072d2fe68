//! What a baseline rests on.

use super::{Least, Refused};
use crate::names::StationId;
use crate::plant::Plant;
use crate::time::Period;
use crate::verify::{Judged, Scope};
use std::fmt;

/// What a baseline rests on, best first.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// Metered before the conversion.
    Metered,
    /// Arc lamps refitted for some days, on the same jobs, after the conversion.
    LampExchangeTest,
    /// Another press that keeps its arc lamps, by its name.
    SisterPress(String),
    /// A station of the same press that keeps its arc lamp, by its name.
    RetainedStation(String),
    /// Monthly bills.
    Billed,
    /// Computed from ratings.
    Rated,
}

impl Kind {
    /// The word at the command line and in files.
    pub const fn word(&self) -> &'static str {
        match self {
            Self::Metered => "metered",
            Self::LampExchangeTest => "lamp-exchange-test",
            Self::SisterPress(_) => "sister-press",
            Self::RetainedStation(_) => "retained-station",
            Self::Billed => "billed",
            Self::Rated => "rated",
        }
    }

    /// The other press or station that it rests on.
    pub fn other(&self) -> Option<&str> {
        match self {
            Self::SisterPress(name) | Self::RetainedStation(name) => Some(name),
            _ => None,
        }
    }

    /// The kind of a word, with the other press or station where it needs one.
    pub fn of(word: &str, other: Option<&str>) -> Option<Self> {
        let plain = [Self::Metered, Self::LampExchangeTest, Self::Billed, Self::Rated];
        match (word, other) {
            ("sister-press", Some(name)) => Some(Self::SisterPress(name.into())),
            ("retained-station", Some(name)) => Some(Self::RetainedStation(name.into())),
            _ => plain.into_iter().find(|kind| kind.word() == word),
        }
    }

    /// The scope whose days it takes, for the one that is judged; `None` where the other press or station is not known.
    /// What keeps its lamps is taken whatever conversion it sees later.
    pub fn scope(&self, plant: &Plant, judged: &Scope) -> Option<Scope> {
        match self {
            Self::SisterPress(name) => {
                Scope::of(plant, &name.as_str().into()).map(|scope| Scope { implementation: None, ..scope })
            }
            Self::RetainedStation(name) => {
                let station = name.as_str().into();
                let (press, _) = plant.station(&station)?;
                Some(Scope { judged: Judged::Press(press.id.clone()), stations: vec![station], implementation: None })
            }
            _ => Some(judged.clone()),
        }
    }

    /// Whether it can stand for what is judged.
    ///
    /// # Errors
    /// Lamps asked of a shared load, an other press or station that is judged itself, or lamps without meters.
    pub fn fits(&self, judged: &Scope) -> Result<(), Refused> {
        let is_judged = match self {
            Self::SisterPress(name) => judged.judged.name() == name,
            Self::RetainedStation(name) => judged.stations.contains(&StationId::from(name.as_str())),
            _ => false,
        };
        match self {
            Self::Metered | Self::Billed => Ok(()),
            _ if judged.judged.press().is_none() => Err(Refused::NoLamps { judged: judged.judged.to_string() }),
            _ if is_judged => Err(Refused::JudgedItself { other: self.other().unwrap_or_default().into() }),
            Self::RetainedStation(_) | Self::Rated if judged.stations.is_empty() => {
                Err(Refused::NoLampMeters { judged: judged.judged.to_string() })
            }
            _ => Ok(()),
        }
    }

    /// The conversion that ends the days it takes: that of the other press or station where it rests on one.
    pub fn conversion(&self, plant: &Plant, judged: &Scope) -> Option<Period> {
        match self {
            Self::SisterPress(name) => Scope::of(plant, &name.as_str().into())?.implementation,
            Self::RetainedStation(name) => plant.station(&name.as_str().into())?.1.implementation.first().copied(),
            _ => judged.implementation,
        }
    }

    /// Whether all facts that it rests on are in the store, and are those of its period: not those of a bill, nor of days
    /// that were picked.
    pub const fn is_stored_whole(&self) -> bool {
        matches!(self, Self::Metered | Self::SisterPress(_))
    }

    /// How many points it needs.
    pub const fn least(&self) -> Least {
        match self {
            Self::LampExchangeTest => Least::Test,
            _ => Least::Usual,
        }
    }

    /// How a saving against it was found.
    pub const fn found(&self) -> &'static str {
        if self.is_measured() { "measured" } else { "by ratings" }
    }

    /// Whether a saving against it is a measured one in the sense of IPMVP.
    pub const fn is_measured(&self) -> bool {
        !matches!(self, Self::Rated)
    }
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Metered => f.write_str("metered before the conversion"),
            Self::LampExchangeTest => f.write_str("lamp exchange test: arc lamps refitted for some days"),
            Self::SisterPress(press) => write!(f, "sister press {press}, which keeps its arc lamps"),
            Self::RetainedStation(station) => {
                write!(f, "station {station}, which keeps its arc lamp, times the stations judged")
            }
            Self::Billed => f.write_str("monthly bills"),
            Self::Rated => f.write_str("computed from ratings: not a measured saving in the sense of IPMVP"),
        }
    }
}
