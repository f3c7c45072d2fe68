//! Changes that the data betray and nobody entered: each is a question that blocks a verdict until it is answered.

use super::Reporting;
use super::hours::ALIKE;
use crate::readings::{Event, Happening};
use crate::verify::baseline::Frozen;
use crate::verify::words::{number, percent};
use crate::verify::{Conditions, Day, Driver};
use chrono::NaiveDate;

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
    pub factor: &'static str,
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
    let zone = reporting.plant.zone;
    let recorded = |event: &&Event| {
        let day = zone.date(event.at);
        frozen.period.1 < day && day <= last
    };
    let known = || reporting.events.iter().filter(recorded);
    changes
        .into_iter()
        .filter_map(|(factor, found)| {
            let answer = known().find_map(|event| answers(event, factor, frozen));
            let is_converted = factor == "speed" && both(before.km_per_hour, now.km_per_hour).is_some();
            let handled = is_converted.then(|| "run hours are taken at the speed of the baseline".into());
            Some(Question { factor, found: found?, answer: answer.or(handled) })
        })
        .collect()
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

/// A static factor of that name, or an adjustment whose reason names it.
fn answers(event: &Event, factor: &str, frozen: &Frozen) -> Option<String> {
    let word = factor.split(' ').next().unwrap_or(factor).trim_end_matches('s');
    let names = |text: &str| text.to_lowercase().contains(word);
    let note = event.note.clone().unwrap_or_default();
    match &event.what {
        Happening::StaticFactor { factor, value } if names(factor) => Some(format!("{factor} is {value} ({note})")),
        Happening::Adjustment { judged, .. } if frozen.scope.judged == *judged && names(&note) => {
            Some(format!("adjusted for ({note})"))
        }
        _ => None,
    }
}
