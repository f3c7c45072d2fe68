//! Change-point models: energy that depends on outdoor temperature only below or above some temperature.
//!
//! Forms and names as in Kissock, Haberl and Claridge (2003), Inverse Modeling Toolkit, ASHRAE RP-1050.

mod search;

use super::design::{self, Column, Design, Refusal};
use super::least_squares::{self, Fit};
use search::Search;

/// Another term is taken only if it lowers BIC by more than this (Raftery 1995: positive evidence).
const WORTH_A_TERM: f64 = 2.0;

/// A form of dependence on temperature x; a change point counts as a parameter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Form {
    /// 1P: no dependence.
    Mean,
    /// 2P: a line.
    Line,
    /// 3P cooling: b₁ max(0, x - k).
    Cooling,
    /// 3P heating: b₁ max(0, k - x).
    Heating,
    /// 4P: b₁ min(0, x - k) + b₂ max(0, x - k).
    Both,
    /// 5P: b₁ max(0, k₁ - x) + b₂ max(0, x - k₂), k₁ < k₂.
    Between,
}

impl Form {
    /// All forms, the simpler first.
    pub const ALL: [Self; 6] = [Self::Mean, Self::Line, Self::Cooling, Self::Heating, Self::Both, Self::Between];

    /// Its usual name.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Mean => "1P",
            Self::Line => "2P",
            Self::Cooling => "3P cooling",
            Self::Heating => "3P heating",
            Self::Both => "4P",
            Self::Between => "5P",
        }
    }

    /// How many change points it has.
    pub const fn knots(self) -> usize {
        match self {
            Self::Mean | Self::Line => 0,
            Self::Cooling | Self::Heating | Self::Both => 1,
            Self::Between => 2,
        }
    }

    /// The drivers that it makes of temperatures with known change points: for a fit, and later for other days.
    ///
    /// `knots` are as many as [`Form::knots`] says, ascending.
    pub fn columns(self, temperature: &[f64], knots: &[f64]) -> Vec<Column> {
        let column =
            |name: &str, of: &dyn Fn(f64) -> f64| Column::new(name, temperature.iter().map(|x| of(*x)).collect());
        let above = |k: f64| column("temperature above", &|x| (x - k).max(0.0));
        let below = |k: f64| column("temperature below", &|x| (k - x).max(0.0));
        match (self, knots) {
            (Self::Line, _) => vec![column("temperature", &|x| x)],
            (Self::Cooling, [k]) => vec![above(*k)],
            (Self::Heating, [k]) => vec![below(*k)],
            (Self::Both, [k]) => vec![column("temperature up to", &|x| (x - k).min(0.0)), above(*k)],
            (Self::Between, [low, high]) => vec![below(*low), above(*high)],
            _ => Vec::new(),
        }
    }
}

/// The best fit of a form.
#[derive(Clone, Debug, PartialEq)]
pub struct ChangePoint {
    /// The form.
    pub form: Form,
    /// Change points, ascending.
    pub knots: Vec<f64>,
    /// The fit with these change points: constant, terms of temperature, other drivers. Its standard errors take the
    /// change points as known, and its RMSE does not count them.
    pub fit: Fit,
    /// n ln(SSE / n) + p ln n, the change points among the p parameters (Schwarz 1978).
    pub bic: f64,
}

impl ChangePoint {
    /// Number of parameters, the change points among them.
    pub fn parameters(&self) -> usize {
        self.fit.model.parameters() + self.knots.len()
    }

    /// √(SSE / (n - p)), the change points among the p parameters; `None` where no degree of freedom is left.
    pub fn rmse(&self) -> Option<f64> {
        let left = self.fit.residuals.len().checked_sub(self.parameters()).filter(|left| *left > 0)?;
        Some((self.fit.sse / left as f64).sqrt())
    }

    /// Whether energy rises away from the change points, as heating and cooling do.
    fn rises_outwards(&self) -> bool {
        let slopes = || self.fit.model.terms.iter().filter(|term| term.name.starts_with("temperature"));
        match self.form {
            Form::Cooling | Form::Heating | Form::Between => slopes().all(|term| term.coefficient > 0.0),
            Form::Mean | Form::Line | Form::Both => true,
        }
    }
}

/// The best fit of a form to energy over temperature and any other drivers.
///
/// With change points given, a fit is linear; between two neighbouring temperatures the best change point is where the
/// pieces meet that fit best without having to meet, or it is one of the two temperatures (Hudson 1966). So all
/// candidates are tried: no start value, no tolerance. Refused as by [`super::fit`], and where temperatures are too few.
pub fn fit(form: Form, temperature: &[f64], energy: &[f64], drivers: &[Column]) -> Result<ChangePoint, Refusal> {
    design::check("temperature", temperature, energy.len())?;
    // What is wrong with the rest shows without temperature, under its own name.
    least_squares::fit(&Design::with_constant(energy.len(), drivers.to_vec())?, energy)?;
    let search = Search::new(form, temperature, energy, drivers);
    let knots = search.knots()?;
    let fit = least_squares::fit(&search.design(&knots)?, energy)?;
    let (n, p) = (energy.len() as f64, (fit.model.parameters() + knots.len()) as f64);
    Ok(ChangePoint { form, knots, bic: n * (fit.sse / n).ln() + p * n.ln(), fit })
}

/// The form to propose: one with more parameters only if it lowers BIC by more than 2, none whose slopes have the wrong sign.
pub fn choose(fits: &[ChangePoint]) -> Option<&ChangePoint> {
    let mut usable: Vec<&ChangePoint> = fits.iter().filter(|fit| fit.rises_outwards()).collect();
    usable.sort_by_key(|fit| fit.parameters());
    usable.into_iter().reduce(|kept, next| {
        let needed = if next.parameters() > kept.parameters() { WORTH_A_TERM } else { 0.0 };
        if next.bic < kept.bic - needed { next } else { kept }
    })
}
