//! What a count of a series is worth in the base unit of its quantity.

use crate::config::Configuration;
use crate::plant::Meter;
use crate::readings::{Kind, Quantity, Series, Subject};
use crate::time::{At, Period};

/// What a count is worth within a time.
pub(super) enum Worth<'a> {
    /// The same all the time; `None` where no device is known that counted.
    Even(Option<f64>),
    /// A device or ratio changed.
    Changed(&'a Configuration, &'a Meter, Quantity),
}

impl<'a> Worth<'a> {
    /// The worth of a count of a series within a time.
    pub(super) fn of(configuration: &'a Configuration, series: &Series, time: Period) -> Self {
        let Subject::Meter(id) = &series.subject else { return Self::Even(Some(1.0)) };
        let Some(meter) = configuration.plant.meter(id) else { return Self::Even(None) };
        let mut changes = meter.device.iter().map(|(since, _)| *since);
        match changes.any(|since| time.start < since && since < time.end) {
            true => Self::Changed(configuration, meter, series.quantity),
            false => Self::Even(one(configuration, meter, series.quantity, time.start)),
        }
    }

    /// The worth of a count at an instant.
    pub(super) fn at(&self, at: At) -> Option<f64> {
        match self {
            Self::Even(worth) => *worth,
            Self::Changed(configuration, meter, quantity) => one(configuration, meter, *quantity, at),
        }
    }
}

/// Energy and power are seen through the transformers; other quantities are kept as they are on the primary side.
fn one(configuration: &Configuration, meter: &Meter, quantity: Quantity, at: At) -> Option<f64> {
    let size = configuration.count_size(&meter.id, quantity, at)?;
    let is_through = matches!(quantity, Quantity::Power | Quantity::PowerPhase(_))
        || matches!(quantity.kind(), Kind::Register | Kind::Interval);
    let transformers = meter.device.at(at)?.transformers;
    Some(if is_through { size.times(transformers) } else { size }.to_f64())
}
