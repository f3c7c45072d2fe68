//! Ordinary least squares with the statistics of the fit.

use super::design::{self, Design, Refusal};
use super::factors::Factors;
use super::fisher;
use super::model::{Model, Term};
use nalgebra::DVector;

/// A fitted model with its statistics.
#[derive(Clone, Debug, PartialEq)]
pub struct Fit {
    /// What predicts.
    pub model: Model,
    /// Sum of squared residuals.
    pub sse: f64,
    /// R² about the mean: 1 - SSE / Σ(y - ȳ)². `None` where y does not vary.
    pub r2_centred: Option<f64>,
    /// R² about zero: 1 - SSE / Σy². `None` where y is zero throughout.
    pub r2_uncentred: Option<f64>,
    /// Condition number of X in two norms: largest over smallest singular value.
    pub condition: f64,
    /// The same with each column scaled to length one: above 30 the drivers are collinear (Belsley, Kuh and Welsch 1980).
    pub condition_scaled: f64,
    /// What the model gives at each point.
    pub fitted: Vec<f64>,
    /// Measured less fitted.
    pub residuals: Vec<f64>,
    /// Leverage h_i = x_i'(X'X)⁻¹x_i of each point; they add up to p.
    pub leverage: Vec<f64>,
}

impl Fit {
    /// R²: about the mean where the model has a constant, else about zero (as NIST certifies its sets without constant).
    pub fn r2(&self) -> Option<f64> {
        if self.model.constant { self.r2_centred } else { self.r2_uncentred }
    }

    /// R² adjusted for the number of terms: 1 - (SSE / (n - p)) / (SST / (n - 1)), with n instead of n - 1 without constant.
    pub fn r2_adjusted(&self) -> Option<f64> {
        let total = (self.model.points - usize::from(self.model.constant)) as f64;
        Some(1.0 - (1.0 - self.r2()?) * total / self.model.freedom())
    }

    /// F = (explained / its degrees of freedom) / MSE with both degrees of freedom; `None` for a mean, or an exact fit.
    pub fn f(&self) -> Option<FTest> {
        let upper = (self.model.parameters() - usize::from(self.model.constant)) as f64;
        let lower = self.model.freedom();
        let about = if self.model.constant { self.model.mean } else { 0.0 };
        // Not from R2, which near one has lost the digits of what it leaves.
        let explained: f64 = self.fitted.iter().map(|fitted| (fitted - about).powi(2)).sum();
        let value = explained / upper / (self.sse / lower);
        (self.r2()? < 1.0 && value.is_finite()).then_some(FTest { value, upper, lower })
    }
}

/// An F statistic with its degrees of freedom.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FTest {
    /// The statistic.
    pub value: f64,
    /// Degrees of freedom of what is explained.
    pub upper: f64,
    /// Degrees of freedom of the residuals.
    pub lower: f64,
}

impl FTest {
    /// Probability of so large a value without any dependence.
    pub fn p_value(&self) -> Option<f64> {
        fisher::tail(self.value, self.upper, self.lower)
    }
}

