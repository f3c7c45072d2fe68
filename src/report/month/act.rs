//! What to act on: what the watch found, the dearest first, then what the data ask for.

use super::quality::{Remarks, remarks};
use crate::report::input::{MonthInput, Noticed};
use crate::report::lines::Ledger;
use crate::units::{Money, counted};
use crate::watch::{Rule, SAFETY};
use serde::Serialize;

/// As many things to act on as fit the screen.
const SHOWN: usize = 6;

/// What to act on.
#[derive(Clone, Debug, Serialize)]
pub struct Act {
    /// What the watch found, the dearest first.
    pub found: Vec<Found>,
    /// What the data ask for, most pressing first.
    pub data: Vec<Remarks>,
    /// Said where there is more than fits the screen, or where nobody has looked.
    pub notes: Vec<String>,
    /// What to heed, where a station is among it.
    pub safety: Option<&'static str>,
}

/// A finding as it is shown.
#[derive(Clone, Debug, Serialize)]
pub struct Found {
    /// The thing, as people call it.
    pub about: String,
    /// What is the matter with it.
    pub what: &'static str,
    /// Since when, and until when.
    pub when: String,
    /// Watts, energy and money.
    pub amounts: Option<String>,
    /// The first sentence of the evidence.
    pub text: Option<String>,
    /// The first thing to ask.
    pub ask: Option<&'static str>,
    /// Where it stands, with what was answered.
    pub standing: Option<String>,
}

/// Gathers what to act on.
pub fn act(input: &MonthInput, ledger: &Ledger) -> Act {
    let mut notes = Vec::new();
    let mut own: Vec<&Noticed> = input.findings.into_iter().flatten().filter(|one| is_shown(one)).collect();
    own.sort_by(|a, b| (is_over(a), weight(b), &a.id).cmp(&(is_over(b), weight(a), &b.id)));
    let mut data: Vec<Remarks> = remarks(input.plant.zone, &ledger.issues);
    data.retain(|remark| remark.advice.is_some());
    // Both have a place on the screen.
    let (found, told) = (own.len().min(SHOWN - data.len().min(SHOWN / 2)), data.len());
    let more = own.len() - found;
    data.truncate(SHOWN - found);
    if more > 0 {
        notes.push(format!("{} more stand in findings.csv.", counted(more, "finding")));
    }
    if told > data.len() {
        notes.push(format!("{} more stand under data quality.", counted(told - data.len(), "remark")));
    }
    if input.findings.is_none() {
        notes.push("The watch has not looked at this month; inkwatt watch does so.".into());
    }
    let safety = own.iter().take(found).any(|one| one.finding.station.is_some()).then_some(SAFETY);
    Act { found: own.into_iter().take(found).map(|one| shown(input, one)).collect(), data, notes, safety }
}

/// What the data are to be remarked for stands among the remarks; nobody need act on what was closed.
fn is_shown(one: &Noticed) -> bool {
    let own = [Rule::LeftOn, Rule::HigherDraw, Rule::LongStandby, Rule::OverCapacity];
    own.contains(&one.finding.rule) && one.standing != Some("closed")
}

fn is_over(one: &Noticed) -> bool {
    one.finding.until.is_some()
}

/// By what it will cost, or has.
fn weight(one: &Noticed) -> Money {
    let above = one.finding.above.as_ref();
    above.map_or(Money::ZERO, |above| above.ahead.map_or(above.cost, |(_, cost)| cost))
}

fn shown(input: &MonthInput, one: &Noticed) -> Found {
    let (zone, finding) = (input.plant.zone, &one.finding);
    let about = match finding.station.as_ref().and_then(|id| input.plant.station(id)) {
        Some((press, station)) => format!("{}, {}", press.name, station.name),
        None => input
            .plant
            .presses
            .iter()
            .find(|press| press.id.as_str() == finding.about)
            .map_or_else(|| finding.about.clone(), |press| press.name.clone()),
    };
    let clock = |at| zone.local(at).format("%Y-%m-%d %H:%M");
    let since = if finding.is_about { "since about" } else { "since" };
    let until = finding.until.map_or_else(|| "goes on".into(), |until| format!("until {}", clock(until)));
    Found {
        about,
        what: finding.rule.what(),
        when: format!("{since} {}, {until}", clock(finding.since)),
        amounts: finding.above.as_ref().map(|above| above.brief(&input.plant.currency)),
        text: finding.evidence.first().cloned(),
        ask: finding.rule.questions().first().copied(),
        standing: one.standing.filter(|word| *word != "over" && *word != "open").map(|word| match &one.answer {
            Some(answer) => format!("{word}: {answer}"),
            None => word.into(),
        }),
    }
}
