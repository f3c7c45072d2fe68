//! A fitted model as a frozen baseline keeps it, and what it says about other points.
//!
//! A frozen baseline keeps all fields of [`Model`]; for savings of autocorrelated days also rho and X' R X
//! ([`super::ar1::cross_product`] of its own days). With these numbers, and without its points, every later prediction
//! and its uncertainty come out as on the day of the fit.

use super::design::{Design, Refusal};
use super::student;

/// One term of a model.
#[derive(Clone, Debug, PartialEq)]
pub struct Term {
    /// Name of its driver, or `constant`.
    pub name: String,
    /// Its coefficient.
    pub coefficient: f64,
    /// Standard error of the coefficient: RMSE √((X'X)⁻¹_jj).
    pub se: f64,
}

impl Term {
    /// Coefficient over its standard error; `None` where that is zero.
    pub fn t(&self) -> Option<f64> {
        (self.se > 0.0).then(|| self.coefficient / self.se)
    }
}

/// Coefficients with what is needed for their uncertainty.
#[derive(Clone, Debug, PartialEq)]
pub struct Model {
    /// Its terms in the order of the design; a constant is the first.
    pub terms: Vec<Term>,
    /// Whether it has a constant.
    pub constant: bool,
    /// (X'X)⁻¹ in the order of the terms.
    pub inverse: Vec<Vec<f64>>,
    /// Number of points n.
    pub points: usize,
    /// Root mean square error √(SSE / (n - p)).
    pub rmse: f64,
    /// Mean of what was explained.
    pub mean: f64,
}

impl Model {
    /// Number of fitted terms p, the constant among them.
    pub fn parameters(&self) -> usize {
        self.terms.len()
    }

    /// Degrees of freedom n - p.
    pub fn freedom(&self) -> f64 {
        (self.points - self.parameters()) as f64
    }

    /// CV(RMSE), as a fraction: RMSE with n - p over the mean; `None` where the mean is zero.
    pub fn cv(&self) -> Option<f64> {
        (self.mean != 0.0).then(|| self.rmse / self.mean)
    }

    /// Two-sided p value of a term.
    pub fn p_value(&self, term: &Term) -> Option<f64> {
        student::p_value(term.t()?, self.freedom())
    }

    /// What the model expects at each point of a design with its columns.
    pub fn predict(&self, rows: &Design) -> Result<Vec<f64>, Refusal> {
        let values = self.columns(rows)?;
        Ok((0..rows.rows())
            .map(|i| self.terms.iter().zip(&values).map(|(term, x)| term.coefficient * x[i]).sum())
            .collect())
    }

    /// x'(X'X)⁻¹x of each point: above the largest leverage of the fit it lies outside the joint range of the drivers.
    pub fn leverage(&self, rows: &Design) -> Result<Vec<f64>, Refusal> {
        let values = self.columns(rows)?;
        Ok((0..rows.rows())
            .map(|i| {
                let x: Vec<f64> = values.iter().map(|column| column[i]).collect();
                form(&x, &self.inverse, &x)
            })
            .collect())
    }

    /// q = 1'X_r (X'X)⁻¹ X_r'1: variance of the summed prediction, in units of RMSE², for independent errors.
    pub fn parameter_term(&self, rows: &Design) -> Result<f64, Refusal> {
        let total = self.total(rows)?;
        Ok(form(&total, &self.inverse, &total))
    }

    /// a'R a with a = X (X'X)⁻¹ X_r'1: the same where the errors of the fit carry over from day to day.
    ///
    /// It equals g'(X'R X)g with g = (X'X)⁻¹ X_r'1, so the points of the fit are not needed; `cross` is X'R X.
    pub fn autocorrelated_term(&self, rows: &Design, cross: &[Vec<f64>]) -> Result<f64, Refusal> {
        let total = self.total(rows)?;
        let g: Vec<f64> = self.inverse.iter().map(|row| dot(row, &total)).collect();
        Ok(form(&g, cross, &g))
    }

    /// X_r'1: the columns summed over the rows.
    fn total(&self, rows: &Design) -> Result<Vec<f64>, Refusal> {
        Ok(self.columns(rows)?.iter().map(|column| column.iter().sum()).collect())
    }

    fn columns<'a>(&self, rows: &'a Design) -> Result<Vec<&'a [f64]>, Refusal> {
        let expected: Vec<String> = self.terms.iter().map(|term| term.name.clone()).collect();
        let found = rows.names();
        if expected != found {
            return Err(Refusal::OtherColumns { expected, found });
        }
        Ok(rows.values())
    }
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

/// x' M y.
fn form(x: &[f64], matrix: &[Vec<f64>], y: &[f64]) -> f64 {
    x.iter().zip(matrix).map(|(v, row)| v * dot(row, y)).sum()
}
