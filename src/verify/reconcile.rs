//! Promised, promise at actual operation, measured: the two rates of a saving, never mixed.

use super::{Cause, Estimate, Factors, Operation};

/// What came of a promise in the time covered. Energies are kWh.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reconciled {
    /// The promise pro rata for the days covered.
    pub promised: f64,
    /// The promised equipment at the operation that took place: hours, stations lit and level as measured.
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
    /// Several presses as one; the parts are independent. `None` for none.
    pub fn sum(parts: &[Self]) -> Option<Self> {
        let total = |of: fn(&Self) -> f64| parts.iter().map(of).sum::<f64>();
        let measured = Estimate {
            value: total(|p| p.measured.value),
            se: total(|p| p.measured.se.powi(2)).sqrt(),
            df: parts.iter().map(|p| p.measured.df).fold(f64::INFINITY, f64::min),
        };
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
