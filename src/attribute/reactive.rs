//! The reactive energy of a meter: by its registers, else by its intervals, inductive less capacitive.

use crate::attribute::measured::Measured;
use crate::attribute::{Curve, Placed};
use crate::plant::{Dated, Device, Meter};
use crate::readings::{Quantity, Reading, Series, Subject};
use crate::time::{At, MINUTE, Period, Zone};
use crate::units::Energy;
use std::collections::BTreeMap;

/// Inductive and capacitive: the register and the interval value of each.
const SIDES: [[Quantity; 2]; 2] =
    [[Quantity::ReactiveLag, Quantity::IntervalReactiveLag], [Quantity::ReactiveLead, Quantity::IntervalReactiveLead]];

/// A meter that is read more seldom than this is interpolated at nearly every cut.
const OFTEN: i64 = 5 * MINUTE;

/// What a meter shows of reactive energy around a day.
#[derive(Clone, Debug, PartialEq)]
pub struct Reactive {
    sides: [Curve; 2],
    /// Whether a place in time that is interpolated is an outage.
    is_often: bool,
}

impl Reactive {
    /// The series that it is read from.
    pub fn series(meter: &Meter) -> impl Iterator<Item = Series> + '_ {
        SIDES.into_iter().flatten().map(|quantity| Series::new(Subject::Meter(meter.id.clone()), quantity))
    }

    /// What the readings of a meter say; `None` where one of both sides is not read, since the other alone does not tell
    /// which way the current leans.
    pub fn of(meter: &Meter, zone: Zone, readings: &BTreeMap<Series, Vec<Reading>>) -> Option<Self> {
        Some(Self::read(meter, zone, readings)).filter(|read| read.sides.iter().all(|side| !side.pieces().is_empty()))
    }

    /// What the readings of a meter say, be it of one side alone.
    pub fn read(meter: &Meter, zone: Zone, readings: &BTreeMap<Series, Vec<Reading>>) -> Self {
        let counted = uncounted(meter);
        let of = |quantity| {
            readings.get(&Series::new(Subject::Meter(meter.id.clone()), quantity)).map_or(&[][..], |found| found)
        };
        let sides = SIDES.map(|[register, interval]| {
            let mut side = Measured::new(&counted, None, zone);
            side.push(of(register), of(interval), &[]);
            side.curve(Period::new(At(i64::MIN / 8), At(i64::MAX / 8))).value
        });
        Self { sides, is_often: meter.native <= OFTEN }
    }

    /// Milli-varhours between each two neighbouring cuts, inductive above zero; `None` where that is not known.
    pub fn between(&self, cuts: &[At]) -> Vec<Option<Energy>> {
        let [lag, lead] = [&self.sides[0], &self.sides[1]].map(|side| side.parts(cuts));
        let known = |part: &crate::attribute::Part| part.is_known() && self.places(part.placed);
        lag.iter().zip(&lead).map(|(lag, lead)| (known(lag) && known(lead)).then(|| lag.energy - lead.energy)).collect()
    }

    /// Inductive and capacitive milli-varhours between each two neighbouring cuts, each where it is known.
    pub fn sides(&self, cuts: &[At]) -> Vec<[Option<Energy>; 2]> {
        let [lag, lead] = [&self.sides[0], &self.sides[1]].map(|side| side.parts(cuts));
        let known = |part: &crate::attribute::Part| part.is_known().then_some(part.energy);
        lag.iter().zip(&lead).map(|(lag, lead)| [known(lag), known(lead)]).collect()
    }

    /// Whether energy that is placed like this says something about its quarter hour.
    pub fn places(&self, placed: Placed) -> bool {
        placed == Placed::Measured || placed == Placed::Interpolated && !self.is_often
    }
}

/// The meter without the counts that were read at exchanges of its device: they are those of its energy register.
fn uncounted(meter: &Meter) -> Meter {
    let bare = |device: &Device| Device { start_count: None, end_count_before: None, ..device.clone() };
    let device = Dated::new(meter.device.iter().map(|(since, device)| (*since, bare(device))).collect());
    Meter { device, ..meter.clone() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plant::example;
    use crate::time::QUARTER;

    fn meter(device: Dated<Device>) -> Meter {
        Meter { device, ..example::meter("m") }
    }

    /// A device that counts varh.
    fn device(serial: &str, start_count: Option<i64>) -> Device {
        Device { start_count, end_count_before: start_count, ..example::device(serial) }
    }

    fn said(quantity: Quantity, counts: &[i64]) -> (Series, Vec<Reading>) {
        let reading = |(count, k): (&i64, i64)| Reading { at: At(k * QUARTER), count: *count };
        (Series::new(Subject::Meter("m".into()), quantity), counts.iter().zip(0..).map(reading).collect())
    }

    fn between(meter: &Meter, readings: [(Series, Vec<Reading>); 2]) -> Option<Vec<Option<i64>>> {
        let cuts: Vec<At> = (0..4).map(|k| At(k * QUARTER)).collect();
        let reactive = Reactive::of(meter, Zone::UTC, &readings.into())?;
        Some(reactive.between(&cuts).into_iter().map(|part| part.map(Energy::mwh)).collect())
    }

    #[test]
    fn capacitive_energy_counts_below_zero() {
        let registers =
            [said(Quantity::ReactiveLag, &[100, 103, 103, 104]), said(Quantity::ReactiveLead, &[7, 7, 9, 14])];
        let meter = meter(Dated::always(device("a", None)));
        assert_eq!(between(&meter, registers), Some(vec![Some(3_000), Some(-2_000), Some(-4_000)]));
        let intervals =
            [said(Quantity::IntervalReactiveLag, &[0, 3, 0, 1]), said(Quantity::IntervalReactiveLead, &[0, 0, 2, 5])];
        assert_eq!(between(&meter, intervals), Some(vec![Some(3_000), Some(-2_000), Some(-4_000)]));
    }

    #[test]
    fn one_side_alone_is_not_known() {
        let one = [said(Quantity::ReactiveLag, &[1, 2, 3, 4]), said(Quantity::Import, &[1, 2, 3, 4])];
        assert_eq!(between(&meter(Dated::always(device("a", None))), one), None);
    }

    #[test]
    fn counts_of_the_energy_register_at_an_exchange_are_none_of_a_reactive_one() {
        let devices = Dated::new(vec![(At(i64::MIN), device("a", None)), (At(QUARTER + 1), device("b", Some(5_000)))]);
        let registers = [said(Quantity::ReactiveLag, &[0, 10, 20, 30]), said(Quantity::ReactiveLead, &[0, 0, 0, 0])];
        assert_eq!(between(&meter(devices), registers), Some(vec![Some(10_000), None, Some(10_000)]));
    }
}
