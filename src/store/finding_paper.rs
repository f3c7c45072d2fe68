//! Findings and what people answered, as they are written.

use crate::readings::{Above, Answer, Finding, Rule};
use crate::time::At;
use crate::units::{Energy, Money};
use serde::de::Error;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// A finding; instants in milliseconds since 1970.
#[derive(Serialize, Deserialize)]
pub(super) struct FindingPaper {
    #[serde(serialize_with = "word", deserialize_with = "rule")]
    rule: Rule,
    about: String,
    station: Option<String>,
    since: i64,
    is_about: bool,
    raised: i64,
    until: Option<i64>,
    above: Option<AbovePaper>,
    evidence: Vec<String>,
}

/// Draw in milliwatts, energy in milliwatt-hours, money in millionths of the currency.
#[derive(Serialize, Deserialize)]
struct AbovePaper {
    mw: i64,
    half_mw: Option<i64>,
    mwh: i64,
    half_mwh: Option<i64>,
    cost: i64,
    ahead_mwh: Option<i64>,
    ahead_cost: Option<i64>,
}

/// An answer.
#[derive(Serialize, Deserialize)]
#[serde(tag = "answer", rename_all = "kebab-case")]
pub(super) enum AnswerPaper {
    Acknowledged,
    Snoozed { until: i64 },
    Closed,
}

fn word<S: Serializer>(rule: &Rule, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.serialize_str(rule.word())
}

fn rule<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Rule, D::Error> {
    let word = String::deserialize(deserializer)?;
    Rule::of(&word).ok_or_else(|| D::Error::custom(format!("there is no rule \"{word}\"")))
}

impl From<Finding> for FindingPaper {
    fn from(finding: Finding) -> Self {
        let Finding { rule, about, station, since, is_about, raised, until, above, evidence } = finding;
        Self {
            rule,
            about,
            station: station.map(|id| id.to_string()),
            since: since.0,
            is_about,
            raised: raised.0,
            until: until.map(|at| at.0),
            above: above.map(Into::into),
            evidence,
        }
    }
}

impl From<FindingPaper> for Finding {
    fn from(paper: FindingPaper) -> Self {
        let FindingPaper { rule, about, station, since, is_about, raised, until, above, evidence } = paper;
        Self {
            rule,
            about,
            station: station.as_deref().map(Into::into),
            since: At(since),
            is_about,
            raised: At(raised),
            until: until.map(At),
            above: above.map(Into::into),
            evidence,
        }
    }
}

impl From<Above> for AbovePaper {
    fn from(above: Above) -> Self {
        let milli = |watts: f64| (watts * 1e3).round() as i64;
        Self {
            mw: milli(above.watts),
            half_mw: above.watts_half.map(milli),
            mwh: above.energy.mwh(),
            half_mwh: above.energy_half.map(Energy::mwh),
            cost: above.cost.micros(),
            ahead_mwh: above.ahead.map(|(energy, _)| energy.mwh()),
            ahead_cost: above.ahead.map(|(_, cost)| cost.micros()),
        }
    }
}

impl From<AbovePaper> for Above {
    fn from(paper: AbovePaper) -> Self {
        let watts = |milli: i64| milli as f64 / 1e3;
        let ahead = paper.ahead_mwh.zip(paper.ahead_cost);
        Self {
            watts: watts(paper.mw),
            watts_half: paper.half_mw.map(watts),
            energy: Energy::from_mwh(paper.mwh),
            energy_half: paper.half_mwh.map(Energy::from_mwh),
            cost: Money::from_micros(paper.cost),
            ahead: ahead.map(|(energy, cost)| (Energy::from_mwh(energy), Money::from_micros(cost))),
        }
    }
}

impl From<Answer> for AnswerPaper {
    fn from(answer: Answer) -> Self {
        match answer {
            Answer::Acknowledged => Self::Acknowledged,
            Answer::Snoozed { until } => Self::Snoozed { until: until.0 },
            Answer::Closed => Self::Closed,
        }
    }
}

impl From<AnswerPaper> for Answer {
    fn from(paper: AnswerPaper) -> Self {
        match paper {
            AnswerPaper::Acknowledged => Self::Acknowledged,
            AnswerPaper::Snoozed { until } => Self::Snoozed { until: At(until) },
            AnswerPaper::Closed => Self::Closed,
        }
    }
}
