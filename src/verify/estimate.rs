//! A value with its uncertainty. No figure of a saving goes without one.

use crate::stats::{gum, student};
use std::iter::Sum;

/// How sure an interval is meant to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Confidence {
    /// About one standard error; some protocols judge at it.
    P68,
    /// The level of every verdict here.
    P90,
    /// For readers used to it.
    P95,
}

impl Confidence {
    /// All levels, narrowest first.
    pub const ALL: [Self; 3] = [Self::P68, Self::P90, Self::P95];

    /// Two-sided coverage.
    pub const fn coverage(self) -> f64 {
        match self {
            Self::P68 => 0.68,
            Self::P90 => 0.90,
            Self::P95 => 0.95,
        }
    }
}

/// A value with its standard uncertainty. An interval is two-sided, by Student's t.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate {
    /// The best value.
    pub value: f64,
    /// Its standard uncertainty, in the same unit.
    pub se: f64,
    /// Degrees of freedom of the standard uncertainty; infinite where it is taken as known.
    pub df: f64,
}

impl Estimate {
    /// A value that is taken as known.
    pub const fn known(value: f64) -> Self {
        Self { value, se: 0.0, df: f64::INFINITY }
    }

    /// What is known within so much on either side, two-sided at 90 %, as half-widths are recorded everywhere here.
    pub fn within(value: f64, half_width: f64) -> Self {
        let one = Self { value, se: 1.0, df: f64::INFINITY };
        Self { se: half_width.abs() / one.half_width(Confidence::P90), ..one }
    }

    /// Half the width of the interval.
    pub fn half_width(self, confidence: Confidence) -> f64 {
        student::two_sided(confidence.coverage(), self.df).map_or(f64::INFINITY, |t| t * self.se)
    }

    /// The interval, lower end first.
    pub fn interval(self, confidence: Confidence) -> (f64, f64) {
        let half = self.half_width(confidence);
        (self.value - half, self.value + half)
    }

    /// The estimate times a number that is known.
    pub fn times(self, factor: f64) -> Self {
        Self { value: self.value * factor, se: self.se * factor.abs(), ..self }
    }

    /// The estimate plus a number that is known.
    pub fn plus(self, known: f64) -> Self {
        Self { value: self.value + known, ..self }
    }
}

/// Independent estimates add up: their errors by squares, as sure as the least sure of them.
impl Sum for Estimate {
    fn sum<I: Iterator<Item = Self>>(all: I) -> Self {
        all.fold(Self::known(0.0), |sum, each| Self {
            value: sum.value + each.value,
            se: gum::combined([sum.se, each.se]),
            df: sum.df.min(each.df),
        })
    }
}
