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
    /// Factors that stand beside the generation and in no scope 2, kgCO2e for a kWh used, where published.
    pub beside: Vec<(Beside, Decimal)>,
    /// For which method the factor is.
    pub method: Method,
    /// What the factor is for a kWh of.
    pub boundary: Basis,
    /// Whether the supply of fuels is inside the factor, which scope 2 leaves out.
    pub supply_inside: bool,
    /// The value with its unit as the publication prints it.
    pub printed: String,
    /// The year whose generation it describes, where stated.
    pub data_year: Option<i64>,
    /// How surely the values are known: `A` read in the official file, `B+` or `B` to be checked against it.
    pub grade: String,
    /// Where it was taken from.
    pub source: String,
    /// Licence of the publication.
    pub licence: String,
    /// Address of the publication.
    pub url: Option<String>,
    /// SHA-256 of the file that was read.
    pub sha256: Option<String>,
    /// Anything else that a reader should know.
    pub note: Option<String>,
}

impl FactorSet {
    /// A factor that stands beside the generation, where published.
    pub fn beside(&self, what: Beside) -> Option<Decimal> {
        self.beside.iter().find(|(other, _)| *other == what).map(|(_, factor)| *factor)
    }
}

/// For which method of scope 2 a factor is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Method {
    /// Average of the grid: the location-based method.
    Location,
    /// What the supplier states of the electricity that it sells; market-based.
    Supplier,
    /// What is left of the grid after all claims: market-based only.
    Residual,
}

impl Method {
    /// All methods with their words in a factor file.
    pub const WORDS: [(&'static str, Self); 3] =
        [("location", Self::Location), ("supplier", Self::Supplier), ("residual", Self::Residual)];
}

/// What a factor is for a kWh of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Basis {
    /// Fed into the grid: losses of the grid are not inside.
    Generated,
    /// Delivered to the user: losses of the grid are inside, and are counted nowhere else.
    Delivered,
}

/// Emissions that belong to a kWh used and stand outside of scope 2.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Beside {
    /// Lost in transmission and distribution: scope 3 category 3.
    Losses,
    /// Supply of the fuels of generation: scope 3 category 3.
    Supply,
    /// Supply of the fuels of what is lost: scope 3 category 3.
    SupplyOfLosses,
    /// Carbon dioxide of biomass: outside the scopes.
    Biogenic,
}

impl Beside {
    /// All of them, in the order of a report.
    pub const ALL: [Self; 4] = [Self::Losses, Self::Supply, Self::SupplyOfLosses, Self::Biogenic];

    /// What scope 3 category 3 adds up from.
    pub const CATEGORY3: [Self; 3] = [Self::Losses, Self::Supply, Self::SupplyOfLosses];

    /// Its key in a factor file.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Losses => "losses",
            Self::Supply => "supply",
            Self::SupplyOfLosses => "supply_of_losses",
            Self::Biogenic => "biogenic",
        }
    }
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
