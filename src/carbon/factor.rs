//! A published set of grid factors for one region and year.

use crate::units::Decimal;
use chrono::NaiveDate;

/// Location-based factors of a region as one publication gives them.
#[derive(Clone, Debug, PartialEq)]
pub struct FactorSet {
    /// Region code, such as `GB`.
    pub region: String,
    /// Name of the publication.
    pub publication: String,
    /// Version or revision as printed.
    pub version: String,
    /// When it was published, as far as stated: `2025-06-10`, `2025-06` or `2025`.
    pub published: String,
    /// First day of consumption to which it applies.
    pub valid_from: NaiveDate,
    /// Last day of consumption to which it applies.
    pub valid_to: NaiveDate,
    /// Whether later corrections are to be expected.
    pub status: Status,
    /// Whether the total is CO2 alone or CO2 equivalent; a CO2-only set says so wherever it is used.
    pub co2_only: bool,
    /// Assessment report of the warming potentials inside, such as `AR5`.
    pub gwp: String,
    /// kgCO2e (or kgCO2) for a kWh of generation, as printed.
    pub generation: Decimal,
    /// Each gas of it in kgCO2e for a kWh, where published.
    pub gases: Vec<(Gas, Decimal)>,
    /// kgCO2e for a kWh lost in transmission and distribution (scope 3 category 3), where published.
    pub losses: Option<Decimal>,
    /// How surely the values are known: `A` read in the official file, `B+` or `B` to be checked against it.
    pub grade: String,
    /// Where it was taken from.
    pub source: String,
    /// Licence of the publication.
    pub licence: String,
}

/// A greenhouse gas.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Gas {
    /// Carbon dioxide.
    Co2,
    /// Methane.
    Ch4,
    /// Nitrous oxide.
    N2o,
}

impl Gas {
    /// The three gases of electricity.
    pub const ALL: [Self; 3] = [Self::Co2, Self::Ch4, Self::N2o];

    /// Its formula in plain letters.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Co2 => "CO2",
            Self::Ch4 => "CH4",
            Self::N2o => "N2O",
        }
    }
}

/// Whether a set may still change.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Status {
    /// A correction or a final edition is to be expected.
    Provisional,
    /// As it will stay.
    Final,
}
