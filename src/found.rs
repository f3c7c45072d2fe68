//! A value with the remarks about the data it came from. Poor data are said beside a result, never instead of it.

use crate::time::Period;

/// What kind of remark an issue is. Closed, so that a report can group and word them.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Remark {
    /// Energy that cannot be known: the register was reset, jumped or was not read.
    EnergyLost,
    /// The register went back to zero at its modulus; the energy is known.
    RolledOver,
    /// The register started anew; only a lower bound is known and it is not counted.
    Reset,
    /// A reading that no load of this size can explain; it is set aside.
    Implausible,
    /// Sources of equal rank state different values; none is used.
    Contested,
    /// No readings for a time; the amount is known where a register bridges it.
    Gap,
    /// The register's steps are too coarse to part the states within a slice.
    CoarseSteps,
    /// Sub-meters together exceed the meter above them.
    NegativeRest,
    /// Two runs overlap on a press, or a run has no end.
    RunConflict,
    /// The web moved without a job, or a job ran without the web moving.
    JobCoverage,
    /// Nobody said which lamp is fitted, or no signal and no band gives the state.
    StateUnknown,
    /// The clock was set, or a day overlaps itself.
    Clock,
    /// A factor or price that the period needs is missing or does not fit it.
    Basis,
    /// Much of the plant's energy is behind no meter but the supply.
    LargeRest,
}

/// A remark about data: what, about which thing, when, and in words for the person who reads the report.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Issue {
    /// What kind of remark it is.
    pub remark: Remark,
    /// The thing in question, such as `meter p1-s3`.
    pub about: String,
    /// When.
    pub period: Period,
    /// One sentence: what was found and what was done about it.
    pub text: String,
}

/// A result with its remarks.
#[derive(Clone, Debug, PartialEq)]
pub struct Found<T> {
    /// The result.
    pub value: T,
    /// The remarks, in the order in which they were met.
    pub issues: Vec<Issue>,
}

impl<T> Found<T> {
    /// A result without remarks.
    pub const fn clean(value: T) -> Self {
        Self { value, issues: Vec::new() }
    }
}
