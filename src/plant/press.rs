//! Presses and their stations, in web direction.

use crate::names::{LampId, PressId, StationId};
use crate::plant::Dated;
use crate::time::{At, Period};

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

/// A lamp that is said to stand in two stations at once: it is one thing and stands in one place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Clash<'a> {
    /// The lamp.
    pub lamp: &'a LampId,
    /// The station that comes first in the list, and since when the lamp is said to be there.
    pub first: (&'a StationId, At),
    /// The other.
    pub second: (&'a StationId, At),
    /// For how long both are said.
    pub period: Period,
}

/// Every lamp that is said to stand in two stations at once, in the order of the stations.
pub fn clashes<'a>(stations: impl Iterator<Item = &'a Station>) -> Vec<Clash<'a>> {
    let ever = Period::new(At(i64::MIN), At(i64::MAX));
    let mut placed: Vec<(&LampId, &StationId, At, Period)> = Vec::new();
    let mut clashes = Vec::new();
    for station in stations {
        for (period, lamp) in station.fitted.spans(ever).filter_map(|(span, lamp)| Some((span, lamp.as_ref()?))) {
            let others = placed.iter().filter(|(other, ..)| *other == lamp);
            clashes.extend(others.filter_map(|(_, first, since, taken)| {
                let (first, second) = ((*first, *since), (&station.id, period.start));
                Some(Clash { lamp, first, second, period: taken.overlap(period)? })
            }));
            placed.push((lamp, &station.id, period.start, period));
        }
    }
    clashes
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
