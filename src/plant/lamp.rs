//! Lamps as assets: their kind, size and rating, and the bands that tell their state from their draw.

use crate::names::LampId;
use crate::units::Decimal;

/// How a lamp makes its light.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum LampKind {
    /// Mercury arc: minutes of warm-up, standby between jobs.
    Arc,
    /// LED array: lit only while the web moves.
    Led,
}

impl LampKind {
    /// Both kinds.
    pub const ALL: [Self; 2] = [Self::Arc, Self::Led];

    /// The word in tables and files.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Arc => "arc",
            Self::Led => "led",
        }
    }

    /// The kind of that word.
    pub fn parse(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.word() == word)
    }
}

/// Where the rated watts per centimetre are meant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RatedAt {
    /// At the lamp, without the losses of its supply.
    Lamp,
    /// At the mains, losses included.
    Mains,
}

/// One lamp.
#[derive(Clone, Debug, PartialEq)]
pub struct Lamp {
    /// The plant's name for it.
    pub id: LampId,
    /// How it makes its light.
    pub kind: LampKind,
    /// The maker's serial number, if anybody wrote it down.
    pub serial: Option<String>,
    /// Length of the lamp in millimetres.
    pub length_mm: u32,
    /// Rated electrical watts per centimetre of length.
    pub w_per_cm: Decimal,
    /// What the rating refers to.
    pub rated_at: RatedAt,
    /// Which draw means which state.
    pub bands: Bands,
}

impl Lamp {
    /// Rated watts: rating x length.
    pub fn rated_watts(&self) -> f64 {
        self.w_per_cm.to_f64() * f64::from(self.length_mm) / 10.0
    }
}

/// The draw in watts that parts a lamp's states where no signal states them: at or above `curing` it cures, at or
/// above `standby` it is on standby, below it is off. A state is left only once the draw lies `hysteresis` watts
/// beyond the border, for at least `dwell` milliseconds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Bands {
    /// From this draw on the lamp is on standby.
    pub standby: i64,
    /// From this draw on the lamp cures.
    pub curing: i64,
    /// How far beyond a border the draw must be, in watts.
    pub hysteresis: i64,
    /// How long it must stay there, in milliseconds.
    pub dwell: i64,
}
