//! What a month's report is made from.

use super::billed::Billed;
use crate::attribute::{DayLedger, DaySums};
use crate::carbon::FactorSet;
use crate::cost::Tariff;
use crate::found::{Found, Issue};
use crate::plant::Plant;
use crate::readings::{Finding, Instrument, Run};
use crate::time::{Month, Period};
use crate::verify::statement::Statements;

/// Everything that a month's report is made from. No clock is read: the same input gives the same report.
#[derive(Clone, Copy, Debug)]
pub struct MonthInput<'a> {
    /// The plant, with recorded events folded in.
    pub plant: &'a Plant,
    /// The month in question.
    pub month: Month,
    /// What is known of it.
    pub facts: Facts<'a>,
    /// What the days of the same month a year before add up to, if they were looked at.
    pub year_before: Option<&'a [DaySums]>,
    /// What came of the promise up to the end of the month; `None` where no press was converted by then.
    pub savings: Option<&'a Statements>,
    /// What the watch found that lasted in it, by what is known; `None` where it has not looked.
    pub findings: Option<&'a [Noticed]>,
    /// The supplier's bill of it; `None` where no bill can be reckoned.
    pub billed: Option<&'a Billed>,
    /// Whether and when it was closed, in words.
    pub closed: Option<&'a str>,
    /// Remarks that are not about a single day, such as on events; those outside the month are left out.
    pub issues: &'a [Issue],
    /// Tariffs, sorted by their first day.
    pub tariffs: &'a [Tariff],
    /// Factor sets, sorted by region and first day.
    pub factors: &'a [FactorSet],
    /// Certificates and contracts on file.
    pub instruments: &'a [Instrument],
    /// The configuration texts in force.
    pub texts: &'a [Text],
    /// What computed it.
    pub versions: Versions<'a>,
}

/// A finding of the watch, and where it stands.
#[derive(Clone, Debug, PartialEq)]
pub struct Noticed {
    /// What it is called.
    pub id: String,
    /// What was found.
    pub finding: Finding,
    /// Where it stands, in a word; `None` where it is not kept.
    pub standing: Option<&'static str>,
    /// The newest answer, with by whom and why.
    pub answer: Option<String>,
}

impl<'a> MonthInput<'a> {
    /// What its days are priced by.
    pub fn basis(&self) -> Basis<'a> {
        Basis {
            plant: self.plant,
            period: self.plant.zone.month(self.month),
            facts: self.facts,
            issues: self.issues,
            tariffs: self.tariffs,
            factors: self.factors,
            instruments: self.instruments,
        }
    }
}

/// Facts of days, and what they are priced by.
#[derive(Clone, Copy, Debug)]
pub struct Basis<'a> {
    /// The plant, with recorded events folded in.
    pub plant: &'a Plant,
    /// The whole of the local days asked for.
    pub period: Period,
    /// What is known of them.
    pub facts: Facts<'a>,
    /// Remarks that are not about a single day.
    pub issues: &'a [Issue],
    /// Tariffs, sorted by their first day.
    pub tariffs: &'a [Tariff],
    /// Factor sets, sorted by region and first day.
    pub factors: &'a [FactorSet],
    /// Certificates and contracts on file.
    pub instruments: &'a [Instrument],
}

/// The facts of some days.
#[derive(Clone, Copy, Debug)]
pub struct Facts<'a> {
    /// Its attributed days in order; those before the first and after the last reading say nothing and do not count.
    pub days: &'a [Found<DayLedger>],
    /// What each of these days adds up to.
    pub sums: &'a [DaySums],
    /// The runs that touch it.
    pub runs: &'a [Run],
}

/// From the first to the last day with any known energy; empty where there is none.
pub fn known(days: &[DaySums]) -> &[DaySums] {
    let first = days.iter().position(DaySums::is_known).unwrap_or(days.len());
    let end = days.iter().rposition(DaySums::is_known).map_or(first, |last| last + 1);
    &days[first..end]
}

/// A text that the report cites by its hash.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Text {
    /// Its path below the plant folder.
    pub path: String,
    /// The text.
    pub text: String,
}

/// What computed the report.
#[derive(Clone, Copy, Debug)]
pub struct Versions<'a> {
    /// Version of the program.
    pub program: &'a str,
    /// Version of the rules of attribution.
    pub rules: u32,
    /// Version of the time-zone database.
    pub zones: &'a str,
}
