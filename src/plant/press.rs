//! Presses and their stations, in web direction.

use crate::names::{LampId, PressId, StationId};
use crate::plant::Dated;
use crate::time::Period;

/// A web press.
#[derive(Clone, Debug, PartialEq)]
pub struct Press {
    /// The plant's name for it.
    pub id: PressId,
    /// Its name as people say it.
    pub name: String,
    /// Its stations in web direction.
    pub stations: Vec<Station>,
    /// The web moves at or above this speed, in millimetres a minute.
    pub moving_mm_min: i64,
}

/// A station: prints or varnishes, then cures.
#[derive(Clone, Debug, PartialEq)]
pub struct Station {
    /// `press/station`.
    pub id: StationId,
    /// Its name as people say it.
    pub name: String,
    /// What it does.
    pub does: StationUse,
    /// Which lamp is fitted; `None` inside for an empty station.
    pub fitted: Dated<Option<LampId>>,
    /// From the start of its conversion to its acceptance; counts on neither side of a saving.
    pub implementation: Vec<Period>,
}

/// What a station puts on the web.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StationUse {
    /// A colour.
    Ink,
    /// Opaque white.
    White,
    /// Varnish or coating.
    Varnish,
}

impl StationUse {
    /// Every use.
    pub const ALL: [Self; 3] = [Self::Ink, Self::White, Self::Varnish];

    /// The word in tables and in the configuration.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Ink => "ink",
            Self::White => "white",
            Self::Varnish => "varnish",
        }
    }
}
