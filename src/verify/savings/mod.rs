//! What was saved against a frozen baseline, how sure that is, and what is open about it.

mod adjust;
mod alike;
mod beyond;
mod hours;
mod metering;
mod question;
mod rated;
mod uncertainty;

pub use adjust::Adjusted;
pub use alike::{MadeAlike, comparable};
pub use beyond::Beyond;
pub use metering::{MeterError, Metering, metering};
pub use question::Question;
pub use uncertainty::Formulas;

use crate::readings::Event;
use crate::stats::gum;
use crate::time::{Period, Zone};
use crate::verify::baseline::{Fitted, Form, Frozen, Least, Refused, fit};
use crate::verify::{Aside, Conditions, Day, Estimate};
use chrono::NaiveDate;
use std::collections::BTreeMap;

/// A saving over the days that count of a reporting period. Energies are kWh.
#[derive(Clone, Debug, PartialEq)]
pub struct Savings {
    /// First and last day asked for.
    pub period: (NaiveDate, NaiveDate),
    /// How many days count.
    pub counted: usize,
    /// Days that do not, by reason.
    pub aside: BTreeMap<Aside, usize>,
    /// What the old lamps would have drawn: the adjusted baseline.
    pub expected: f64,
    /// What was drawn, on the same days.
    pub actual: f64,
    /// Non-routine adjustments, in the order of their days.
    pub adjustments: Vec<Adjusted>,
    /// Meters whose boundary is not that of the baseline, made alike by a measured correction; `actual` is after it.
    pub alike: Vec<MadeAlike>,
    /// Expected less actual less adjustments: avoided energy, under the conditions of the reporting period.
    pub avoided: Estimate,
    /// The parts of its standard uncertainty.
    pub parts: Parts,
    /// The model's part by each formula; `None` where there is no model but ratings.
    pub formulas: Option<Formulas>,
    /// Savings under the conditions of the baseline: another figure, never to be mixed with the avoided energy.
    /// `None` where too few days count for a model of the reporting period.
    pub normalised: Option<Normalised>,
    /// What the meters may be wrong by.
    pub metering: Metering,
    /// Days outside what the baseline has seen.
    pub beyond: Vec<Beyond>,
    /// Each point: its date, what was expected and what was drawn.
    pub points: Vec<(NaiveDate, f64, f64)>,
    /// Conditions of the reporting period, beside those of the baseline.
    pub conditions: Conditions,
    /// Whether hours were converted to the baseline's speed.
    pub hours_converted: bool,
    /// What blocks a verdict until somebody answers it.
    pub questions: Vec<Question>,
}

/// Standard uncertainties in kWh.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Parts {
    /// Of the model, by formula E; of the ratings, by the bound that was stated.
    pub model: f64,
    /// Of the meters; `None` where no limit of error is stated.
    pub meters: Option<f64>,
    /// Of the adjustments.
    pub adjustments: f64,
    /// Of the corrections of boundaries.
    pub boundaries: f64,
}

/// Savings under the conditions of the baseline.
#[derive(Clone, Debug, PartialEq)]
pub struct Normalised {
    /// What the old lamps drew.
    pub before: f64,
    /// What the new ones would have drawn.
    pub after: f64,
    /// The difference.
    pub saved: Estimate,
    /// The model of the reporting period.
    pub model: Fitted,
}

/// What is known about a reporting period beside its days.
#[derive(Clone, Debug)]
pub struct Reporting<'a> {
    /// The plant.
    pub plant: &'a crate::plant::Plant,
    /// What each meter shows now, by [`shown`](crate::verify::baseline::shown).
    pub boundary: BTreeMap<String, String>,
    /// The events in force.
    pub events: &'a [Event],
    /// The days of the baseline as the facts have them today, for the load of its meters; empty where that is not asked.
    pub baseline: &'a [Day],
}

