//! The hall as validated, dated facts: what stands where, since when, and what each meter covers.
//!
//! Nothing here is measured. Values come from the configuration and from recorded events, and are checked before
//! they become a [`Plant`]; the layers below may rely on every name resolving and every list being in order.

mod accuracy;
mod calendar;
mod dated;
#[cfg(test)]
pub mod example;
mod lamp;
mod load;
mod meter;
mod press;

pub use accuracy::{Circuit, Limit, Load, limit};
pub use calendar::{Calendar, Shift};
pub use dated::Dated;
pub use lamp::{Bands, Lamp, LampKind, RatedAt};
pub use load::{ShareRule, SharedLoad};
pub use meter::{Boundary, Covers, Device, Flow, Meter, Point, Ratio};
pub use press::{Clash, Press, Station, StationUse, clashes};

use crate::names::{LampId, LoadId, MeterId, PressId, StationId};
use crate::time::Zone;

/// One plant.
#[derive(Clone, Debug, PartialEq)]
pub struct Plant {
    /// Its name as people say it.
    pub name: String,
    /// Its time zone.
    pub zone: Zone,
    /// ISO 4217 code of its currency, such as `GBP`.
    pub currency: String,
    /// The region whose grid supplies it, as the factor sets name it, such as `GB`.
    pub grid: String,
    /// Markets whose certificates may be held against its consumption, such as `GB`.
    pub markets: Vec<String>,
    /// Its working calendar.
    pub calendar: Calendar,
    /// Its presses, sorted by id.
    pub presses: Vec<Press>,
    /// Its shared loads, sorted by id.
    pub loads: Vec<SharedLoad>,
    /// Its lamps, fitted or not, sorted by id.
    pub lamps: Vec<Lamp>,
    /// Its measuring points, sorted by id.
    pub meters: Vec<Meter>,
}

impl Plant {
    /// The press of that name.
    pub fn press(&self, id: &PressId) -> Option<&Press> {
        self.presses.iter().find(|p| p.id == *id)
    }

    /// The station of that name and its press.
    pub fn station(&self, id: &StationId) -> Option<(&Press, &Station)> {
        self.presses.iter().find_map(|p| p.stations.iter().find(|s| s.id == *id).map(|s| (p, s)))
    }

    /// The lamp of that name.
    pub fn lamp(&self, id: &LampId) -> Option<&Lamp> {
        self.lamps.iter().find(|l| l.id == *id)
    }

    /// The shared load of that name.
    pub fn load(&self, id: &LoadId) -> Option<&SharedLoad> {
        self.loads.iter().find(|l| l.id == *id)
    }

    /// The measuring point of that name.
    pub fn meter(&self, id: &MeterId) -> Option<&Meter> {
        self.meters.iter().find(|m| m.id == *id)
    }

    /// The measuring points directly below one, in the order of their ids.
    pub fn below<'a>(&'a self, id: &'a MeterId) -> impl Iterator<Item = &'a Meter> {
        self.meters.iter().filter(move |m| m.below.as_ref() == Some(id))
    }
}
