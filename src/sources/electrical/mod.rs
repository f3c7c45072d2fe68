//! The electrical check: whether transformers, phases and ratios of a meter can be right, seen from minutes of its own
//! values. The usual fault of an installation is electrical, not communication, and shows in no reading by itself.

mod between;
mod means;
mod phases;
mod record;
mod registers;

pub use record::{CAUTION, Commissioning};

use crate::names::{MeterId, StationId};
use crate::plant::{Meter, Plant};
use crate::readings::{Quantity, Reading, Series};
use crate::sources::RegisterMap;
use crate::time::{At, Period};

/// One phase at an instant, as the device shows it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Phase {
    /// Against neutral.
    pub volts: Option<f64>,
    /// Current.
    pub amps: Option<f64>,
    /// Active power, negative where it flows back.
    pub watts: Option<f64>,
    /// Power factor.
    pub factor: Option<f64>,
}

/// What a meter showed at an instant, before the transformers of the configuration.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sample {
    /// When.
    pub at: At,
    /// Phases 1 to 3.
    pub phases: [Phase; 3],
    /// Total active power in watts.
    pub watts: Option<f64>,
    /// Import register in watt-hours.
    pub import: Option<f64>,
    /// Export register in watt-hours.
    pub export: Option<f64>,
}

impl Sample {
    /// The sample in the readings of one poll; `None` where there are none.
    pub fn of(map: &RegisterMap, readings: &[(Series, Reading)]) -> Option<Self> {
        let at = readings.iter().map(|(_, reading)| reading.at).max()?;
        // Base units are thousandths of what a person reads: mWh, mW, mV, mA, thousandths of the power factor.
        let value = |quantity: Quantity| {
            let step = map.registers.iter().find(|register| register.quantity == quantity)?.step.to_f64();
            let (_, reading) = readings.iter().find(|(series, _)| series.quantity == quantity)?;
            Some(reading.count as f64 * step / 1e3)
        };
        let phase = |n| Phase {
            volts: value(Quantity::Voltage(n)),
            amps: value(Quantity::Current(n)),
            watts: value(Quantity::PowerPhase(n)),
            factor: value(Quantity::PowerFactor(n)),
        };
        let phases = [1, 2, 3].map(phase);
        let [import, export] = [Quantity::Import, Quantity::Export].map(value);
        Some(Self { at, phases, watts: value(Quantity::Power), import, export })
    }
}

/// A meter and what it showed, in order of time.
#[derive(Clone, Debug, PartialEq)]
pub struct Watched {
    /// The measuring point.
    pub meter: Meter,
    /// Its samples.
    pub samples: Vec<Sample>,
    /// By how many watt-hours its registers move at a time.
    pub step_wh: f64,
}

/// A load that somebody switched on while the meters were watched.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Switched {
    /// The station.
    pub station: StationId,
    /// When.
    pub at: At,
}

/// What a check looks at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Test {
    /// Sign and power factor of each phase.
    Direction,
    /// Power against voltage, current and power factor.
    Power,
    /// Total power against its phases.
    Sum,
    /// Import against export register.
    Register,
    /// Register against integrated power.
    Energy,
    /// Sub-meters against the meter above.
    Balance,
    /// A known load that was switched on.
    Step,
}

impl Test {
    /// The words in the record.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Direction => "direction and phase",
            Self::Power => "power against U x I x PF",
            Self::Sum => "total against phases",
            Self::Register => "import against export",
            Self::Energy => "register against power",
            Self::Balance => "sub-meters against main",
            Self::Step => "known load",
        }
    }
}

/// How a test ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// Nothing wrong was seen.
    Passed,
    /// Something is wrong.
    Failed,
    /// It could not be tested.
    Untested,
}

impl Verdict {
    /// The word in the record.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Passed => "passed",
            Self::Failed => "FAILED",
            Self::Untested => "untested",
        }
    }
}

/// One test of one meter.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Check {
    /// The measuring point.
    pub meter: MeterId,
    /// What was looked at.
    pub test: Test,
    /// How it ended.
    pub verdict: Verdict,
    /// What was found.
    pub what: String,
    /// What to look at, where it failed.
    pub look: Option<String>,
}

/// Makes the checks of one meter.
#[derive(Clone, Copy)]
struct Of<'a>(&'a MeterId, Test);

impl Of<'_> {
    fn passed(self, what: String) -> Check {
        Check { meter: self.0.clone(), test: self.1, verdict: Verdict::Passed, what, look: None }
    }

    fn failed(self, what: String, look: impl Into<String>) -> Check {
        Check { verdict: Verdict::Failed, look: Some(look.into()), ..self.passed(what) }
    }

    fn untested(self, what: impl Into<String>) -> Check {
        Check { verdict: Verdict::Untested, ..self.passed(what.into()) }
    }
}

/// How far two figures that should be equal may lie apart, as a part of them: meters of class 1 and their transformers
/// read at two instants. Common practice, no source.
const TOLERANCE: f64 = 0.05;

/// Examines the meters of a plant that were watched over a period; `switched` is a load known to have been switched on
/// in it.
pub fn examine(plant: &Plant, period: Period, watched: &[Watched], switched: Option<&Switched>) -> Commissioning {
    let mut checks = Vec::new();
    for meter in watched {
        checks.extend(phases::directions(meter));
        checks.extend(phases::powers(meter));
        checks.extend(phases::sum(meter));
        checks.extend(registers::import_against_export(meter));
        checks.extend(registers::against_power(meter));
        checks.extend(between::sub_meters(meter, watched));
    }
    if let Some(switched) = switched {
        checks.extend(between::step(plant, watched, switched));
    }
    checks.sort_by(|a, b| a.meter.cmp(&b.meter));
    let devices = watched.iter().map(|watched| (watched.meter.clone(), watched.samples.len())).collect();
    Commissioning { plant: plant.name.clone(), zone: plant.zone, period, meters: devices, checks }
}

/// What a factor between two figures that should be equal hints at.
fn hint(factor: f64) -> &'static str {
    let near = |other: f64| (factor / other - 1.0).abs() < TOLERANCE || (factor * other - 1.0).abs() < TOLERANCE;
    match () {
        () if [10.0, 100.0, 1e3, 1e4, 1e6].into_iter().any(near) => {
            "a power of ten: `unit` or `step` of one of the two in the register map"
        }
        () if near(3_f64.sqrt()) => "the square root of 3: voltage between phases where phase to neutral is meant",
        () if near(3.0) => "three: a total where one phase is meant, or only one phase measured",
        () if near(2.0) => "two: the conductor led twice through the transformer, or a ratio set to half or double",
        () => "the transformer ratio set in the device and in the configuration against the plate of the transformers",
    }
}

#[cfg(test)]
mod tests;
