//! The bridge: from what was promised to what was measured, cause by cause, closing to the unit.

use super::{Estimate, Factors, Operation};
use crate::stats::shapley;
use crate::units::{Co2e, Energy, Money};
use std::iter::Sum;
use std::ops::{Add, Sub};

/// Why a saving is not the one that was promised.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Cause {
    /// Hours in which the press cured.
    Running,
    /// Hours in which the old lamps would have stood by.
    Standby,
    /// Stations lit while it cured.
    Lit,
    /// Web speed: at a higher one the old lamps would have cured longer for the same web.
    Speed,
    /// Levels while curing.
    Level,
    /// What the new lamps draw.
    NewDraw,
    /// What the old lamps drew.
    OldDraw,
    /// The shared loads.
    Shared,
    /// What a kWh is worth: its price in money, the grid factor in carbon.
    Worth,
}

impl Cause {
    /// Every cause, in the order of the bridge.
    pub const ALL: [Self; 9] = [
        Self::Running,
        Self::Standby,
        Self::Lit,
        Self::Speed,
        Self::Level,
        Self::NewDraw,
        Self::OldDraw,
        Self::Shared,
        Self::Worth,
    ];

    /// What people call it; [`Cause::Worth`] is a price or a grid factor, by the bridge that it stands in.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Running => "running hours",
            Self::Standby => "standby hours",
            Self::Lit => "stations lit",
            Self::Speed => "web speed",
            Self::Level => "level",
            Self::NewDraw => "draw of the new lamps",
            Self::OldDraw => "draw of the old lamps",
            Self::Shared => "shared loads",
            Self::Worth => "worth of a kWh",
        }
    }

    /// Whether it is how the plant worked, not what the supplier delivered.
    pub const fn is_operation(self) -> bool {
        matches!(self, Self::Running | Self::Standby | Self::Lit | Self::Speed | Self::Level)
    }
}

/// What can be bridged: whole numbers, millionths of what is printed.
pub trait Whole: Copy + Add<Output = Self> + Sub<Output = Self> + Sum {
    /// The nearest whole number.
    fn nearest(value: f64) -> Self;
}

impl Whole for Energy {
    fn nearest(kwh: f64) -> Self {
        Self::from_mwh((kwh * 1e6).round() as i64)
    }
}

impl Whole for Money {
    fn nearest(units: f64) -> Self {
        Self::from_micros((units * 1e6).round() as i64)
    }
}

impl Whole for Co2e {
    fn nearest(kg: f64) -> Self {
        Self::from_mg((kg * 1e6).round() as i64)
    }
}

/// A step of a bridge.
#[derive(Clone, Debug, PartialEq)]
pub struct Step<Q> {
    /// What it is due to.
    pub cause: Cause,
    /// Causes in it that were not metered by station and state in both periods.
    pub with: Vec<Cause>,
    /// By how much it moves the saving.
    pub amount: Q,
}

/// From promised to measured: `promised` + the steps + `unexplained` = `measured`, exactly.
#[derive(Clone, Debug, PartialEq)]
pub struct Bridge<Q> {
    /// The promise for the time covered.
    pub promised: Q,
    /// The steps, in the order of [`Cause::ALL`]. A cause that did not change has a step of zero.
    pub steps: Vec<Step<Q>>,
    /// Measured less the formula at all measured factors, and what rounding the steps leaves over: a few millionths.
    pub unexplained: Q,
    /// The unexplained rest with the uncertainty of the measured saving, which enters nowhere else.
    pub rest: Estimate,
    /// The measured saving.
    pub measured: Q,
}

impl Operation {
    /// The promise with the causes of `measured` that are named; what is merged into one comes with it.
    pub fn applied(&self, promised: &Factors, named: impl Fn(Cause) -> bool) -> Factors {
        let merged = |cause: Cause| self.merged.iter().any(|(one, _)| *one == cause);
        // A level that is not signalled stands in the draws already: its measured value is the promised one.
        let taken = |cause: Cause| {
            let holder = self.merged.iter().find(|(one, _)| *one == cause).map(|(_, holder)| *holder);
            if merged(cause) { holder.is_some_and(&named) } else { named(cause) }
        };
        let actual = &self.factors;
        let mut factors = *promised;
        for cause in Cause::ALL.into_iter().filter(|cause| taken(*cause)) {
            match cause {
                Cause::Running => factors.curing_h = actual.curing_h,
                Cause::Standby => factors.standby_h = actual.standby_h,
                Cause::Lit => factors.lit = actual.lit,
                Cause::Speed => factors.speed = actual.speed,
                Cause::Level => factors.level = actual.level,
                Cause::NewDraw => factors.new = actual.new,
                Cause::OldDraw => factors.old = actual.old,
                Cause::Shared => factors.shared = actual.shared,
                Cause::Worth => {}
            }
        }
        factors
    }

