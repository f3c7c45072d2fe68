//! An alert as it is sent: a JSON object after `alert.schema.json`, the same by MQTT and by webhook.

use crate::plant::Plant;
use crate::time::At;
use crate::units::decimal;
use crate::watch::{SAFETY, State, Word};
use serde::Serialize;

/// The schema of what is sent (JSON Schema 2020-12).
pub const SCHEMA: &str = include_str!("alert.schema.json");
/// Letters of a text that are sent; nobody reads more on a telephone (own judgement).
const LONGEST: usize = 1_000;

/// What is sent. Energy in kWh and money in the plant's currency are exact decimals as text; instants are ISO 8601 with offset.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Alert {
    format: u32,
    plant: String,
    /// What the finding is called; with `revision` it names what is sent, should it arrive twice.
    pub finding: String,
    /// Which wording of it.
    pub revision: u32,
    news: &'static str,
    sent: String,
    /// The rule that raised it.
    pub rule: &'static str,
    what: &'static str,
    /// The thing in question.
    pub about: String,
    called: String,
    since: String,
    is_about: bool,
    raised: String,
    until: Option<String>,
    watts_above: Option<f64>,
    watts_half: Option<f64>,
    energy_kwh: Option<String>,
    cost: Option<String>,
    ahead_kwh: Option<String>,
    ahead_cost: Option<String>,
    currency: String,
    evidence: Vec<String>,
    questions: Vec<&'static str>,
    safety: Option<&'static str>,
}

impl Alert {
    /// Puts what is known of a finding into words.
    pub fn of(plant: &Plant, state: &State, word: Word, now: At) -> Self {
        let (zone, finding) = (plant.zone, &state.kept.finding);
        let above = finding.above.as_ref();
        let ahead = above.and_then(|above| above.ahead);
        let station = finding.station.as_ref().and_then(|id| plant.station(id));
        Self {
            format: 1,
            plant: tame(&plant.name),
            finding: tame(&state.kept.id),
            revision: state.revision,
            news: word.word(),
            sent: zone.stamp(now),
            rule: finding.rule.word(),
            what: finding.rule.what(),
            about: tame(&finding.about),
            called: match station {
                Some((press, station)) => tame(&format!("{}, {}", press.name, station.name)),
                None => tame(&finding.about),
            },
            since: zone.stamp(finding.since),
            is_about: finding.is_about,
            raised: zone.stamp(finding.raised),
            until: finding.until.map(|until| zone.stamp(until)),
            watts_above: above.map(|above| tenth(above.watts)),
            watts_half: above.and_then(|above| above.watts_half).map(tenth),
            energy_kwh: above.map(|above| above.energy.to_string()),
            cost: above.map(|above| decimal(above.cost.micros(), 6)),
            ahead_kwh: ahead.map(|(energy, _)| energy.to_string()),
            ahead_cost: ahead.map(|(_, cost)| decimal(cost.micros(), 6)),
            currency: plant.currency.clone(),
            evidence: finding.evidence.iter().map(|sentence| tame(sentence)).collect(),
            questions: finding.rule.questions().to_vec(),
            safety: finding.station.is_some().then_some(SAFETY),
        }
    }

    /// The bytes that are sent.
    pub fn bytes(&self) -> Vec<u8> {
        serde_json::to_vec(self).expect("text and numbers can be written")
    }
}

fn tenth(watts: f64) -> f64 {
    (watts * 10.0).round() / 10.0
}

/// A text of bearable length, without control characters.
fn tame(text: &str) -> String {
    let plain: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    match plain.char_indices().nth(LONGEST) {
        Some((cut, _)) => format!("{}…", &plain[..cut]),
        None => plain,
    }
}
