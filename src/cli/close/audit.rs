//! `inkwatt close --audit`: whether closed months still come out of the facts.

use super::{Ended, Failure, Outcome, as_closed, progress, refused, text};
use crate::agent::{Books, seen};
use crate::attribute::RULES;
use crate::cli::say;
use crate::closing::{
    Cause, Closing, Figures, Late, Moved, Now, Touched, Verdict, audit, broken, difference, in_force, is_settled, late,
    sha256,
};
use crate::config::Configuration;
use crate::store::{Access, Store};
use crate::time::{At, Month};
use crate::units::{counted, decimal};
use serde::Serialize;
use std::path::Path;

/// What the audit says.
#[derive(Debug, Serialize)]
pub struct Audit {
    /// Where the chain of closings is broken.
    pub broken: Vec<String>,
    /// Hash of the last closing: noted elsewhere, it shows whether the chain was cut.
    pub last: String,
    /// The closed months.
    pub months: Vec<Audited>,
}

/// What it says of a month.
#[derive(Debug, Serialize)]
pub struct Audited {
    /// The month.
    pub month: String,
    /// The closing in force.
    pub sequence: u32,
    /// Whether it still comes out of the facts, and if not, why.
    pub verdict: Verdict,
    /// Whether a later closing has taken account of it.
    pub settled: bool,
    /// Why it cannot be computed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fault: Option<String>,
    /// Facts that are not as they were.
    pub facts: Vec<Touched>,
    /// Figures that come out otherwise.
    pub figures: Vec<Moved>,
    /// Version of the rules by which it was closed.
    pub rules: u32,
    /// What is to be done.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub to_do: Option<String>,
    /// Configuration texts that differ today, where figures come out otherwise under them, and by how much.
    pub texts: Vec<String>,
    /// By how much figures come out otherwise under the texts of today.
    pub under_texts: Figures,
}

impl Audited {
    /// Whether a person should look at it.
    pub fn is_finding(&self) -> bool {
        self.verdict != Verdict::Holds && !self.settled
    }
}

/// Runs the audit.
pub fn run(plant: &Path, configuration: &Configuration, month: Option<Month>, now: At, json: bool) -> Ended {
    let found = audit_months(plant, configuration, month, now)?;
    let told = match json {
        true => serde_json::to_string_pretty(&found).map_err(Failure::unusable)?,
        false => told(configuration, &found),
    };
    say(&told);
    let is_sound = found.broken.is_empty() && !found.months.iter().any(Audited::is_finding);
    Ok(if is_sound { Outcome::Done } else { Outcome::Finding })
}

/// Audits a closed month, or all of them.
///
/// # Errors
/// A month that is not closed, a store that cannot be read.
pub fn audit_months(
    plant: &Path,
    configuration: &Configuration,
    month: Option<Month>,
    now: At,
) -> Result<Audit, Failure> {
    let store = Store::open(plant, configuration.plant.zone, Access::Read).map_err(Failure::unreachable)?;
    let chain = store.closings().map_err(Failure::unreachable)?;
    let (all, broken) = broken(&chain);
    let closed = in_force(&all);
    if let Some(month) = month.filter(|month| !closed.contains_key(month)) {
        return Err(refused(format!("{month} is not closed")));
    }
    let mut months = Vec::new();
    for (_, closed) in closed.into_iter().filter(|(each, _)| month.is_none_or(|month| month == *each)) {
        months.push(one(plant, configuration, &all, closed, now)?);
    }
    Ok(Audit { broken, last: chain.last().map_or_else(String::new, |last| last.hash.clone()), months })
}

fn one(
    plant: &Path,
    configuration: &Configuration,
    all: &[Closing],
    closed: &Closing,
    now: At,
) -> Result<Audited, Failure> {
    let mut audited = Audited {
        month: closed.month.clone(),
        sequence: closed.sequence,
        verdict: Verdict::Uncomputable,
        settled: false,
        fault: None,
        facts: Vec::new(),
        figures: Vec::new(),
        rules: closed.rules,
        to_do: None,
        texts: Vec::new(),
        under_texts: Figures::new(),
    };
    let Some(month) = closed.month() else { return Ok(audited) };
    progress(month);
    let found = match as_closed(plant, closed, now) {
        Ok(found) => found,
        Err(Failure::Unreachable(fault) | Failure::Unusable(fault)) => {
            audited.fault = Some(format!("{fault:#}"));
            return Ok(audited);
        }
    };
    let today = Now { facts: found.facts, damaged: found.damaged, figures: found.figures, rules: RULES };
    (audited.verdict, audited.facts, audited.figures) = audit(closed, &today);
    let is_late = audited.verdict == Verdict::Facts && today.damaged.is_empty();
    if let (true, Some(figures)) = (is_late, &today.figures) {
        let open = late(all, closed, figures, configuration.closing);
        audited.settled = open == Late::Nothing && is_settled(all, closed, &today.facts);
        audited.to_do = match open {
            Late::Restate(by) => Some(format!(
                "{} more than {} % of its kWh: inkwatt close --restate {month} --why TEXT",
                text::came(&by),
                configuration.closing.de_minimis_percent
            )),
            Late::Line(_) => Some("the next month that is closed carries the difference as a line".into()),
            Late::Nothing if audited.settled => None,
            Late::Nothing => Some("no figure differs; the next month that is closed notes the facts".into()),
        };
    }
    if audited.verdict == Verdict::Holds {
        under_texts(plant, configuration, closed, month, now, &mut audited)?;
    }
    Ok(audited)
}