/// Fits y to a design.
///
/// Refused: y of another length or not finite, not more points than terms, a column that the others make up.
pub fn fit(design: &Design, y: &[f64]) -> Result<Fit, Refusal> {
    let (n, p) = (design.rows(), design.columns().len());
    design::check("the measured energy", y, n)?;
    if n <= p {
        return Err(Refusal::TooFew { points: n, terms: p });
    }
    let factors = Factors::of(design)?;
    let measured = DVector::from_column_slice(y);
    let coefficients = factors.solve(&measured);
    let fitted = factors.apply(&coefficients);
    let residuals = &measured - &fitted;
    let sse = residuals.norm_squared();
    let mean = measured.mean();
    let rmse = (sse / (n - p) as f64).sqrt();
    let inverse = factors.inverse();
    let terms = design.names().into_iter().enumerate().map(|(j, name)| Term {
        name,
        coefficient: coefficients[j],
        se: rmse * inverse[(j, j)].sqrt(),
    });
    // What rounding leaves of a y that does not vary is no variation.
    let rounding = 1e-28 * measured.norm_squared();
    let explained = |total: f64| (total > rounding).then(|| 1.0 - sse / total);
    Ok(Fit {
        model: Model {
            terms: terms.collect(),
            constant: design.has_constant(),
            inverse: inverse.row_iter().map(|row| row.iter().copied().collect()).collect(),
            points: n,
            rmse,
            mean,
        },
        sse,
        r2_centred: explained(y.iter().map(|v| (v - mean).powi(2)).sum()),
        r2_uncentred: explained(measured.norm_squared()),
        condition: factors.condition(),
        condition_scaled: factors.condition_scaled(),
        leverage: factors.leverage(),
        fitted: fitted.iter().copied().collect(),
        residuals: residuals.iter().copied().collect(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::Column;

    fn drivers(columns: &[(&str, &[f64])]) -> Vec<Column> {
        columns.iter().map(|(name, values)| Column::new(*name, values.to_vec())).collect()
    }

    const HOURS: [f64; 6] = [16.0, 17.5, 0.0, 8.0, 12.25, 15.0];
    const KWH: [f64; 6] = [950.0, 1_010.0, 200.0, 600.0, 790.0, 900.0];

    #[test]
    fn a_column_that_others_make_up_is_named_with_them() {
        let (early, late) = ([6.0, 7.5, 0.0, 8.0, 2.25, 5.0], [10.0, 10.0, 0.0, 0.0, 10.0, 10.0]);
        let design = Design::with_constant(6, drivers(&[("run_h", &HOURS), ("early_h", &early), ("late_h", &late)]));
        let refusal = fit(&design.unwrap(), &KWH).unwrap_err();
        assert_eq!(refusal.to_string(), "late_h is a combination of run_h, early_h: leave it out");
    }

    #[test]
    fn a_driver_that_does_not_vary_is_a_multiple_of_the_constant() {
        let design = Design::with_constant(6, drivers(&[("stations", &[8.0; 6]), ("run_h", &HOURS)])).unwrap();
        assert_eq!(fit(&design, &KWH).unwrap_err().to_string(), "stations is a multiple of constant: leave it out");
        let design = Design::with_constant(6, drivers(&[("white_h", &[0.0; 6])])).unwrap();
        assert_eq!(fit(&design, &KWH).unwrap_err().to_string(), "white_h is zero at every point: leave it out");
    }

    #[test]
    fn data_that_cannot_be_fitted_are_refused_with_the_reason() {
        let refused = |rows, columns: &[(&str, &[f64])], y: &[f64]| {
            Design::with_constant(rows, drivers(columns)).and_then(|design| fit(&design, y)).unwrap_err().to_string()
        };
        let two = &[("run_h", &HOURS[..2])];
        assert_eq!(refused(2, two, &KWH[..2]), "2 points are too few for 2 terms: at least 3 are needed");
        assert_eq!(refused(0, &[], &[]), "0 points are too few for 1 terms: at least 2 are needed");
        let short = "run_h has 2 values where 6 are expected, one for each point";
        assert_eq!(refused(6, two, &KWH), short);
        let short = "the measured energy has 5 values where 6 are expected, one for each point";
        assert_eq!(refused(6, &[("run_h", &HOURS)], &KWH[..5]), short);
        let mut gap = HOURS;
        gap[3] = f64::NAN;
        assert_eq!(refused(6, &[("run_h", &gap)], &KWH), "run_h has no finite value at point 4");
        let twice: &[(&str, &[f64])] = &[("run_h", &HOURS), ("run_h", &KWH)];
        assert_eq!(refused(6, twice, &KWH), "driver run_h is there twice");
        let none = Design::through_origin(Vec::new()).unwrap_err().to_string();
        assert_eq!(none, "the model has neither a constant nor a driver");
    }

    #[test]
    fn rows_with_other_columns_are_not_predicted() {
        let design = Design::with_constant(6, drivers(&[("run_h", &HOURS)])).unwrap();
        let model = fit(&design, &KWH).unwrap().model;
        let other = Design::through_origin(drivers(&[("web_km", &HOURS)])).unwrap();
        let refusal = model.predict(&other).unwrap_err().to_string();
        assert_eq!(refusal, "the model has the terms constant, run_h, found web_km");
        assert_eq!(model.leverage(&other), Err(model.predict(&other).unwrap_err()));
    }

    #[test]
    fn a_constant_alone_is_the_mean() {
        let found = fit(&Design::with_constant(6, Vec::new()).unwrap(), &KWH).unwrap();
        assert!((found.model.terms[0].coefficient - found.model.mean).abs() < 1e-12);
        assert!(found.r2_centred.unwrap().abs() < 1e-15);
        assert_eq!(found.f(), None);
        assert_eq!((found.condition, found.condition_scaled), (1.0, 1.0));
    }

    #[test]
    fn what_does_not_vary_has_no_r2() {
        let found = fit(&Design::with_constant(6, drivers(&[("run_h", &HOURS)])).unwrap(), &[0.1; 6]).unwrap();
        assert_eq!((found.r2(), found.r2_adjusted(), found.f()), (None, None, None));
        assert!(found.r2_uncentred.unwrap() > 0.999_999);
    }

    #[test]
    fn leverages_add_up_to_the_number_of_terms() {
        let design = Design::with_constant(6, drivers(&[("run_h", &HOURS)])).unwrap();
        let found = fit(&design, &KWH).unwrap();
        assert!((found.leverage.iter().sum::<f64>() - 2.0).abs() < 1e-12);
        let again = found.model.leverage(&design).unwrap();
        assert!(again.iter().zip(&found.leverage).all(|(a, b)| (a - b).abs() < 1e-12));
    }
}
