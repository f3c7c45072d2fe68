//! Loads that serve several presses, and the rule by which they are charged.

use crate::names::{LoadId, PressId};
use crate::plant::LampKind;

/// A fan, chiller or compressor that serves more than one press.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SharedLoad {
    /// The plant's name for it.
    pub id: LoadId,
    /// Its name as people say it.
    pub name: String,
    /// The presses it serves, sorted by id.
    pub serves: Vec<PressId>,
    /// How its energy is charged to them, in each quarter hour.
    pub rule: ShareRule,
    /// Only stations with a lamp of this kind count towards the rule: ozone extraction is needed by arc lamps.
    pub only: Option<LampKind>,
}

/// What a shared load is charged by. Where nothing weighs in a quarter hour, its energy stays unassigned.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ShareRule {
    /// By the energy of the stations served.
    Energy,
    /// By the time that the lamps of the stations served are not off.
    LampTime,
    /// By the time that the web moves.
    WebTime,
    /// In equal parts.
    Equal,
}

impl ShareRule {
    /// Every rule.
    pub const ALL: [Self; 4] = [Self::Energy, Self::LampTime, Self::WebTime, Self::Equal];

    /// The word in the configuration.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Energy => "energy",
            Self::LampTime => "lamp-time",
            Self::WebTime => "web-time",
            Self::Equal => "equal",
        }
    }
}
