//! What energy was used for, as the charts and the table of stations part it.

use crate::attribute::{Claim, LampState, Slice};
use crate::plant::{Covers, Plant};

/// A use of energy, in the order in which bars are stacked.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Use {
    /// Lamps that cure.
    Curing,
    /// Lamps that come up to power.
    WarmingUp,
    /// Lamps on standby.
    Standby,
    /// Lamps that are off: their controls.
    Off,
    /// Stations whose state is not known.
    Unknown,
    /// A press beyond its metered stations.
    Press,
    /// Shared loads, charged to a press or not.
    Shared,
    /// What nobody meters, and what the supply shows while a meter below it is not known.
    Rest,
}

impl Use {
    /// Every use, in stacking order.
    pub const ALL: [Self; 8] =
        [Self::Curing, Self::WarmingUp, Self::Standby, Self::Off, Self::Unknown, Self::Press, Self::Shared, Self::Rest];

    /// What a slice was used for.
    pub fn of(plant: &Plant, slice: &Slice) -> Self {
        let owner = &slice.owner;
        let of_a_load = || {
            let meter = plant.meter(&slice.usage.meter);
            meter.is_some_and(|meter| matches!(meter.covers, Covers::Load(_)))
        };
        match (owner.claim, owner.press.is_some(), owner.station.is_some()) {
            (Claim::Shared, _, _) => Self::Shared,
            (Claim::Rest, false, _) => Self::Rest,
            (_, false, _) if of_a_load() => Self::Shared,
            (_, false, _) => Self::Rest,
            (_, true, false) => Self::Press,
            (_, true, true) => match owner.lamp_state {
                Some(LampState::Curing) => Self::Curing,
                Some(LampState::WarmingUp) => Self::WarmingUp,
                Some(LampState::Standby) => Self::Standby,
                Some(LampState::Off) => Self::Off,
                None => Self::Unknown,
            },
        }
    }

    /// Its class in the style sheet.
    pub const fn class(self) -> &'static str {
        match self {
            Self::Curing => "curing",
            Self::WarmingUp => "warming",
            Self::Standby => "standby",
            Self::Off => "off",
            Self::Unknown => "unknown",
            Self::Press => "press",
            Self::Shared => "shared",
            Self::Rest => "rest",
        }
    }

    /// Its name in legends and heads.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Curing => "Curing",
            Self::WarmingUp => "Warm-up",
            Self::Standby => "Standby",
            Self::Off => "Lamp off",
            Self::Unknown => "State unknown",
            Self::Press => "Press, beyond its stations",
            Self::Shared => "Shared loads",
            Self::Rest => "Unmetered rest",
        }
    }
}
