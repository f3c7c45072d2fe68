//! Means over samples.

use super::{Phase, Sample, Watched};
use crate::time::Period;

/// The mean of what is there; `None` of nothing.
pub(super) fn mean(values: impl Iterator<Item = f64>) -> Option<f64> {
    let (sum, count) = values.fold((0.0, 0_u32), |(sum, count), value| (sum + value, count + 1));
    (count > 0).then(|| sum / f64::from(count))
}

/// The mean of one figure of a phase.
pub(super) fn of_phase(watched: &Watched, phase: usize, figure: impl Fn(&Phase) -> Option<f64>) -> Option<f64> {
    mean(watched.samples.iter().filter_map(|sample| figure(&sample.phases[phase])))
}

/// Total active power of a sample; the sum of its phases where the device shows no total.
pub(super) fn total(sample: &Sample) -> Option<f64> {
    let phases = || sample.phases.iter().map(|phase| phase.watts).sum();
    sample.watts.or_else(phases)
}

/// Mean primary power in a part of the time, in watts.
pub(super) fn primary(watched: &Watched, part: Period) -> Option<f64> {
    let ratio = watched.meter.device.at(part.end)?.transformers.to_f64();
    let inside = watched.samples.iter().filter(|sample| part.contains(sample.at));
    mean(inside.filter_map(total)).map(|watts| watts * ratio)
}
