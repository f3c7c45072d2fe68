//! Measuring points: what each covers, where it measures, and which device stood there when.

use crate::names::{LoadId, MeterId, PressId, StationId};
use crate::plant::{Circuit, Dated};

/// A place where energy is measured.
#[derive(Clone, Debug, PartialEq)]
pub struct Meter {
    /// The plant's name for it.
    pub id: MeterId,
    /// Its name as people say it.
    pub name: String,
    /// What its energy is for.
    pub covers: Covers,
    /// Which way its energy flows.
    pub flow: Flow,
    /// The meter above, whose energy includes this one's; `None` at the top.
    pub below: Option<MeterId>,
    /// The supplier's meter, whose figures are on the bill.
    pub fiscal: bool,
    /// Where it measures.
    pub boundary: Dated<Boundary>,
    /// Which device stands there, with its scale and ratios.
    pub device: Dated<Device>,
    /// The most that the load can draw, in watts; beyond it a reading is implausible.
    pub max_watts: i64,
    /// Milliseconds between its values as they are delivered: the polling interval, or 30 minutes of a supply meter.
    pub native: i64,
    /// Accuracy class as stated on the device, such as `1` or `0.5S`.
    pub class: Option<String>,
    /// What its circuit is rated for, as far as anybody stated it.
    pub circuit: Option<Circuit>,
}

/// What a meter's energy is for.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Covers {
    /// The whole site.
    Site,
    /// A press with all that hangs on it.
    Press(PressId),
    /// One station.
    Station(StationId),
    /// A load that serves several presses.
    Load(LoadId),
}

/// Which way energy flows through a meter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Flow {
    /// From the grid, or down to a load.
    Import,
    /// Back to the grid.
    Export,
    /// From generation on site.
    Generation,
}

/// Where a meter measures, and what lies inside.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Boundary {
    /// The point of measurement.
    pub point: Point,
    /// What is included besides the lamps, in the trade's words: `driver loss`, `blower`, `chiller`.
    pub includes: Vec<String>,
}

/// The point of measurement, from the supply down to the lamp.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Point {
    /// The supply of the site.
    Supply,
    /// The main of a press.
    PressMain,
    /// A cabinet with several supplies.
    Cabinet,
    /// The AC input of one lamp's supply.
    LampSupply,
    /// Direct current as a controller reports it.
    ReportedDc,
    /// Computed from a level, not measured.
    Computed,
}

impl Point {
    /// Every point.
    pub const ALL: [Self; 6] =
        [Self::Supply, Self::PressMain, Self::Cabinet, Self::LampSupply, Self::ReportedDc, Self::Computed];

    /// The word in the configuration.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Supply => "supply",
            Self::PressMain => "press-main",
            Self::Cabinet => "cabinet",
            Self::LampSupply => "lamp-supply",
            Self::ReportedDc => "reported-dc",
            Self::Computed => "computed",
        }
    }
}

/// A ratio of two whole numbers, the lower one above zero.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Ratio {
    /// Above the line.
    pub num: i64,
    /// Below the line.
    pub den: i64,
}

impl Ratio {
    /// One to one.
    pub const ONE: Self = Self { num: 1, den: 1 };

    /// The product, reduced.
    pub fn times(self, other: Self) -> Self {
        let (num, den) = (i128::from(self.num) * i128::from(other.num), i128::from(self.den) * i128::from(other.den));
        let common = gcd(num.unsigned_abs(), den.unsigned_abs()).max(1) as i128;
        Self { num: (num / common) as i64, den: (den / common) as i64 }
    }

    /// The ratio as a number.
    pub fn to_f64(self) -> f64 {
        self.num as f64 / self.den as f64
    }
}

/// Greatest common divisor.
fn gcd(a: u128, b: u128) -> u128 {
    if b == 0 { a } else { gcd(b, a % b) }
}

/// The device at a measuring point from an instant on. A correction of a ratio is a new value from the instant
/// since which it holds, with the same serial and no start count.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Device {
    /// Serial number of the device.
    pub serial: String,
    /// Milliwatt-hours for each count of its energy registers, before the transformers.
    pub mwh_per_count: Ratio,
    /// Milliwatts for each count of its power, before the transformers.
    pub mw_per_count: Ratio,
    /// What a value is multiplied by on account of current and voltage transformers: the fitted ratio over the
    /// one that the device is programmed for. One where the device already shows primary values.
    pub transformers: Ratio,
    /// By how many counts its energy registers move at a time: 1 where every count shows, 100 where the device counts
    /// Wh but renews its register every 0.1 kWh.
    pub step: i64,
    /// Its energy registers return to zero at this count; `None` where they never do in practice.
    pub modulus: Option<i64>,
    /// The count of its import register when it was put in; `None` for the first device and for corrections.
    pub start_count: Option<i64>,
    /// The last count of the import register of the device before it, read at the exchange.
    pub end_count_before: Option<i64>,
}
