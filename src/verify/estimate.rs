//! A value with its uncertainty. No figure of a saving goes without one.

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

/// A value with its standard uncertainty.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate {
    /// The best value.
    pub value: f64,
    /// Its standard uncertainty, in the same unit.
    pub se: f64,
    /// Degrees of freedom of the standard uncertainty; infinite where it is taken as known.
    pub df: f64,
}
