//! Where the day is cut.

use crate::plant::{Meter, Plant};
use crate::time::{At, HOUR, Period, QUARTER};

const DAY: i64 = 24 * HOUR;

/// Quarter hours, or the native intervals of a meter where those are longer, with both ends of the period, which lies
/// within a local day: that is the interval of a meter that shows days.
pub fn grid(meter: &Meter, period: Period) -> Vec<At> {
    let step = meter.native.max(QUARTER);
    if step >= DAY {
        return in_order([period.start, period.end]);
    }
    let inner = (0..).map(|k| period.start.ceil(step) + k * step).take_while(|at| *at < period.end);
    in_order([period.start, period.end].into_iter().chain(inner))
}

/// The starts and ends of shifts within a period.
pub fn shifts(plant: &Plant, period: Period) -> Vec<At> {
    let spans = plant.calendar.shifts_of(plant.zone, period);
    in_order(spans.iter().flat_map(|span| [span.start, span.end]).filter(|at| period.contains(*at)))
}

/// Instants in order of time, each once.
pub fn in_order(cuts: impl IntoIterator<Item = At>) -> Vec<At> {
    let mut cuts: Vec<At> = cuts.into_iter().collect();
    cuts.sort_unstable();
    cuts.dedup();
    cuts
}
