//! What is filed of a year, and under which data points of which standards.

/// What a plant files.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Mapping {
    /// The data points, in the order in which they are printed.
    pub points: Vec<Point>,
    /// The base year, where there is one.
    pub base: Option<Base>,
}

/// A data point.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Point {
    /// Standard and edition.
    pub standard: String,
    /// The standard's own identifier.
    pub identifier: String,
    /// What it asks for, in the plant's words.
    pub text: String,
    /// What is printed there.
    pub datum: Datum,
    /// In which unit.
    pub unit: Unit,
}

/// A base year as it was filed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Base {
    /// The year.
    pub year: i32,
    /// Tonnes by location.
    pub location_t: f64,
    /// Tonnes by the market; `None` where the base year has none.
    pub market_t: Option<f64>,
    /// By how many per cent the facts may differ from it before it is recalculated.
    pub threshold_percent: f64,
}

/// A figure of a year.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Datum {
    /// Electricity used.
    Electricity,
    /// Scope 2 by location.
    Location,
    /// Scope 2 by the market.
    Market,
    /// A gas inside the location-based figure.
    Gas(super::Gas),
    /// What stands beside scope 2.
    Beside(super::Beside),
    /// Scope 3 category 3: losses, supply of fuels, supply of fuels for the losses.
    Category3,
    /// Energy that instruments cover.
    Covered,
    /// Its part of the electricity.
    CoveredShare,
    /// The part under instruments that came with the electricity (true) or apart from it.
    BundledShare(bool),
    /// Electricity for a length of web.
    ElectricityPerWeb,
    /// Scope 2 by location for a length of web.
    LocationPerWeb,
    /// Scope 2 by the market for a length of web.
    MarketPerWeb,
}

/// What a figure is a quantity of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Dimension {
    /// Energy, counted in millionths of a kWh.
    Energy,
    /// Carbon, in millionths of a kg.
    Carbon,
    /// A part, in millionths of a per cent.
    Share,
    /// Energy for 1,000 m, in millionths of a kWh.
    EnergyPerWeb,
    /// Carbon for 1,000 m, in millionths of a kg.
    CarbonPerWeb,
}

impl Datum {
    /// Every figure with its word in the mapping.
    pub const WORDS: [(&'static str, Self); 18] = {
        use super::{Beside, Gas};
        [
            ("electricity", Self::Electricity),
            ("scope2-location", Self::Location),
            ("scope2-market", Self::Market),
            ("scope2-co2", Self::Gas(Gas::Co2)),
            ("scope2-ch4", Self::Gas(Gas::Ch4)),
            ("scope2-n2o", Self::Gas(Gas::N2o)),
            ("losses", Self::Beside(Beside::Losses)),
            ("fuels", Self::Beside(Beside::Supply)),
            ("fuels-of-losses", Self::Beside(Beside::SupplyOfLosses)),
            ("category3", Self::Category3),
            ("biogenic", Self::Beside(Beside::Biogenic)),
            ("covered", Self::Covered),
            ("covered-share", Self::CoveredShare),
            ("bundled-share", Self::BundledShare(true)),
            ("unbundled-share", Self::BundledShare(false)),
            ("electricity-per-web", Self::ElectricityPerWeb),
            ("location-per-web", Self::LocationPerWeb),
            ("market-per-web", Self::MarketPerWeb),
        ]
    };

    /// Its word in the mapping.
    pub fn word(self) -> &'static str {
        Self::WORDS.iter().find(|(_, datum)| *datum == self).map_or("", |(word, _)| word)
    }

    /// What it is a quantity of.
    pub const fn dimension(self) -> Dimension {
        match self {
            Self::Electricity | Self::Covered => Dimension::Energy,
            Self::Location | Self::Market | Self::Gas(_) | Self::Beside(_) | Self::Category3 => Dimension::Carbon,
            Self::CoveredShare | Self::BundledShare(_) => Dimension::Share,
            Self::ElectricityPerWeb => Dimension::EnergyPerWeb,
            Self::LocationPerWeb | Self::MarketPerWeb => Dimension::CarbonPerWeb,
        }
    }
}

/// A unit in which a figure is filed: a count of its dimension is `times` / 10^`exponent` of it, exactly.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Unit {
    /// As it is written.
    pub word: &'static str,
    /// What it measures.
    pub dimension: Dimension,
    /// Whole number that a count is multiplied by.
    pub times: i64,
    /// Power of ten that it is divided by.
    pub exponent: u32,
    /// Decimals on the page.
    pub places: u32,
}

/// Every unit. 1 kWh is 3.6 MJ.
pub const UNITS: [Unit; 8] = {
    const fn unit(word: &'static str, dimension: Dimension, (times, exponent): (i64, u32), places: u32) -> Unit {
        Unit { word, dimension, times, exponent, places }
    }
    [
        unit("kWh", Dimension::Energy, (1, 6), 0),
        unit("MWh", Dimension::Energy, (1, 9), 1),
        unit("GJ", Dimension::Energy, (36, 10), 1),
        unit("kg", Dimension::Carbon, (1, 6), 0),
        unit("t", Dimension::Carbon, (1, 9), 2),
        unit("%", Dimension::Share, (1, 6), 1),
        unit("kWh/1000m", Dimension::EnergyPerWeb, (1, 6), 2),
        unit("kg/1000m", Dimension::CarbonPerWeb, (1, 6), 2),
    ]
};
