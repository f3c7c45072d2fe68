//! How sure an avoided energy is: five formulas for the model's part of its standard uncertainty, in kWh.
//!
//! Choices that the literature leaves open, made here once and for all five:
//! - a half-width is t times the standard uncertainty, t two-sided with n - p degrees of freedom ([`half_width`]);
//! - CV(RMSE) is RMSE with n - p over the baseline's mean, and scales with the adjusted baseline of the reporting period
//!   in A and B; the fractional savings uncertainty is the half-width over the saving;
//! - rho is the sum form over consecutive days ([`super::diagnose::lag1`]); a negative rho counts as none, so n' is never
//!   above n and no credit is taken;
//! - B inflates SSE / (n - p) by n / n'; C uses SSE / (n' - p).
//!
//! On daily data with rho = 0.35 the nominal 90 % of A, B, C, D and E cover 82, 94, 90, 75 and 89 % (own simulation, 20,000
//! runs): E is the headline, B the cautious textbook value beside it, D alone is never shown on daily data.

use super::model::Model;
use super::student;

/// The half-width at a confidence such as 0.90: t times the standard uncertainty, with n - p degrees of freedom.
pub fn half_width(standard: f64, confidence: f64, model: &Model) -> Option<f64> {
    Some(student::two_sided(confidence, model.freedom())? * standard)
}

/// The rho that counts: none where it is negative.
pub fn counted(rho: f64) -> f64 {
    rho.max(0.0)
}

/// n' = n (1 - rho) / (1 + rho): how many independent points n autocorrelated ones are worth; n where rho is negative.
/// As in ASHRAE Guideline 14 and Reddy and Claridge (2000); from memory.
pub fn effective_points(points: usize, rho: f64) -> f64 {
    let rho = counted(rho);
    points as f64 * (1.0 - rho) / (1.0 + rho)
}

/// A: 1.26 CV adjusted √((1 + 2/n) / m), for residuals without autocorrelation, such as monthly ones.
/// Reddy and Claridge, HVAC&R Research 6(1), 2000, and ASHRAE Guideline 14; from memory.
///
/// `adjusted` is the baseline expectation over the m reporting points. `None` without points or where the mean is zero.
pub fn uncorrelated(model: &Model, adjusted: f64, rows: usize) -> Option<f64> {
    let n = model.points as f64;
    (rows > 0).then_some(1.26 * model.cv()? * adjusted.abs() * ((1.0 + 2.0 / n) / rows as f64).sqrt())
}

/// B: A with n/n' (1 + 2/n') in place of 1 + 2/n, for autocorrelated daily or hourly residuals. Same source.
pub fn autocorrelated(model: &Model, rho: f64, adjusted: f64, rows: usize) -> Option<f64> {
    let (n, effective) = (model.points as f64, effective_points(model.points, rho));
    let factor = n / effective * (1.0 + 2.0 / effective);
    let standard = 1.26 * model.cv()? * adjusted.abs() * (factor / rows as f64).sqrt();
    standard.is_finite().then_some(standard)
}

/// The interval of a model's points, which chooses the coefficients of C.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Interval {
    /// One point a day.
    Daily,
    /// One point a month.
    Monthly,
}

impl Interval {
    /// Both.
    pub const ALL: [Self; 2] = [Self::Daily, Self::Monthly];

    /// The word in files.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Daily => "daily",
            Self::Monthly => "monthly",
        }
    }

    /// The interval of that word.
    pub fn parse(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|interval| interval.word() == word)
    }

    /// What a point holds: a day or a month.
    pub const fn unit(self) -> &'static str {
        match self {
            Self::Daily => "day",
            Self::Monthly => "month",
        }
    }

    /// Several of them.
    pub const fn units(self) -> &'static str {
        match self {
            Self::Daily => "days",
            Self::Monthly => "months",
        }
    }

    /// a M² + b M + c for M reporting months, in place of 1.26. Sun and Baltazar (2013); the digits from memory.
    pub fn coefficient(self, months: f64) -> f64 {
        let (a, b, c) = match self {
            Self::Daily => (-0.00024, 0.03535, 1.00286),
            Self::Monthly => (-0.00022, 0.03306, 0.94054),
        };
        (a * months + b) * months + c
    }
}

/// C: (a M² + b M + c) √(MSE' (1 + 2/n') m) with MSE' = SSE / (n' - p). Sun and Baltazar, ASHRAE Transactions, 2013.
///
/// `None` for more than the 24 months for which it is stated, and where n' is not above p.
pub fn polynomial(model: &Model, rho: f64, interval: Interval, months: f64, rows: usize) -> Option<f64> {
    let effective = effective_points(model.points, rho);
    let left = effective - model.parameters() as f64;
    if left <= 0.0 || !(months > 0.0 && months <= 24.0) {
        return None;
    }
    let mse = model.rmse.powi(2) * model.freedom() / left;
    Some(interval.coefficient(months) * (mse * (1.0 + 2.0 / effective) * rows as f64).sqrt())
}

/// D: RMSE √(m + q), exact for independent errors; q is [`Model::parameter_term`].
pub fn independent(model: &Model, rows: usize, parameter_term: f64) -> f64 {
    model.rmse * (rows as f64 + parameter_term).sqrt()
}

/// E: RMSE √(a'R_n a + 1'R_m 1), exact for errors that carry over by rho from day to day in both periods.
///
/// `parameter_term` is [`Model::autocorrelated_term`], `noise_term` [`super::ar1::variance_of_total`] of the reporting days;
/// both with the [`counted`] rho. The two periods count as independent: the conversion lies between.
pub fn exact(model: &Model, parameter_term: f64, noise_term: f64) -> f64 {
    model.rmse * (parameter_term + noise_term).sqrt()
}