/// The saving of a reporting period.
///
/// # Errors
/// Unequal boundaries, or no day that counts.
pub fn savings(frozen: &Frozen, days: &[Day], reporting: &Reporting<'_>) -> Result<Savings, Refused> {
    let mut alike = alike::of(frozen, reporting, days)?;
    let days = &*comparable(&alike, days);
    let (Some(first), Some(last)) = (days.first(), days.last()) else {
        return Err(Refused::TooFew { found: 0, point: "day", needed: 1, aside: Vec::new() });
    };
    let period = (first.date, last.date);
    if let Some(ratings) = &frozen.ratings {
        return rated::of(ratings, frozen, days, reporting, alike);
    }
    let conditions = Conditions::of(reporting.plant, days);
    let converted = hours::at_baseline_speed(frozen, days, &conditions);
    let used = converted.as_deref().unwrap_or(days);
    let points = frozen.form.points(used);
    if points.is_empty() {
        let aside = points.aside.iter().map(|(reason, days)| reason.counted(*days)).collect();
        return Err(Refused::TooFew { found: 0, point: "day", needed: 1, aside });
    }
    let design = points.design()?;
    let expected_each = frozen.model.predict(&design)?;
    let (expected, actual): (f64, f64) = (expected_each.iter().sum(), points.kwh.iter().sum());
    let counted: Vec<&Day> = used.iter().filter(|day| frozen.counts(day)).collect();
    let adjustments = adjust::of(&frozen.scope, reporting.plant.zone, reporting.events, &counted);
    let adjusted: f64 = adjustments.iter().map(|adjusted| adjusted.kwh).sum();
    let formulas = Formulas::of(frozen, &points, expected)?;
    alike.iter_mut().for_each(|one| one.count(&counted));
    let metering = metering(reporting.plant, frozen, reporting.baseline, &counted);
    let avoided = expected - actual - adjusted;
    let parts = Parts {
        model: formulas.e,
        meters: metering.standard(expected, actual, avoided),
        adjustments: gum::combined(adjustments.iter().map(|adjusted| adjusted.se)),
        boundaries: gum::combined(alike.iter().map(MadeAlike::se)),
    };
    Ok(Savings {
        period,
        counted: points.day_count(),
        aside: points.aside.clone(),
        expected,
        actual,
        avoided: parts.estimate(avoided, frozen.model.freedom()),
        parts,
        formulas: Some(formulas),
        normalised: normalised(&frozen.form, frozen, used),
        metering,
        beyond: beyond::of(frozen, &points)?,
        points: points.dates.iter().zip(expected_each).zip(&points.kwh).map(|((d, e), a)| (*d, e, *a)).collect(),
        questions: question::of(frozen, &conditions, days, period, reporting),
        adjustments,
        alike,
        conditions,
        hours_converted: converted.is_some(),
    })
}

impl Parts {
    /// A value with all parts; those but the model's are taken as known (GUM G.4.1 for the degrees of freedom).
    pub fn estimate(&self, value: f64, freedom: f64) -> Estimate {
        let others = gum::combined([self.meters.unwrap_or(0.0), self.adjustments, self.boundaries]);
        let df = gum::effective_freedom(&[(self.model, freedom), (others, f64::INFINITY)]).unwrap_or(f64::INFINITY);
        Estimate { value, se: gum::combined([self.model, others]), df }
    }
}

/// The model of the reporting period held against the conditions of the baseline.
fn normalised(form: &Form, frozen: &Frozen, days: &[Day]) -> Option<Normalised> {
    let model = fit(form, days, Least::Usual).ok()?;
    let design = frozen.points.design().ok()?;
    let after: f64 = model.fit.model.predict(&design).ok()?.iter().sum();
    let before: f64 = frozen.model.predict(&design).ok()?.iter().sum();
    let se = uncertainty::exact(&model, &frozen.points)?;
    let saved = Estimate { value: before - after, se, df: model.fit.model.freedom() };
    Some(Normalised { before, after, saved, model })
}

/// The instants of a day that counts.
fn span(zone: Zone, day: &Day) -> Period {
    zone.day(day.date)
}
