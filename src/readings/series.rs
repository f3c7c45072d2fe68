//! Series: which quantity of which thing; a reading is one count at one instant.

use crate::names::{MeterId, PressId, StationId};
use crate::time::At;
use std::fmt;

/// The thing a series is about.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Subject {
    /// A measuring point.
    Meter(MeterId),
    /// A press.
    Press(PressId),
    /// A station.
    Station(StationId),
    /// The site, such as its outdoor temperature.
    Site,
}

impl fmt::Display for Subject {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Meter(id) => write!(f, "meter {id}"),
            Self::Press(id) => write!(f, "press {id}"),
            Self::Station(id) => write!(f, "station {id}"),
            Self::Site => f.write_str("site"),
        }
    }
}

/// How the values of a series are to be read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Kind {
    /// A running total; its differences count.
    Register,
    /// The amount of the native interval that ends at the instant.
    Interval,
    /// A value at an instant, between which it may be anything.
    Gauge,
    /// A value that holds until the next.
    Step,
}

/// What is measured or signalled. A meter's quantities are raw counts of its device; a signal's unit stands here.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Quantity {
    /// Active energy taken, as a register.
    Import,
    /// Active energy given back, as a register.
    Export,
    /// Active energy of an interval.
    IntervalEnergy,
    /// Reactive energy of an interval, inductive.
    IntervalReactiveLag,
    /// Reactive energy of an interval, capacitive.
    IntervalReactiveLead,
    /// Reactive energy, inductive.
    ReactiveLag,
    /// Reactive energy, capacitive.
    ReactiveLead,
    /// Active power.
    Power,
    /// Active power of phase 1, 2, 3.
    PowerPhase(u8),
    /// Current of phase 1, 2, 3 in milliamperes, primary.
    Current(u8),
    /// Voltage of phase 1, 2, 3 against neutral in millivolts.
    Voltage(u8),
    /// Power factor of phase 1, 2, 3, or 0 for the total, in thousandths, signed.
    PowerFactor(u8),
    /// Web speed in millimetres a minute.
    Speed,
    /// Length of web run, in millimetres, as a register.
    WebLength,
    /// Length of web run in an interval, in millimetres: what a press report states for a day.
    IntervalLength,
    /// Time for which the web moved in an interval, in milliseconds.
    IntervalRunning,
    /// Level of a lamp in tenths of a per cent.
    LampLevel,
    /// Kind of the lamp fitted: 1 arc, 2 LED, 0 none.
    LampKind,
    /// State of a lamp: 0 off, 1 warming up, 2 standby, 3 curing.
    LampState,
    /// Outdoor temperature in thousandths of a degree Celsius.
    Temperature,
}

impl Quantity {
    /// How its values are to be read.
    pub const fn kind(self) -> Kind {
        match self {
            Self::Import | Self::Export | Self::ReactiveLag | Self::ReactiveLead | Self::WebLength => Kind::Register,
            Self::IntervalEnergy | Self::IntervalReactiveLag | Self::IntervalReactiveLead => Kind::Interval,
            Self::IntervalLength | Self::IntervalRunning => Kind::Interval,
            Self::LampKind | Self::LampState => Kind::Step,
            _ => Kind::Gauge,
        }
    }

    /// Whether a meter shows it; else it is a signal of a press, a station or the site.
    pub const fn of_meter(self) -> bool {
        use Quantity::{LampKind, LampLevel, LampState, Temperature};
        !self.of_press() && !matches!(self, LampLevel | LampKind | LampState | Temperature)
    }

    /// Whether it is a signal of a press.
    pub const fn of_press(self) -> bool {
        matches!(self, Self::Speed | Self::WebLength | Self::IntervalLength | Self::IntervalRunning)
    }

