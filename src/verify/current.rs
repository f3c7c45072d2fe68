//! What a circuit carried: by recorded currents, else by power and recorded power factor, else by power and a usual one.

use crate::names::MeterId;
use crate::plant::{LampKind, Load, Meter};
use crate::readings::{Quantity, Reading, Series, Subject};
use crate::time::Period;
use std::collections::BTreeMap;

/// What the load of a circuit was found by.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum LoadBy {
    /// Recorded currents of every phase.
    Current,
    /// Power at 230 V and the recorded power factor.
    PowerFactor,
    /// Power at 230 V and a power factor of 0.95 for LED supplies, else of 0.9 (common practice, no source).
    Usual,
}

impl LoadBy {
    /// Every way, the best first.
    pub const ALL: [Self; 3] = [Self::Current, Self::PowerFactor, Self::Usual];

    /// The way in words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Current => "recorded currents",
            Self::PowerFactor => "power at 230 V and the recorded power factor",
            Self::Usual => "power at 230 V and a usual power factor",
        }
    }
}

/// Recorded currents and power factors of meters on a day.
#[derive(Clone, Debug, Default)]
pub struct Currents(BTreeMap<MeterId, Recorded>);

#[derive(Clone, Debug, Default)]
struct Recorded {
    /// By phase, in milliamperes; empty where not every phase of the circuit is recorded.
    phases: Vec<Vec<Reading>>,
    /// In thousandths.
    power_factor: Vec<Reading>,
}

impl Currents {
    /// The series of a meter that tell its load; none where its rating is not stated, since nothing follows then.
    pub fn series(meter: &Meter) -> Vec<Series> {
        let rated = meter.circuit.as_ref().filter(|circuit| circuit.rated_ma.is_some());
        let phases = rated.map_or(0, |circuit| circuit.phases);
        let quantities = (1..=phases).map(Quantity::Current).chain(rated.map(|_| Quantity::PowerFactor(0)));
        quantities.map(|quantity| Series::new(Subject::Meter(meter.id.clone()), quantity)).collect()
    }

    /// Takes the readings of a meter's series.
    pub fn take(&mut self, meter: &Meter, mut readings: BTreeMap<Series, Vec<Reading>>) {
        let mut of = |series: &Series| readings.remove(series).unwrap_or_default();
        let series = Self::series(meter);
        let Some((power_factor, phases)) = series.split_last() else { return };
        let mut phases: Vec<Vec<Reading>> = phases.iter().map(&mut of).collect();
        if phases.iter().any(Vec::is_empty) {
            phases.clear();
        }
        self.0.insert(meter.id.clone(), Recorded { phases, power_factor: of(power_factor) });
    }

    /// The load of a meter's circuit over a period in which it drew so many watts on average.
    pub fn load(&self, meter: &Meter, period: Period, watts: f64, lamp: Option<LampKind>) -> (Load, LoadBy) {
        let circuit = meter.circuit.as_ref();
        let recorded = self.0.get(&meter.id);
        if let Some(milliamperes) = recorded.and_then(|recorded| recorded.milliamperes(period)) {
            return (Load::at(circuit, milliamperes), LoadBy::Current);
        }
        match recorded
            .and_then(|recorded| mean(&recorded.power_factor, period))
            .filter(|thousandths| *thousandths > 0.0)
        {
            Some(thousandths) => (Load::of(circuit, watts, thousandths / 1e3), LoadBy::PowerFactor),
            None => {
                let usual = if lamp == Some(LampKind::Led) { 0.95 } else { 0.9 };
                (Load::of(circuit, watts, usual), LoadBy::Usual)
            }
        }
    }
}

impl Recorded {
    /// The mean current of the phases, each weighted by its own, since the energy lies where the current does: a lamp
    /// between two phases of three loads two transformers.
    fn milliamperes(&self, period: Period) -> Option<f64> {
        let phases: Option<Vec<f64>> = self.phases.iter().map(|phase| mean(phase, period)).collect();
        let (sum, squares) = phases?.iter().fold((0.0, 0.0), |(sum, squares), ma| (sum + ma, squares + ma * ma));
        if self.phases.is_empty() {
            return None;
        }
        Some(if sum > 0.0 { squares / sum } else { 0.0 })
    }
}

/// The mean of the sizes of the readings within a period; `None` where there are none.
fn mean(readings: &[Reading], period: Period) -> Option<f64> {
    let first = readings.partition_point(|reading| reading.at < period.start);
    let inside = &readings[first..readings.partition_point(|reading| reading.at < period.end).max(first)];
    let sum: f64 = inside.iter().map(|reading| reading.count.unsigned_abs() as f64).sum();
    (!inside.is_empty()).then(|| sum / inside.len() as f64)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plant::{Circuit, example};
    use crate::time::At;

    fn meter(phases: u8) -> Meter {
        let circuit = Circuit { rated_ma: Some(200_000), phases, ct_class: None, has_ct: true };
        Meter { circuit: Some(circuit), ..example::meter("m") }
    }

    fn currents(meter: &Meter, values: &[&[(i64, i64)]]) -> Currents {
        let read =
            |values: &[(i64, i64)]| values.iter().map(|(at, count)| Reading { at: At(*at), count: *count }).collect();
        let readings = Currents::series(meter).into_iter().zip(values).map(|(series, values)| (series, read(values)));
        let mut currents = Currents::default();
        currents.take(meter, readings.collect());
        currents
    }

    /// 2.1 kW at 230 V and 0.95 are 3.2 A of 200 A on three phases; two phases at 12 A are 6 % (own computation).
    #[test]
    fn a_load_is_that_of_the_phases_that_carry_it_else_follows_from_power() {
        let (meter, hour) = (meter(3), Period::new(At(0), At(3_600_000)));
        let load = |currents: &Currents| currents.load(&meter, hour, 2_100.0, Some(LampKind::Led));
        assert_eq!(load(&Currents::default()), (Load::From1, LoadBy::Usual));
        let two = currents(&meter, &[&[(0, 11_000), (1, 13_000)], &[(5, 12_000)], &[(7, 0)], &[]]);
        assert_eq!(load(&two), (Load::From5, LoadBy::Current));
        // A phase that is not recorded leaves the power factor: 2.1 kW at 0.2 are 15.2 A.
        let without = currents(&meter, &[&[(0, 11_000)], &[(5, 12_000)], &[], &[(9, -200)]]);
        assert_eq!(load(&without), (Load::From5, LoadBy::PowerFactor));
        // What was read outside the period says nothing of it.
        let late = currents(&meter, &[&[(3_600_000, 1)], &[(3_600_000, 1)], &[(3_600_000, 1)], &[]]);
        assert_eq!(load(&late), (Load::From1, LoadBy::Usual));
    }
}
