//! What a saving is about: the converted stations of a press, or a shared load.

use crate::names::{Judged, MeterId, PressId, StationId};
use crate::plant::{Covers, Plant, Press};
use crate::time::Period;

impl Judged {
    /// The press or load of that name; a press where both have it. `None` where neither is known.
    pub fn named(plant: &Plant, name: &str) -> Option<Self> {
        let press = plant.press(&name.into()).map(|press| Self::Press(press.id.clone()));
        press.or_else(|| plant.load(&name.into()).map(|load| Self::Load(load.id.clone())))
    }
}

/// The stations of a press that are judged together, or a shared load. A mixed press is judged by the stations that were
/// converted; the station that keeps its old lamp belongs to no saving.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Scope {
    /// The press or load.
    pub judged: Judged,
    /// The converted stations of a press in web direction, each with a meter of its own; empty where only the main of the
    /// press is metered, which then stands for the whole press, and for a load.
    pub stations: Vec<StationId>,
    /// From the start of the first conversion to the last acceptance: on neither side of the saving. Of a load, that of
    /// the stations that it serves. `None` where nobody stated a conversion.
    pub implementation: Option<Period>,
}

impl Scope {
    /// The meters whose own slices are its energy: those of its stations, else the main of the press, or those of the
    /// load.
    pub fn meters(&self, plant: &Plant) -> Vec<MeterId> {
        let is_of = |covers: &Covers| match (covers, &self.judged) {
            (Covers::Station(station), _) => self.stations.contains(station),
            (Covers::Press(press), Judged::Press(judged)) => self.stations.is_empty() && press == judged,
            (Covers::Load(load), Judged::Load(judged)) => load == judged,
            _ => false,
        };
        plant.meters.iter().filter(|meter| is_of(&meter.covers)).map(|meter| meter.id.clone()).collect()
    }

    /// The scope of a press: its converted stations, or all of them where no conversion is stated.
    pub fn of(plant: &Plant, press: &PressId) -> Option<Self> {
        let press = plant.press(press)?;
        let converted: Vec<_> = press.stations.iter().filter(|s| !s.implementation.is_empty()).collect();
        let judged: Vec<_> = if converted.is_empty() { press.stations.iter().collect() } else { converted };
        let metered = |id: &StationId| plant.meters.iter().any(|m| m.covers == Covers::Station(id.clone()));
        let all_metered = !judged.is_empty() && judged.iter().all(|s| metered(&s.id));
        let stations = if all_metered { judged.iter().map(|s| s.id.clone()).collect() } else { Vec::new() };
        Some(Self { judged: Judged::Press(press.id.clone()), stations, implementation: implementation([press]) })
    }

    /// The scope of a press or of a shared load.
    pub fn judging(plant: &Plant, judged: &Judged) -> Option<Self> {
        match judged {
            Judged::Press(press) => Self::of(plant, press),
            Judged::Load(_) => Some(Self {
                judged: judged.clone(),
                stations: Vec::new(),
                implementation: implementation(served(plant, judged)),
            }),
        }
    }

    /// The presses whose work explains its energy: the press itself, or those that the load serves.
    pub fn presses(&self, plant: &Plant) -> Vec<PressId> {
        match &self.judged {
            Judged::Press(press) => vec![press.clone()],
            Judged::Load(_) => served(plant, &self.judged).map(|press| press.id.clone()).collect(),
        }
    }
}

/// The presses that a load serves.
fn served<'a>(plant: &'a Plant, judged: &Judged) -> impl Iterator<Item = &'a Press> {
    let load = match judged {
        Judged::Press(_) => None,
        Judged::Load(load) => plant.load(load),
    };
    load.into_iter().flat_map(|load| &load.serves).filter_map(|press| plant.press(press))
}

/// From the start of the first conversion on presses to the last acceptance.
fn implementation<'a>(presses: impl IntoIterator<Item = &'a Press>) -> Option<Period> {
    let stations = presses.into_iter().flat_map(|press| &press.stations);
    let all = stations.flat_map(|station| &station.implementation).copied();
    all.reduce(|a, b| Period::new(a.start.min(b.start), a.end.max(b.end)))
}
