//! Non-routine adjustments: recorded by a person with date, reason, amount and uncertainty.

use super::span;
use crate::readings::{Event, Happening};
use crate::time::{Period, Zone};
use crate::units::Energy;
use crate::verify::{Day, Estimate, Scope};
use chrono::NaiveDate;

/// The part of an adjustment that falls on days that count.
#[derive(Clone, Debug, PartialEq)]
pub struct Adjusted {
    /// First and last day of the whole adjustment.
    pub period: (NaiveDate, NaiveDate),
    /// kWh on days that count: below zero where it drew more than it would have.
    pub kwh: f64,
    /// Its standard uncertainty.
    pub se: f64,
    /// Whether anybody stated how sure it is.
    pub is_stated: bool,
    /// Who recorded it, and why.
    pub note: String,
}

/// The adjustments of a press or load as far as they fall on days that count, each in proportion to its time.
pub fn of(scope: &Scope, zone: Zone, events: &[Event], days: &[&Day]) -> Vec<Adjusted> {
    let one = |event: &Event| match &event.what {
        Happening::Adjustment { judged, until, mwh, uncertainty_mwh } if scope.judged == *judged => {
            let whole = Period::new(event.at, *until);
            let inside: i64 = days.iter().filter_map(|day| Some(span(zone, day).overlap(whole)?.millis())).sum();
            let share = inside as f64 / whole.millis().max(1) as f64;
            let kwh = |mwh: i64| Energy::from_mwh(mwh).kwh() * share;
            let adjusted = Estimate::within(kwh(*mwh), kwh(uncertainty_mwh.unwrap_or(0)));
            (inside > 0).then(|| Adjusted {
                period: (zone.date(event.at), zone.date(*until - 1)),
                kwh: adjusted.value,
                se: adjusted.se,
                is_stated: uncertainty_mwh.is_some(),
                note: event.note.clone().unwrap_or_default(),
            })
        }
        _ => None,
    };
    events.iter().filter_map(one).collect()
}
