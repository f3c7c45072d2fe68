//! Run hours as a driver: a press that runs faster after its conversion needs fewer of them for the same work, which would
//! hide part of what was saved.

use crate::verify::baseline::Frozen;
use crate::verify::{Conditions, Day, Driver};

/// Hours are taken as they are while speed and hours a job changed by less than this.
pub const ALIKE: f64 = 0.03;

/// The days with their hours converted to hours at the baseline's speed; `None` where that is not needed, or the model
/// does not use hours, or nobody knows how fast the web ran in either period, which is a question that blocks the verdict.
pub fn at_baseline_speed(frozen: &Frozen, days: &[Day], now: &Conditions) -> Option<Vec<Day>> {
    let before = &frozen.conditions;
    let changed = |before: Option<f64>, now: Option<f64>| {
        before.zip(now).is_some_and(|(before, now)| (now / before - 1.0).abs() >= ALIKE)
    };
    let moved = changed(before.km_per_hour, now.km_per_hour) || changed(before.hours_per_job, now.hours_per_job);
    let (speed, _) = before.km_per_hour.zip(now.km_per_hour).filter(|_| moved && frozen.form.uses(Driver::RunH))?;
    let convert = |day: &Day| {
        let mut day = day.clone();
        match day.drivers.get(&Driver::WebKm).copied() {
            Some(km) => day.drivers.insert(Driver::RunH, km / speed),
            // Without its length a day's hours cannot be converted.
            None => day.drivers.remove(&Driver::RunH),
        };
        day
    };
    Some(days.iter().map(convert).collect())
}
