//! Promised, promise at actual operation, measured: the two rates of a saving, never mixed.

use super::{Cause, Estimate, Factors, Operation};

/// What came of a promise in the time covered. Energies are kWh.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reconciled {
    /// The promise pro rata for the days covered.
    pub promised: f64,
    /// The promised equipment at the operation that took place: hours, stations lit, speed and level as measured.
    pub at_operation: f64,
    /// The formula at all measured factors.
    pub explained: f64,
    /// What the meters say.
    pub measured: Estimate,
    /// Measured over promise at operation: what the supplier answers for. `None` where that promise saves nothing.
    pub performance: Option<Estimate>,
    /// Measured over promised: what finance sees.
    pub outcome: Option<Estimate>,
}

/// Holds the measured saving against the promise, both for the same days.
pub fn reconcile(promised: &Factors, operation: &Operation, measured: Estimate) -> Reconciled {
    let at_operation = operation.applied(promised, Cause::is_operation).saving();
    Reconciled {
        promised: promised.saving(),
        at_operation,
        explained: operation.factors.saving(),
        measured,
        performance: over(measured, at_operation),
        outcome: over(measured, promised.saving()),
    }
}

/// A promise is a number that somebody wrote down: it carries no uncertainty of its own.
fn over(measured: Estimate, promised: f64) -> Option<Estimate> {
    (promised > 0.0).then(|| measured.times(1.0 / promised))
}

impl Reconciled {
    /// What no operation explains: promised and measured alone.
    pub fn plain(promised: f64, measured: Estimate) -> Self {
        Self {
            promised,
            at_operation: promised,
            explained: measured.value,
            measured,
            performance: over(measured, promised),
            outcome: over(measured, promised),
        }
    }

    /// Several presses as one; the parts are independent. `None` for none.
    pub fn sum(parts: &[Self]) -> Option<Self> {
        let total = |of: fn(&Self) -> f64| parts.iter().map(of).sum::<f64>();
        let measured: Estimate = parts.iter().map(|p| p.measured).sum();
        let (promised, at_operation) = (total(|p| p.promised), total(|p| p.at_operation));
        (!parts.is_empty()).then(|| Self {
            promised,
            at_operation,
            explained: total(|p| p.explained),
            measured,
            performance: over(measured, at_operation),
            outcome: over(measured, promised),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{Co2e, Energy};
    use crate::verify::factors::{Draw, Levels};
    use crate::verify::{Bridge, Confidence};

    /// Ten lamps: 400 h x 7 lit x (5,600 - 2,120) W = 9,744 kWh promised.
    fn promised() -> Factors {
        Factors {
            hours: 2_000.0,
            stations: 10.0,
            curing_h: 400.0,
            standby_h: 0.0,
            lit: 7.0,
            speed: 1.0,
            level: Levels { old: 1.0, new: 1.0 },
            old: Draw { full: 5_600.0, ..Draw::default() },
            new: Draw { full: 2_120.0, ..Draw::default() },
            shared: 0.0,
        }
    }

    fn operated(factors: Factors) -> Operation {
        Operation { factors, merged: Vec::new() }
    }

    /// 300 h x 6 lit x 3,480 W = 6,264 kWh is what that equipment promised for what was run; 5,950.8 measured are 95 % of
    /// it and 61 % of 9,744. The new lamps draw 2,320 W: 300 x 6 x 3,280 W = 5,904 kWh explained.
    #[test]
    fn few_hours_are_not_the_suppliers_and_a_higher_draw_is() {
        let draw = Draw { full: 2_320.0, ..Draw::default() };
        let operation = operated(Factors { curing_h: 300.0, lit: 6.0, new: draw, ..promised() });
        let measured = Estimate { value: 5_950.8, se: 100.0, df: 300.0 };
        let found = reconcile(&promised(), &operation, measured);
        assert_eq!((found.promised, found.at_operation, found.explained), (9_744.0, 6_264.0, 5_904.0));
        let (performance, outcome) = (found.performance.expect("a rate"), found.outcome.expect("a rate"));
        assert!((performance.value - 0.95).abs() < 1e-12 && (outcome.value - 5_950.8 / 9_744.0).abs() < 1e-12);
        // t(90 %, 300) = z + (z^3 + z) / 1200 + ... = 1.649949 (Cornish and Fisher): x 100 / 6,264 = 0.02634.
        assert!((performance.half_width(Confidence::P90) - 0.02634).abs() < 5e-6);
        let bridge: Bridge<Energy> = operation.bridge(&promised(), (1.0, 1.0), measured);
        // 5,950.8 - 5,904, and what rounding the steps leaves over.
        assert!((bridge.unexplained.mwh() - 46_800_000).abs() <= 4);
        assert_eq!((bridge.rest.se, bridge.measured), (100.0, Energy::from_wh(5_950_800)));
    }

    #[test]
    fn a_promise_of_nothing_has_no_rate() {
        let nothing = Factors { new: promised().old, ..promised() };
        let found = reconcile(&nothing, &operated(nothing), Estimate::known(5.0));
        assert_eq!((found.performance, found.outcome), (None, None));
    }

    /// A grid factor that falls by a quarter takes a quarter of the avoided carbon, and is a step of its own.
    #[test]
    fn a_falling_grid_factor_is_nobodys_retrofit() {
        let measured = Estimate::known(9_744.0 * 0.15);
        let bridge: Bridge<Co2e> = operated(promised()).bridge(&promised(), (0.2, 0.15), measured);
        let kg: Vec<(Cause, f64)> = bridge.steps.iter().map(|step| (step.cause, step.amount.kg())).collect();
        assert_eq!(kg.iter().filter(|(_, kg)| *kg != 0.0).collect::<Vec<_>>(), [&(Cause::Worth, -487.2)]);
        assert_eq!(bridge.unexplained, Co2e::ZERO);
    }

    #[test]
    fn presses_add_up_and_their_errors_by_squares() {
        let one = |se| reconcile(&promised(), &operated(promised()), Estimate { value: 9_744.0, se, df: 50.0 });
        let both = Reconciled::sum(&[one(30.0), one(40.0)]).expect("two");
        assert_eq!((both.promised, both.measured.se, both.outcome.map(|rate| rate.value)), (19_488.0, 50.0, Some(1.0)));
        assert_eq!(Reconciled::sum(&[]), None);
    }
}