    /// The bridge of a saving of which each kWh is worth so much, promised and in fact: 1 and 1 for energy.
    ///
    /// The steps are the Shapley values of the formula over its factors (Shorrocks 2013), each the mean of what its
    /// factor adds over all orders in which the factors may be set to their measured values: no order is preferred.
    pub fn bridge<Q: Whole>(&self, promised: &Factors, worth: (f64, f64), measured: Estimate) -> Bridge<Q> {
        let held = |cause: Cause| self.merged.iter().any(|(one, _)| *one == cause);
        let unlike = worth.0.to_bits() != worth.1.to_bits();
        let players: Vec<Cause> =
            Cause::ALL.into_iter().filter(|cause| !held(*cause) && (*cause != Cause::Worth || unlike)).collect();
        let formula = |named: &dyn Fn(Cause) -> bool| {
            let each = if named(Cause::Worth) { worth.1 } else { worth.0 };
            self.applied(promised, named).saving() * each
        };
        let in_set =
            |set: u32, cause: Cause| players.iter().position(|p| *p == cause).is_some_and(|k| set >> k & 1 == 1);
        let values = shapley::values(players.len(), |set| formula(&|cause| in_set(set, cause)));
        let steps: Vec<Step<Q>> = players
            .iter()
            .zip(values.expect("nine causes are fewer than sixteen"))
            .map(|(cause, amount)| Step {
                cause: *cause,
                with: self.merged.iter().filter(|(_, holder)| holder == cause).map(|(one, _)| *one).collect(),
                amount: Q::nearest(amount),
            })
            .collect();
        let all = formula(&|_| true);
        let (from, to) = (Q::nearest(formula(&|_| false)), Q::nearest(measured.value));
        let explained: Q = steps.iter().map(|step| step.amount).sum();
        Bridge {
            promised: from,
            unexplained: to - from - explained,
            rest: Estimate { value: measured.value - all, ..measured },
            steps,
            measured: to,
        }
    }
}

