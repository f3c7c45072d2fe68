//! Whether a closed month still comes out of the facts, and if not, why.

use super::{Closing, Figures, difference};
use serde::Serialize;
use std::collections::BTreeMap;

/// What is found of a closed month today.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Now {
    /// Hashes of the facts, by what they are about.
    pub facts: BTreeMap<String, String>,
    /// Facts that cannot be read, by what they are about, with what is wrong.
    pub damaged: BTreeMap<String, String>,
    /// The figures that follow under the texts with which it was closed; `None` where they cannot be computed.
    pub figures: Option<Figures>,
    /// Version of the rules.
    pub rules: u32,
}

/// A fact that is not as it was.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Touched {
    /// Such as `meter m1 2026-03-04`.
    pub about: String,
    /// What happened to it.
    pub what: Cause,
    /// What is wrong, where it cannot be read.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub detail: Option<String>,
}

/// What happened to a fact.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Cause {
    /// It cannot be read.
    Damaged,
    /// It reads otherwise.
    Changed,
    /// It is not there any more.
    Gone,
    /// It came later.
    Added,
}

impl Cause {
    /// What happened, in words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Damaged => "is damaged",
            Self::Changed => "reads otherwise than when the month was closed",
            Self::Gone => "is not there any more",
            Self::Added => "came after the month was closed",
        }
    }
}

/// A figure that comes out otherwise.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Moved {
    /// Its id without the month.
    pub id: String,
    /// As it was closed.
    pub closed: Option<i64>,
    /// As it comes out today.
    pub now: Option<i64>,
}

/// What an audit says of a month.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// The same facts and the same rules give the same figures.
    Holds,
    /// Facts were changed or damaged, or came late.
    Facts,
    /// The same facts and the same rules give other figures.
    SameRules,
    /// The same facts give other figures under newer rules.
    NewerRules,
    /// The figures cannot be computed.
    Uncomputable,
}

/// Judges a closed month: the facts that are not as they were, the figures that come out otherwise, and the cause.
pub fn audit(closed: &Closing, now: &Now) -> (Verdict, Vec<Touched>, Vec<Moved>) {
    let touched = touched(&closed.facts, now);
    let moved = now.figures.as_ref().map_or_else(Vec::new, |figures| moved(&closed.figures, figures));
    let verdict = match (touched.is_empty(), &now.figures) {
        (false, _) => Verdict::Facts,
        (true, None) => Verdict::Uncomputable,
        (true, Some(_)) if moved.is_empty() => Verdict::Holds,
        (true, Some(_)) if now.rules == closed.rules => Verdict::SameRules,
        (true, Some(_)) => Verdict::NewerRules,
    };
    (verdict, touched, moved)
}

fn touched(closed: &BTreeMap<String, String>, now: &Now) -> Vec<Touched> {
    let damaged = now.damaged.iter().map(|(about, detail)| Touched {
        about: about.clone(),
        what: Cause::Damaged,
        detail: Some(detail.clone()),
    });
    let mut all: Vec<Touched> = damaged.collect();
    let about: std::collections::BTreeSet<&String> = closed.keys().chain(now.facts.keys()).collect();
    for about in about.into_iter().filter(|about| !now.damaged.contains_key(*about)) {
        let what = match (closed.get(about), now.facts.get(about)) {
            (Some(then), Some(now)) if then == now => continue,
            (Some(_), Some(_)) => Cause::Changed,
            (Some(_), None) => Cause::Gone,
            _ => Cause::Added,
        };
        all.push(Touched { about: about.clone(), what, detail: None });
    }
    all
}

fn moved(closed: &Figures, now: &Figures) -> Vec<Moved> {
    let ids = difference(now, closed).into_keys();
    ids.map(|id| Moved { closed: closed.get(&id).copied(), now: now.get(&id).copied(), id }).collect()
}

#[cfg(test)]
mod tests {
    use super::super::tests::closing;
    use super::super::{ENERGY, Figures};
    use super::*;

    fn now(energy: Option<i64>, rules: u32, facts: &[(&str, &str)]) -> Now {
        Now {
            facts: facts.iter().map(|(about, hash)| (about.to_string(), hash.to_string())).collect(),
            damaged: BTreeMap::new(),
            figures: energy.map(|energy| Figures::from([(ENERGY.to_owned(), energy)])),
            rules,
        }
    }

    #[test]
    fn the_causes_are_told_apart() {
        let mut closed = closing("2026-03", 0, 5);
        closed.facts = [("meter m1 2026-03-04".to_owned(), "a".to_owned())].into();
        let same = [("meter m1 2026-03-04", "a")];
        let verdict = |now: &Now| audit(&closed, now).0;
        assert_eq!(verdict(&now(Some(5), 6, &same)), Verdict::Holds);
        assert_eq!(verdict(&now(Some(5), 7, &same)), Verdict::Holds);
        assert_eq!(verdict(&now(Some(4), 6, &same)), Verdict::SameRules);
        assert_eq!(verdict(&now(Some(4), 7, &same)), Verdict::NewerRules);
        assert_eq!(verdict(&now(Some(4), 7, &[("meter m1 2026-03-04", "b")])), Verdict::Facts);
        assert_eq!(verdict(&now(None, 6, &same)), Verdict::Uncomputable);
    }

    #[test]
    fn each_fact_is_named_with_what_happened_to_it() {
        let mut closed = closing("2026-03", 0, 5);
        closed.facts = ["a", "b", "c"].map(|about| (about.to_owned(), "1".to_owned())).into();
        let mut found = now(Some(5), 6, &[("a", "2"), ("d", "1")]);
        found.damaged = [("c".to_owned(), "the checksum is wrong".to_owned())].into();
        let (_, touched, _) = audit(&closed, &found);
        let told: Vec<(&str, Cause)> = touched.iter().map(|one| (one.about.as_str(), one.what)).collect();
        assert_eq!(told, [("c", Cause::Damaged), ("a", Cause::Changed), ("b", Cause::Gone), ("d", Cause::Added)]);
    }
}
