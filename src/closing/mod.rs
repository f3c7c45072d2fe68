//! Months that are closed: what was known of a month, the figures that followed from it, and a chain by hash that shows
//! whether anything of it was changed since.
//!
//! A closed month is never altered. What comes late is a line of a later month, or a restatement: a closing of the same
//! month with the next sequence, with the difference and the reason.

mod audit;
mod chain;
mod late;

pub use audit::{Cause, Moved, Now, Touched, Verdict, audit};
pub use chain::{Kept, broken, sealed, sha256};
pub use late::{Late, Terms, late};

use crate::time::Month;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Figures by their id without the month, such as `energy/p1/s3`: milliwatt-hours of energy, millionths of the currency
/// of cost, milligrams of carbon.
pub type Figures = BTreeMap<String, i64>;

/// Id of the plant's energy.
pub const ENERGY: &str = "energy/plant";
/// Id of the plant's cost with standing charges.
pub const COST: &str = "cost/plant/total";
/// Id of the plant's carbon by location.
pub const CARBON: &str = "carbon/plant";

/// Whether a figure is final when its month is closed: factors are published later, so that carbon is provisional, and so is
/// what has no factor yet.
pub fn is_final(id: &str) -> bool {
    !id.starts_with("carbon/") && !id.starts_with("without-factor/")
}

/// A month as it was closed. Its JSON, with the fields in this order, is what the chain is made of.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Closing {
    /// Such as `2026-03`.
    pub month: String,
    /// 0 for the closing, above for restatements.
    pub sequence: u32,
    /// Hash of the closing before it in the chain; empty for the first.
    pub previous: String,
    /// When, in milliseconds since 1970.
    pub at: i64,
    /// Who closed it.
    pub by: String,
    /// Why; empty where nobody said.
    pub why: String,
    /// Version of the program.
    pub program: String,
    /// Version of the rules of attribution.
    pub rules: u32,
    /// Version of the time-zone database.
    pub zones: String,
    /// Hashes of the facts used, by what they are about.
    pub facts: BTreeMap<String, String>,
    /// Hashes of the configuration texts in force, by path.
    pub documents: BTreeMap<String, String>,
    /// The figures. Energy and money are final, carbon is provisional.
    pub figures: Figures,
    /// What came late of earlier months, by month: a line of this one.
    pub carried: BTreeMap<String, Figures>,
    /// Of each earlier month whose facts were others by then than when it was closed, the hash of them all: what is carried
    /// of it, if anything, is what they come to.
    pub late: BTreeMap<String, String>,
    /// What a restatement changed against the sequence before.
    pub difference: Figures,
    /// Whether it is of the true-up of its year: carbon under the factors that became final, kWh and money as they were.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub true_up: bool,
    /// Of a true-up, the factor sets, certificates and contracts that are others than in the sequence before, in words.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub grounds: Vec<String>,
}

impl Closing {
    /// The month.
    pub fn month(&self) -> Option<Month> {
        Month::parse(&self.month)
    }
}

/// What figures are more than others, by id; what is the same in both is left out.
pub fn difference(now: &Figures, before: &Figures) -> Figures {
    let of = |figures: &Figures, id: &String| figures.get(id).copied().unwrap_or(0);
    let ids = now.keys().chain(before.keys());
    ids.map(|id| (id.clone(), of(now, id) - of(before, id))).filter(|(_, by)| *by != 0).collect()
}

/// Figures with others added.
pub fn sum(of: &Figures, with: &Figures) -> Figures {
    let mut all = of.clone();
    with.iter().for_each(|(id, by)| *all.entry(id.clone()).or_default() += by);
    all
}

/// Of each month the closing in force: the one of the highest sequence.
pub fn in_force(all: &[Closing]) -> BTreeMap<Month, &Closing> {
    let mut latest: BTreeMap<Month, &Closing> = BTreeMap::new();
    for one in all {
        let Some(month) = one.month() else { continue };
        if latest.get(&month).is_none_or(|other| other.sequence < one.sequence) {
            latest.insert(month, one);
        }
    }
    latest
}

/// The hash of all facts of a month together.
pub fn all_facts(facts: &BTreeMap<String, String>) -> String {
    let lines: Vec<String> = facts.iter().map(|(about, hash)| format!("{hash} {about}\n")).collect();
    sha256(lines.concat().as_bytes())
}

/// Whether the facts of a closed month, as they are now, were taken account of by a later closing.
pub fn is_settled(all: &[Closing], closed: &Closing, facts: &BTreeMap<String, String>) -> bool {
    let after = all.iter().skip_while(|one| *one != closed);
    after.filter_map(|one| one.late.get(&closed.month)).last() == Some(&all_facts(facts))
}

/// What the closings of later months already carry of one.
pub fn carried(all: &[Closing], month: Month) -> Figures {
    let lines = in_force(all).into_values().filter_map(|one| one.carried.get(&month.to_string()));
    lines.fold(Figures::new(), |all, line| sum(&all, line))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A closing of nothing but figures, for the tests of this module.
    pub fn closing(month: &str, sequence: u32, energy: i64) -> Closing {
        Closing {
            month: month.into(),
            sequence,
            previous: String::new(),
            at: 0,
            by: "anna".into(),
            why: String::new(),
            program: "0.1.0".into(),
            rules: 6,
            zones: "2025b".into(),
            facts: BTreeMap::new(),
            documents: BTreeMap::new(),
            figures: [(ENERGY.to_owned(), energy)].into(),
            carried: BTreeMap::new(),
            late: BTreeMap::new(),
            difference: Figures::new(),
            true_up: false,
            grounds: Vec::new(),
        }
    }

    #[test]
    fn a_difference_added_to_what_it_is_against_gives_the_other() {
        let before: Figures = [("a".into(), 5), ("gone".into(), 2)].into();
        let now: Figures = [("a".into(), 7), ("new".into(), 1)].into();
        let by = difference(&now, &before);
        assert_eq!(by, [("a".into(), 2), ("gone".into(), -2), ("new".into(), 1)].into());
        assert_eq!(difference(&sum(&before, &by), &now), Figures::new());
    }

    #[test]
    fn the_closing_in_force_is_the_last_restatement() {
        let all = [closing("2026-03", 0, 1), closing("2026-04", 0, 2), closing("2026-03", 1, 3)];
        let found: Vec<i64> = in_force(&all).values().map(|one| one.figures[ENERGY]).collect();
        assert_eq!(found, [3, 2]);
    }
}
