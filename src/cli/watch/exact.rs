//! Findings for scripts.

use super::Shown;
use crate::units::decimal;
use crate::watch::{Finding, SAFETY};
use serde::Serialize;

/// The findings.
#[derive(Serialize)]
pub(super) struct Exact<'a> {
    from: String,
    to: String,
    currency: &'a str,
    findings: Vec<ExactFinding<'a>>,
    charted: usize,
    not_charted: Vec<&'a str>,
    decision_interval: Option<[f64; 2]>,
    safety: &'static str,
}

#[derive(Serialize)]
struct ExactFinding<'a> {
    id: String,
    /// Whether it is kept, and where it stands if so.
    standing: Option<&'static str>,
    rule: &'static str,
    about: &'a str,
    station: Option<&'a str>,
    since: String,
    is_about: bool,
    raised: String,
    until: Option<String>,
    watts_above: Option<f64>,
    watts_half: Option<f64>,
    energy_kwh: Option<String>,
    energy_half_kwh: Option<String>,
    cost: Option<String>,
    ahead_kwh: Option<String>,
    ahead_cost: Option<String>,
    evidence: &'a [String],
    questions: &'static [&'static str],
}

/// The findings with every digit.
pub(super) fn exact<'a>(shown: &'a Shown<'a>) -> Exact<'a> {
    let Shown { zone, currency, first, last, watched, .. } = *shown;
    let of = |finding: &'a Finding| {
        let (above, kept) = (finding.above, shown.kept(finding));
        let millionths = |count: i64| decimal(count, 6);
        ExactFinding {
            id: kept.as_ref().map_or_else(|| finding.id(), |kept| kept.id.clone()),
            standing: kept.map(|kept| kept.standing(shown.now).word()),
            rule: finding.rule.word(),
            about: &finding.about,
            station: finding.station.as_ref().map(|id| id.as_str()),
            since: zone.stamp(finding.since),
            is_about: finding.is_about,
            raised: zone.stamp(finding.raised),
            until: finding.until.map(|until| zone.stamp(until)),
            watts_above: above.map(|above| above.watts),
            watts_half: above.and_then(|above| above.watts_half),
            energy_kwh: above.map(|above| above.energy.to_string()),
            energy_half_kwh: above.and_then(|above| above.energy_half).map(|half| half.to_string()),
            cost: above.map(|above| millionths(above.cost.micros())),
            ahead_kwh: above.and_then(|above| above.ahead).map(|(energy, _)| energy.to_string()),
            ahead_cost: above.and_then(|above| above.ahead).map(|(_, cost)| millionths(cost.micros())),
            evidence: &finding.evidence,
            questions: finding.rule.questions(),
        }
    };
    Exact {
        from: first.to_string(),
        to: last.to_string(),
        currency,
        findings: watched.findings.iter().map(of).collect(),
        charted: watched.charted,
        not_charted: watched.uncharted.iter().map(|id| id.as_str()).collect(),
        decision_interval: watched.decision.map(|(least, most)| [least, most]),
        safety: SAFETY,
    }
}