/// What the texts of today make of the month, where they are others.
fn under_texts(
    plant: &Path,
    configuration: &Configuration,
    closed: &Closing,
    month: Month,
    now: At,
    audited: &mut Audited,
) -> Result<(), Failure> {
    let used = configuration.texts.iter().filter(|text| super::is_used(&text.path));
    let is_other = |text: &&crate::config::ConfigText| {
        closed.documents.get(&text.path).is_none_or(|hash| *hash != sha256(text.text.as_bytes()))
    };
    let others: Vec<String> = used.filter(is_other).map(|text| text.path.clone()).collect();
    if others.is_empty() {
        return Ok(());
    }
    let books = Books::open(plant, configuration, now).map_err(Failure::unreachable)?;
    let found = seen(books, configuration, month).map_err(Failure::unreachable)?;
    audited.under_texts = difference(&found.figures.unwrap_or_default(), &closed.figures);
    if !audited.under_texts.is_empty() {
        audited.texts = others;
    }
    Ok(())
}

fn told(configuration: &Configuration, found: &Audit) -> String {
    let mut text: String = found.broken.iter().map(|one| format!("the chain is broken: {one}\n")).collect();
    if found.months.is_empty() && text.is_empty() {
        return "no month is closed; there is nothing to audit".into();
    }
    for month in &found.months {
        text.push_str(&format!("{}  {}\n", month.month, verdict(month)));
        lines(&mut text, &month.facts, |fact| {
            let detail = fact.detail.as_ref().map_or_else(String::new, |detail| format!(": {detail}"));
            format!("{} {}{detail}", fact.about, fact.what.words())
        });
        lines(&mut text, &month.figures, |moved| {
            let shown = |count: Option<i64>| count.map_or_else(|| "–".into(), |count| decimal(count, 6));
            format!("{}/{}: closed {}, now {}", month.month, moved.id, shown(moved.closed), shown(moved.now))
        });
        if !month.texts.is_empty() {
            let by = text::changed(configuration, &month.under_texts);
            text.push_str(&format!("         under the present {} it differs by {by}\n", month.texts.join(", ")));
        }
        text.extend(month.to_do.iter().map(|to_do| format!("         {to_do}\n")));
    }
    match found.months.iter().filter(|month| month.is_finding()).count() {
        0 if found.broken.is_empty() => text.push_str("closed months come out of the facts as they were closed\n"),
        0 => {}
        count => text.push_str(&format!("{} to look at\n", counted(count, "month"))),
    }
    text.push_str(&format!("last closing {}\n", found.last));
    text
}

/// The first few of many, a line each.
fn lines<T>(text: &mut String, all: &[T], line: impl Fn(&T) -> String) {
    const TOLD: usize = 12;
    for one in all.iter().take(TOLD) {
        text.push_str(&format!("         {}\n", line(one)));
    }
    if all.len() > TOLD {
        text.push_str(&format!("         and {} more; --json lists them\n", all.len() - TOLD));
    }
}

fn verdict(month: &Audited) -> String {
    let damaged = month.facts.iter().any(|fact| fact.what == Cause::Damaged);
    match month.verdict {
        Verdict::Holds => "holds: the same facts and rules give the same figures".into(),
        Verdict::Facts if damaged => "facts are damaged".into(),
        Verdict::Facts if month.settled => "facts changed since, and a later closing took account of it".into(),
        Verdict::Facts => "facts changed since it was closed".into(),
        Verdict::SameRules => {
            format!("the same facts and the same rules ({}) give other figures: a defect of the program", month.rules)
        }
        Verdict::NewerRules => {
            format!("the same facts give other figures by rules {RULES}; it was closed by rules {}", month.rules)
        }
        Verdict::Uncomputable => {
            format!("cannot be computed: {}", month.fault.as_deref().unwrap_or("no energy is known any more"))
        }
    }
}
