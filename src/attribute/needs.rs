//! What attribution wants to know, and how far around a day.

use crate::attribute::counting::{gap_limit, look_back};
use crate::attribute::measured::register_of;
use crate::attribute::press::LONGEST_MAKE_READY;
use crate::plant::Plant;
use crate::readings::{Quantity, Series, Subject};
use crate::time::Period;
use chrono::NaiveDate;

/// The series that attribution reads, in order.
pub fn needs(plant: &Plant) -> Vec<Series> {
    let mut series = Vec::new();
    for meter in &plant.meters {
        let quantities = [register_of(meter.flow), Quantity::IntervalEnergy, Quantity::Power];
        series.extend(quantities.map(|quantity| Series::new(Subject::Meter(meter.id.clone()), quantity)));
    }
    for press in &plant.presses {
        let quantities = [Quantity::Speed, Quantity::WebLength];
        series.extend(quantities.map(|quantity| Series::new(Subject::Press(press.id.clone()), quantity)));
        for station in &press.stations {
            let quantities = [Quantity::LampLevel, Quantity::LampKind, Quantity::LampState];
            series.extend(quantities.map(|quantity| Series::new(Subject::Station(station.id.clone()), quantity)));
        }
    }
    series.sort();
    series
}

/// The period whose readings a day depends on. Beyond it only the nearest reading of each series on either side is
/// wanted. It holds the longest make-ready that began before midnight, the step of a register that shows after it,
/// and enough readings for a wrong one at its border to be told from a right one; only where an outage longer than this
/// margin ends with a wrong reading is the energy of the outage taken for unknown.
pub fn reach(plant: &Plant, date: NaiveDate) -> Period {
    let steps = plant.meters.iter().flat_map(|meter| meter.device.iter().map(|(_, d)| look_back(d, meter.max_watts)));
    let gaps = plant.meters.iter().map(gap_limit);
    let margin = LONGEST_MAKE_READY + steps.max().unwrap_or(0).max(gaps.max().unwrap_or(0));
    let day = plant.zone.day(date);
    Period::new(day.start - margin, day.end + margin)
}