    /// The unit in which people read it, how many base units that is, and how many decimals are worth showing.
    pub const fn unit(self) -> (&'static str, i64, usize) {
        match self {
            Self::Import | Self::Export | Self::IntervalEnergy => ("kWh", 1_000_000, 3),
            Self::ReactiveLag | Self::ReactiveLead | Self::IntervalReactiveLag | Self::IntervalReactiveLead => {
                ("kvarh", 1_000_000, 3)
            }
            Self::Power | Self::PowerPhase(_) => ("kW", 1_000_000, 3),
            Self::Current(_) => ("A", 1_000, 3),
            Self::Voltage(_) => ("V", 1_000, 1),
            Self::PowerFactor(_) => ("", 1_000, 3),
            Self::Speed => ("m/min", 1_000, 1),
            Self::WebLength | Self::IntervalLength => ("m", 1_000, 3),
            Self::IntervalRunning => ("h", 3_600_000, 3),
            Self::LampLevel => ("%", 10, 1),
            Self::LampKind | Self::LampState => ("", 1, 0),
            Self::Temperature => ("°C", 1_000, 1),
        }
    }

    /// Every quantity, phases included.
    pub fn all() -> impl Iterator<Item = Self> {
        use Quantity::*;
        let plain = [
            Import,
            Export,
            IntervalEnergy,
            IntervalReactiveLag,
            IntervalReactiveLead,
            ReactiveLag,
            ReactiveLead,
            Power,
            PowerFactor(0),
            Speed,
            WebLength,
            IntervalLength,
            IntervalRunning,
            LampLevel,
            LampKind,
            LampState,
            Temperature,
        ];
        let phases = (1..=3).flat_map(|n| [PowerPhase(n), Current(n), Voltage(n), PowerFactor(n)]);
        plain.into_iter().chain(phases)
    }

    /// The quantity of that word.
    pub fn parse(word: &str) -> Option<Self> {
        Self::all().find(|q| q.to_string() == word)
    }
}

impl fmt::Display for Quantity {
    /// The word in the configuration, in files and in the store.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Import => f.write_str("import"),
            Self::Export => f.write_str("export"),
            Self::IntervalEnergy => f.write_str("interval-energy"),
            Self::IntervalReactiveLag => f.write_str("interval-reactive-lag"),
            Self::IntervalReactiveLead => f.write_str("interval-reactive-lead"),
            Self::ReactiveLag => f.write_str("reactive-lag"),
            Self::ReactiveLead => f.write_str("reactive-lead"),
            Self::Power => f.write_str("power"),
            Self::PowerPhase(n) => write!(f, "power-l{n}"),
            Self::Current(n) => write!(f, "current-l{n}"),
            Self::Voltage(n) => write!(f, "voltage-l{n}"),
            Self::PowerFactor(0) => f.write_str("power-factor"),
            Self::PowerFactor(n) => write!(f, "power-factor-l{n}"),
            Self::Speed => f.write_str("speed"),
            Self::WebLength => f.write_str("web-length"),
            Self::IntervalLength => f.write_str("interval-length"),
            Self::IntervalRunning => f.write_str("interval-running"),
            Self::LampLevel => f.write_str("lamp-level"),
            Self::LampKind => f.write_str("lamp-kind"),
            Self::LampState => f.write_str("lamp-state"),
            Self::Temperature => f.write_str("temperature"),
        }
    }
}

/// One quantity of one thing.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Series {
    /// The thing.
    pub subject: Subject,
    /// What of it.
    pub quantity: Quantity,
}

impl Series {
    /// The series of a quantity of a thing.
    pub const fn new(subject: Subject, quantity: Quantity) -> Self {
        Self { subject, quantity }
    }
}

impl fmt::Display for Series {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} of {}", self.quantity, self.subject)
    }
}

/// A count at an instant.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Reading {
    /// When.
    pub at: At,
    /// The raw count.
    pub count: i64,
}

/// Who says so: of two statements the one of higher rank is in force, then the one of higher revision.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[repr(u8)]
pub enum Rank {
    /// Read or received by the agent.
    Live = 0,
    /// From a file.
    Import = 1,
    /// By hand, with a reason.
    Correction = 2,
}
