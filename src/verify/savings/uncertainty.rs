//! The model's part of the uncertainty, by the five formulas.

use crate::stats::ar1;
use crate::stats::savings_uncertainty::{self as formula, counted};
use crate::verify::baseline::{Fitted, Frozen, Points, Refused};

/// Standard uncertainties in kWh; E is the headline.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Formulas {
    /// Uncorrelated residuals, with 1.26.
    pub a: Option<f64>,
    /// Autocorrelated residuals, with 1.26 and n'.
    pub b: Option<f64>,
    /// The polynomial in place of 1.26.
    pub c: Option<f64>,
    /// Exact for independent errors.
    pub d: f64,
    /// Exact for errors that carry over from day to day.
    pub e: f64,
    /// How many independent points the baseline's are worth.
    pub effective: f64,
    /// Variance of the summed prediction, in units of RMSE squared, for independent errors.
    pub parameter_term: f64,
    /// The same for errors that carry over.
    pub carried_term: f64,
    /// Variance of the sum of the reporting errors, likewise.
    pub noise_term: f64,
}

impl Formulas {
    /// All five over the points of a reporting period, of which `expected` kWh are expected.
    pub fn of(frozen: &Frozen, points: &Points, expected: f64) -> Result<Self, Refused> {
        let (model, design, m) = (&frozen.model, points.design()?, points.len());
        let rho = counted(frozen.rho);
        let parameter_term = model.parameter_term(&design)?;
        let carried_term = model.autocorrelated_term(&design, &frozen.cross)?;
        let noise_term = ar1::variance_of_total(&points.numbers(), rho);
        Ok(Self {
            a: formula::uncorrelated(model, expected, m),
            b: formula::autocorrelated(model, rho, expected, m),
            c: formula::polynomial(model, rho, frozen.form.interval, points.months, m),
            d: formula::independent(model, m, parameter_term),
            e: formula::exact(model, carried_term, noise_term),
            effective: formula::effective_points(model.points, rho),
            parameter_term,
            carried_term,
            noise_term,
        })
    }

    /// Each by its letter.
    pub fn each(&self) -> [(char, Option<f64>); 5] {
        [('A', self.a), ('B', self.b), ('C', self.c), ('D', Some(self.d)), ('E', Some(self.e))]
    }
}

/// Formula E of a fit over other points.
pub fn exact(fitted: &Fitted, points: &Points) -> Option<f64> {
    let (own, design) = (fitted.points.design().ok()?, points.design().ok()?);
    let rho = counted(fitted.rho);
    let cross = ar1::cross_product(&own.values(), &fitted.points.numbers(), rho);
    let carried = fitted.fit.model.autocorrelated_term(&design, &cross).ok()?;
    Some(formula::exact(&fitted.fit.model, carried, ar1::variance_of_total(&points.numbers(), rho)))
}
