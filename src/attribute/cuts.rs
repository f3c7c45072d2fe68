//! Where the day is cut.

use crate::plant::{Meter, Plant};
use crate::time::{At, Period, QUARTER};
use chrono::{Datelike, Days};

/// Quarter hours, or the native intervals of a meter where those are longer, with both ends of the period.
pub fn grid(meter: &Meter, period: Period) -> Vec<At> {
    let step = meter.native.max(QUARTER);
    let inner = (0..).map(|k| period.start.ceil(step) + k * step).take_while(|at| *at < period.end);
    in_order([period.start, period.end].into_iter().chain(inner))
}

/// The starts and ends of shifts within a period.
pub fn shifts(plant: &Plant, period: Period) -> Vec<At> {
    let Some(eve) = plant.zone.date(period.start).pred_opt() else { return Vec::new() };
    let last = plant.zone.date(period.end);
    let mut cuts = Vec::new();
    for date in eve.iter_days().take_while(|date| *date <= last) {
        let works = |days: &[chrono::Weekday]| days.is_empty() || days.contains(&date.weekday());
        for shift in plant.calendar.shifts.iter().filter(|shift| works(&shift.days)) {
            let end = if shift.ends <= shift.starts { date.checked_add_days(Days::new(1)) } else { Some(date) };
            cuts.push(plant.zone.first(date.and_time(shift.starts)));
            cuts.extend(end.map(|end| plant.zone.first(end.and_time(shift.ends))));
        }
    }
    cuts.retain(|at| period.contains(*at));
    in_order(cuts)
}

/// Instants in order of time, each once.
pub fn in_order(cuts: impl IntoIterator<Item = At>) -> Vec<At> {
    let mut cuts: Vec<At> = cuts.into_iter().collect();
    cuts.sort_unstable();
    cuts.dedup();
    cuts
}
