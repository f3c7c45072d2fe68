//! What the figures of a year are made of: counts that add up over sites.

use crate::carbon::filing::Datum;
use crate::carbon::{Beside, Status};
use crate::report::number::per;
use crate::report::words;
use crate::units::divide_rounded;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Counts of a year of one site, or of several together. Energy is in milliwatt-hours, carbon in milligrams; `None` is not
/// known, and so is every sum with it.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Totals {
    /// Days of the year.
    pub days: i64,
    /// Days whose draw is known from midnight to midnight.
    pub whole: i64,
    /// Energy.
    pub energy: i64,
    /// The part of it that is estimated by a stated rule.
    pub estimated: i64,
    /// Scope 2 by location.
    pub location: Option<i64>,
    /// Scope 2 by the market.
    pub market: Option<i64>,
    /// Gases inside the location-based figure, by their word.
    pub gases: BTreeMap<String, Option<i64>>,
    /// What stands beside scope 2, by its word.
    pub beside: BTreeMap<String, Option<i64>>,
    /// Energy that instruments cover.
    pub covered: i64,
    /// Of this, under instruments that came with the electricity.
    pub bundled: i64,
    /// Under instruments that came apart from it.
    pub unbundled: i64,
    /// Millimetres of web.
    pub web: Option<i64>,
    /// Whether any location-based carbon is CO2 alone.
    pub location_co2_only: bool,
    /// Whether any market-based carbon is.
    pub market_co2_only: bool,
    /// Whether any factor in use may still change.
    pub provisional: bool,
}

impl Totals {
    /// A figure in millionths of its dimension; `None` where it is not known.
    pub fn value(&self, datum: Datum) -> Option<i64> {
        let beside = |word: &str| self.beside.get(word).copied().flatten();
        match datum {
            Datum::Electricity => Some(self.energy),
            Datum::Location => self.location,
            Datum::Market => self.market,
            Datum::Gas(gas) => self.gases.get(gas.word()).copied().flatten(),
            Datum::Beside(what) => beside(what.word()),
            Datum::Category3 => Beside::CATEGORY3.into_iter().map(|what| beside(what.word())).sum(),
            Datum::Covered => Some(self.covered),
            Datum::CoveredShare => parts(self.covered, self.energy),
            Datum::BundledShare(true) => parts(self.bundled, self.energy),
            Datum::BundledShare(false) => parts(self.unbundled, self.energy),
            Datum::ElectricityPerWeb => self.per_web(self.energy),
            Datum::LocationPerWeb => self.per_web(self.location?),
            Datum::MarketPerWeb => self.per_web(self.market?),
        }
    }

    /// For 1,000 m of web, in millionths: a million millimetres are 1,000 m.
    fn per_web(&self, count: i64) -> Option<i64> {
        per(count, 1, self.web?)
    }

    /// Of which gases a figure is; empty for what is no carbon.
    pub fn gases(&self, datum: Datum) -> &'static str {
        let co2_only = match datum {
            Datum::Market | Datum::MarketPerWeb => self.market_co2_only,
            Datum::Location | Datum::LocationPerWeb | Datum::Gas(_) | Datum::Beside(_) | Datum::Category3 => {
                self.location_co2_only
            }
            _ => return "",
        };
        if co2_only { "CO2" } else { "CO2e" }
    }

    /// Part of the days that are known whole, in millionths of a per cent.
    pub fn coverage(&self) -> Option<i64> {
        parts(self.whole, self.days)
    }

    /// Part of the energy that is estimated.
    pub fn estimated_share(&self) -> Option<i64> {
        parts(self.estimated, self.energy)
    }

    /// `provisional` or `final`, by the factors in use.
    pub fn status(&self) -> &'static str {
        words::status(if self.provisional { Status::Provisional } else { Status::Final })
    }

    /// Both together. Days add up as days of sites.
    pub fn plus(&self, other: &Self) -> Self {
        let both = |a: Option<i64>, b: Option<i64>| Some(a? + b?);
        let each = |a: &BTreeMap<String, Option<i64>>, b: &BTreeMap<String, Option<i64>>| {
            let of = |of: &BTreeMap<String, Option<i64>>, word: &String| of.get(word).copied().flatten();
            let words = a.keys().chain(b.keys());
            words.map(|word| (word.clone(), both(of(a, word), of(b, word)))).collect()
        };
        Self {
            days: self.days + other.days,
            whole: self.whole + other.whole,
            energy: self.energy + other.energy,
            estimated: self.estimated + other.estimated,
            location: both(self.location, other.location),
            market: both(self.market, other.market),
            gases: each(&self.gases, &other.gases),
            beside: each(&self.beside, &other.beside),
            covered: self.covered + other.covered,
            bundled: self.bundled + other.bundled,
            unbundled: self.unbundled + other.unbundled,
            web: both(self.web, other.web),
            location_co2_only: self.location_co2_only || other.location_co2_only,
            market_co2_only: self.market_co2_only || other.market_co2_only,
            provisional: self.provisional || other.provisional,
        }
    }
}

/// A part in millionths of a per cent.
fn parts(part: i64, whole: i64) -> Option<i64> {
    let share = || divide_rounded(i128::from(part) * 100_000_000, i128::from(whole));
    (whole > 0).then(share).and_then(|share| i64::try_from(share).ok())
}