impl<Q: Whole> Bridge<Q> {
    /// Several bridges as one, step by step: Shapley values of a sum are the sums of the values.
    pub fn sum(bridges: &[Self]) -> Option<Self> {
        let total = |of: &dyn Fn(&Self) -> Q| -> Q { bridges.iter().map(of).sum() };
        let step = |cause: Cause| -> Option<Step<Q>> {
            let all: Vec<&Step<Q>> = bridges.iter().flat_map(|b| &b.steps).filter(|step| step.cause == cause).collect();
            let mut with: Vec<Cause> = all.iter().flat_map(|step| &step.with).copied().collect();
            with.sort();
            with.dedup();
            (!all.is_empty()).then(|| Step { cause, with, amount: all.iter().map(|step| step.amount).sum() })
        };
        (!bridges.is_empty()).then(|| Self {
            promised: total(&|b| b.promised),
            steps: Cause::ALL.into_iter().filter_map(step).collect(),
            unexplained: total(&|b| b.unexplained),
            rest: bridges.iter().map(|b| b.rest).sum(),
            measured: total(&|b| b.measured),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plant::LampKind;
    use crate::verify::factors::{Draw, Levels};
    use crate::verify::operation;
    use crate::verify::operation::tests::{day, promised};
    use proptest::prelude::*;

    fn factors(x: &[f64; 13]) -> Factors {
        Factors {
            hours: 2_000.0,
            stations: 10.0,
            curing_h: x[0],
            standby_h: x[1],
            lit: x[2],
            level: Levels { old: x[3], new: x[4] },
            old: Draw { full: x[5], standby: x[6], off: x[7] },
            new: Draw { full: x[8], standby: x[9], off: x[10] },
            shared: x[11],
            speed: x[12],
        }
    }

    fn any_factors() -> impl Strategy<Value = Factors> {
        let level = || 0.3..1.0_f64;
        let watts = |most: f64| 0.0..most;
        (
            (100.0..800.0_f64, 0.0..300.0_f64, 1.0..10.0_f64, level(), level()),
            (watts(6_000.0), watts(2_500.0), watts(60.0)),
            (watts(3_000.0), watts(60.0), watts(60.0), -500.0..500.0_f64, 0.7..1.4_f64),
        )
            .prop_map(|((a, b, c, d, e), (f, g, h), (i, j, k, l, m))| factors(&[a, b, c, d, e, f, g, h, i, j, k, l, m]))
    }

    fn bridged<Q: Whole>(promised: &Factors, actual: Factors, worth: (f64, f64), value: f64) -> Bridge<Q> {
        let operation = Operation { factors: actual, merged: Vec::new() };
        operation.bridge(promised, worth, Estimate { value, se: 1.0, df: 300.0 })
    }

    /// Eight lamps of 8 kW for 4,000 h become eight of 3 kW for 3,600 h: draw -152,000, hours -17,600, number 0 (own
    /// computation of the Shapley values, 50 digits). Here with the signs of a saving and the old lamps' draw moved.
    #[test]
    fn the_steps_are_the_shapley_values_of_the_formula() {
        let promised = factors(&[400.0, 0.0, 8.0, 1.0, 1.0, 8_000.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0]);
        let actual = factors(&[360.0, 0.0, 8.0, 1.0, 1.0, 3_000.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0]);
        let bridge: Bridge<Energy> = bridged(&promised, actual, (1.0, 1.0), 8_640.0);
        let kwh: Vec<f64> = bridge.steps.iter().map(|step| step.amount.kwh()).collect();
        assert_eq!(kwh, [-1_760.0, 0.0, 0.0, 0.0, 0.0, 0.0, -15_200.0, 0.0]);
        assert_eq!((bridge.promised.kwh(), bridge.unexplained), (25_600.0, Energy::ZERO));
    }

    #[test]
    fn what_is_merged_comes_with_its_neighbour_and_says_so() {
        let (before, mut after) =
            ([day(LampKind::Arc, [5_000, 1_900, 14], 20)], [day(LampKind::Led, [1_900, 30, 26], 0)]);
        after[0].drivers.clear();
        let promised = promised(24.0);
        let operation = operation(&promised, &before, &after).expect("told");
        let bridge: Bridge<Energy> = operation.bridge(&promised, (1.0, 1.0), Estimate::known(100.0));
        let steps: Vec<(Cause, &[Cause])> = bridge.steps.iter().map(|step| (step.cause, &step.with[..])).collect();
        assert_eq!(
            steps,
            [
                (Cause::Running, &[Cause::Lit, Cause::Speed][..]),
                (Cause::Standby, &[]),
                (Cause::NewDraw, &[Cause::Level]),
                (Cause::OldDraw, &[Cause::Level]),
                (Cause::Shared, &[]),
            ]
        );
    }

    proptest! {
        // Every order of eight factors is a good deal of work.
        #![proptest_config(ProptestConfig::with_cases(32))]

        #[test]
        fn a_bridge_closes_to_the_unit_in_energy_money_and_carbon(
            (promised, actual) in (any_factors(), any_factors()),
            value in -1e5..1e5_f64,
            worth in (0.05..0.5_f64, 0.05..0.5_f64),
        ) {
            fn closes<Q: Whole + PartialEq + std::fmt::Debug>(bridge: &Bridge<Q>, value: f64) -> Q {
                let steps: Q = bridge.steps.iter().map(|step| step.amount).sum();
                assert_eq!(bridge.promised + steps + bridge.unexplained, bridge.measured);
                assert_eq!(bridge.measured, Q::nearest(value));
                bridge.unexplained - Q::nearest(bridge.rest.value)
            }
            let energy = closes::<Energy>(&bridged(&promised, actual, (1.0, 1.0), value), value);
            let money = closes::<Money>(&bridged(&promised, actual, worth, value), value);
            let carbon = closes::<Co2e>(&bridged(&promised, actual, worth, value), value);
            prop_assert!(energy.mwh().abs() <= 8 && money.micros().abs() <= 8 && carbon.mg().abs() <= 8);
        }

        #[test]
        fn a_factor_that_did_not_change_has_no_step(promised in any_factors(), actual in any_factors()) {
            let mut actual = actual;
            (actual.curing_h, actual.new, actual.shared) = (promised.curing_h, promised.new, promised.shared);
            let bridge: Bridge<Energy> = bridged(&promised, actual, (1.0, 1.0), 0.0);
            for step in bridge.steps {
                if [Cause::Running, Cause::NewDraw, Cause::Shared].contains(&step.cause) {
                    prop_assert_eq!(step.amount, Energy::ZERO);
                }
            }
        }

        /// Setting the factors one after the other gives each a step that depends on the order; the mean over all orders
        /// does not, and it is the bridge's.
        #[test]
        fn no_order_of_the_factors_is_preferred(promised in any_factors(), actual in any_factors()) {
            let operation = Operation { factors: actual, merged: Vec::new() };
            let causes = &Cause::ALL[..8];
            let mut sums = [0.0; 8];
            let mut orders = 0.0;
            let mut order: Vec<usize> = (0..8).collect();
            each_order(&mut order, 0, &mut |order| {
                let mut set = Vec::new();
                for k in order {
                    let before = operation.applied(&promised, |cause| set.contains(&cause)).saving();
                    set.push(causes[*k]);
                    sums[*k] += operation.applied(&promised, |cause| set.contains(&cause)).saving() - before;
                }
                orders += 1.0;
            });
            let bridge: Bridge<Energy> = operation.bridge(&promised, (1.0, 1.0), Estimate::known(0.0));
            for (step, sum) in bridge.steps.iter().zip(sums) {
                prop_assert!((step.amount.kwh() - sum / orders).abs() < 2e-6, "{:?} {}", step, sum / orders);
            }
        }
    }

    fn each_order(order: &mut Vec<usize>, from: usize, seen: &mut impl FnMut(&[usize])) {
        if from == order.len() {
            return seen(order);
        }
        for k in from..order.len() {
            order.swap(from, k);
            each_order(order, from + 1, seen);
            order.swap(from, k);
        }
    }
}
