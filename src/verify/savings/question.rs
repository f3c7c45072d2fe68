//! Changes that the data betray or that somebody entered: each is a question that blocks a verdict until it is answered or
//! adjusted for.

use super::Reporting;
use super::hours::ALIKE;
use crate::readings::{Event, Happening};
use crate::verify::baseline::Frozen;
use crate::verify::words::{number, percent};
use crate::verify::{Conditions, Day, Driver};
use chrono::NaiveDate;
use std::collections::BTreeMap;

/// Stations lit on average may move by this share before it is a question (own judgement, as the two below).
const LIT: f64 = 0.10;
/// So many more hours a week outside every shift are a shift that nobody entered.
const OUTSIDE: f64 = 5.0;
/// The share of white and varnish may move by so much.
const WHITE: f64 = 0.05;

/// Something that changed.
#[derive(Clone, Debug, PartialEq)]
pub struct Question {
    /// The static factor in question, as `inkwatt record static` takes it.
    pub factor: String,
    /// What was found.
    pub found: String,
    /// Who answered it, and how; `None` while it blocks.
    pub answer: Option<String>,
}

/// The questions of a reporting period, answered ones too.
pub fn of(
    frozen: &Frozen,
    now: &Conditions,
    days: &[Day],
    (_, last): (NaiveDate, NaiveDate),
    reporting: &Reporting<'_>,
) -> Vec<Question> {
    let before = &frozen.conditions;
    // A press that is known to have stood all the time ran at no speed.
    let ran = days.iter().filter(|day| day.aside.is_none()).any(|day| day.drivers.get(&Driver::RunH) != Some(&0.0));
    let over_hours = ran && frozen.form.uses(Driver::RunH);
    let changes = [
        ("stations in use", both(before.stations_lit, now.stations_lit).filter(|(b, n)| (n / b - 1.0).abs() > LIT).map(
            |(b, n)| format!("{} stations cured at a time, and {} in the baseline", number(n, 1), number(b, 1)),
        )),
        ("shifts a week", both(before.outside_h_week, now.outside_h_week).filter(|(b, n)| n - b > OUTSIDE).map(|(b, n)| {
            format!(
                "the web moved {} h a week outside every shift of the calendar, and {} h in the baseline: a shift that \
                 nobody entered",
                number(n, 1),
                number(b, 1)
            )
        })),
        // A model over outputs says what the same web would have drawn, at whatever speed: only hours are moved by it.
        ("speed", if over_hours { speed(before, now) } else { None }),
        ("white and varnish", both(before.white_varnish, now.white_varnish).filter(|(b, n)| (n - b).abs() > WHITE).map(
            |(b, n)| format!("white and varnish took {} of the curing time, and {} in the baseline", percent(n), percent(b)),
        )),
    ];
    let register = Register { frozen, reporting, last };
    let betrayed = changes.into_iter().filter_map(|(factor, found)| {
        let is_converted = factor == "speed" && both(before.km_per_hour, now.km_per_hour).is_some();
        let handled = is_converted.then(|| "run hours are taken at the speed of the baseline".into());
        Some(Question { factor: factor.into(), found: found?, answer: register.answer(factor).or(handled) })
    });
    let mut questions: Vec<Question> = betrayed.collect();
    for entered in register.entered() {
        if !questions.iter().any(|known| names(&entered.factor, &known.factor)) {
            questions.push(entered);
        }
    }
    questions
}

/// What is to be said of the speed where run hours explain the energy: that it changed, or that nobody knows.
fn speed(before: &Conditions, now: &Conditions) -> Option<String> {
    if let Some((b, n)) = both(before.km_per_hour, now.km_per_hour) {
        let changed = (n / b - 1.0).abs() >= ALIKE;
        return changed
            .then(|| format!("the web ran {} km an hour, and {} in the baseline", number(n, 2), number(b, 2)));
    }
    let unknown = match (before.km_per_hour, now.km_per_hour) {
        (None, None) => "in the baseline and since",
        (None, _) => "in the baseline",
        _ => "since the acceptance",
    };
    let jobs = both(before.hours_per_job, now.hours_per_job)
        .map(|(b, n)| format!("; a job took {} h, and {} in the baseline", number(n, 2), number(b, 2)));
    Some(format!(
        "how fast the web ran is not known {unknown}, so that a higher speed, which lowers run hours, would hide part of the \
         saving: import the length of the web, or freeze a baseline over an output such as jobs{}",
        jobs.unwrap_or_default()
    ))
}

fn both(before: Option<f64>, now: Option<f64>) -> Option<(f64, f64)> {
    before.zip(now)
}

/// The register of static factors, as far as it matters to a baseline.
struct Register<'a> {
    frozen: &'a Frozen,
    reporting: &'a Reporting<'a>,
    last: NaiveDate,
}

impl Register<'_> {
    /// What was recorded up to the last day that is judged, with whether this is after the days of the baseline.
    fn recorded(&self) -> impl Iterator<Item = (&Event, bool)> {
        let day = |event: &Event| self.reporting.plant.zone.date(event.at);
        let known = self.reporting.events.iter().filter(move |event| day(event) <= self.last);
        known.map(move |event| (event, self.frozen.period.1 < day(event)))
    }

    /// Changes that somebody entered, in order of time. One to the value that held already is none.
    fn entered(&self) -> Vec<Question> {
        let mut values: BTreeMap<String, &str> = BTreeMap::new();
        let mut questions: Vec<Question> = Vec::new();
        for (event, is_since) in self.recorded() {
            let Happening::StaticFactor { factor, value, .. } = &event.what else { continue };
            let former = values.insert(factor.trim().to_lowercase(), value.trim());
            let is_known = questions.iter().any(|question| names(&question.factor, factor));
            if is_since && former != Some(value.trim()) && !is_known {
                let was = former.map_or_else(String::new, |former| format!(", and was {former}"));
                let since = self.reporting.plant.zone.date(event.at);
                let why = event.note.as_ref().map_or_else(String::new, |note| format!(" ({note})"));
                let found = format!("{factor} is {value} since {since}{was}{why}");
                questions.push(Question { factor: factor.clone(), found, answer: self.answer(factor) });
            }
        }
        questions
    }

    /// An adjustment whose reason names the factor, or else why the baseline holds, as it was said last.
    fn answer(&self, factor: &str) -> Option<String> {
        let (mut adjusted, mut holds) = (None, None);
        for event in self.recorded().filter(|(_, is_since)| *is_since).map(|(event, _)| event) {
            let note = event.note.clone().unwrap_or_default();
            match &event.what {
                Happening::StaticFactor { factor: named, holds: why, .. } if names(named, factor) => {
                    holds = why.as_ref().map(|why| format!("the baseline holds: {why} ({note})"));
                }
                Happening::Adjustment { judged, .. } if self.frozen.scope.judged == *judged && names(&note, factor) => {
                    adjusted = Some(format!("adjusted for ({note})"));
                }
                _ => {}
            }
        }
        adjusted.or(holds)
    }
}

/// Whether a text names a static factor: by its first word, in the singular or not.
fn names(text: &str, factor: &str) -> bool {
    let factor = factor.to_lowercase();
    let word = factor.split_whitespace().next().unwrap_or(&factor).trim_end_matches('s');
    text.to_lowercase().contains(word)
}
