//! What a saving is about: the converted stations of a press.

use crate::names::{MeterId, PressId, StationId};
use crate::plant::{Covers, Plant};
use crate::time::Period;

/// The stations of a press that are judged together. A mixed press is judged by the stations that were converted; the
/// station that keeps its old lamp belongs to no saving.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Scope {
    /// The press.
    pub press: PressId,
    /// Its converted stations in web direction, each with a meter of its own; empty where only the main of the press is
    /// metered, which then stands for the whole press.
    pub stations: Vec<StationId>,
    /// From the start of the first conversion to the last acceptance: on neither side of the saving. `None` where
    /// nobody stated a conversion.
    pub implementation: Option<Period>,
}

impl Scope {
    /// The meters whose own slices are its energy: those of its stations, else the main of the press.
    pub fn meters(&self, plant: &Plant) -> Vec<MeterId> {
        let is_of = |covers: &Covers| match covers {
            Covers::Station(station) => self.stations.contains(station),
            Covers::Press(press) => self.stations.is_empty() && *press == self.press,
            Covers::Site | Covers::Load(_) => false,
        };
        plant.meters.iter().filter(|meter| is_of(&meter.covers)).map(|meter| meter.id.clone()).collect()
    }

    /// The scope of a press: its converted stations, or all of them where no conversion is stated.
    pub fn of(plant: &Plant, press: &PressId) -> Option<Self> {
        let press = plant.press(press)?;
        let converted: Vec<_> = press.stations.iter().filter(|s| !s.implementation.is_empty()).collect();
        let implementation = converted.iter().flat_map(|s| &s.implementation).copied();
        let implementation = implementation.reduce(|a, b| Period::new(a.start.min(b.start), a.end.max(b.end)));
        let judged: Vec<_> = if converted.is_empty() { press.stations.iter().collect() } else { converted };
        let metered = |id: &StationId| plant.meters.iter().any(|m| m.covers == Covers::Station(id.clone()));
        let all_metered = !judged.is_empty() && judged.iter().all(|s| metered(&s.id));
        let stations = if all_metered { judged.iter().map(|s| s.id.clone()).collect() } else { Vec::new() };
        Some(Self { press: press.id.clone(), stations, implementation })
    }
}
