//! Global warming potentials over 100 years, by assessment report of the IPCC.

use super::Gas;
use crate::units::Decimal;

/// What a kilogram of methane and of nitrous oxide is in kilograms of carbon dioxide, in tenths: AR4 (2007) table 2.14,
/// AR5 (2013) table 8.A.1, AR6 (2021) table 7.SM.7, with the potential of methane from fossil sources in table 7.15;
/// values as in the package globalwarmingpotentials 0.13.2 (CC0).
pub const WARMING: [(&str, i64, i64); 6] = [
    ("SAR", 210, 3_100),
    ("TAR", 230, 2_960),
    ("AR4", 250, 2_980),
    ("AR5", 280, 2_650),
    ("AR6", 279, 2_730),
    ("AR6 fossil", 298, 2_730),
];

/// The potential of a gas by the words for an assessment report; `None` where the words are not known.
pub fn warming(report: &str, gas: Gas) -> Option<Decimal> {
    let (_, methane, nitrous) = WARMING.iter().find(|(word, ..)| *word == report)?;
    let tenths = match gas {
        Gas::Co2 => 10,
        Gas::Ch4 => *methane,
        Gas::N2o => *nitrous,
    };
    match tenths % 10 {
        0 => Some(Decimal::whole(tenths / 10)),
        tenth => Decimal::parse(&format!("{}.{tenth}", tenths / 10)),
    }
}
