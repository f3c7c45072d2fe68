//! The saving against ratings: each day that counts less the same day with the old lamps.

use super::{MadeAlike, Parts, Reporting, Savings, adjust, metering};
use crate::stats::gum;
use crate::verify::baseline::{Frozen, Refused};
use crate::verify::{Aside, Conditions, Day, Ratings};
use chrono::NaiveDate;
use std::collections::BTreeMap;

/// The saving of a reporting period.
///
/// # Errors
/// No day that counts.
pub fn of(
    ratings: &Ratings,
    frozen: &Frozen,
    days: &[Day],
    reporting: &Reporting<'_>,
    mut alike: Vec<MadeAlike>,
) -> Result<Savings, Refused> {
    let mut aside: BTreeMap<Aside, usize> = BTreeMap::new();
    let mut counted: Vec<(&Day, f64)> = Vec::new();
    for day in days {
        match (day.aside, ratings.day(day)) {
            (None, Some(old)) => counted.push((day, old.energy.kwh())),
            (reason, _) => *aside.entry(reason.unwrap_or(Aside::DriverUnknown)).or_default() += 1,
        }
    }
    let (Some(first), Some(last), false) = (days.first(), days.last(), counted.is_empty()) else {
        let aside = aside.iter().map(|(reason, days)| reason.counted(*days)).collect();
        return Err(Refused::TooFew { found: 0, point: "day", needed: 1, aside });
    };
    let plain: Vec<&Day> = counted.iter().map(|(day, _)| *day).collect();
    let points: Vec<(NaiveDate, f64, f64)> =
        counted.iter().map(|(day, expected)| (day.date, *expected, day.energy.kwh())).collect();
    let (expected, actual) = points.iter().fold((0.0, 0.0), |(e, a), point| (e + point.1, a + point.2));
    let adjustments = adjust::of(&frozen.scope, reporting.plant.zone, reporting.events, &plain);
    let adjusted: f64 = adjustments.iter().map(|adjusted| adjusted.kwh).sum();
    alike.iter_mut().for_each(|one| one.count(&plain));
    let metering = metering(reporting.plant, frozen, &[], &plain);
    let parts = Parts {
        // Nobody knows how what is possible is spread over the bound; it is the same for all days, so that it does not
        // average out.
        model: gum::rectangular(ratings.bound) * expected,
        // Nothing was metered before: the meters are wrong about what was drawn only.
        meters: metering.relative.1.map(|relative| relative * actual),
        adjustments: gum::combined(adjustments.iter().map(|adjusted| adjusted.se)),
        boundaries: gum::combined(alike.iter().map(MadeAlike::se)),
    };
    Ok(Savings {
        period: (first.date, last.date),
        counted: counted.len(),
        aside,
        expected,
        actual,
        avoided: parts.estimate(expected - actual - adjusted, f64::INFINITY),
        parts,
        formulas: None,
        normalised: None,
        metering,
        beyond: Vec::new(),
        points,
        conditions: Conditions::of(reporting.plant, days),
        hours_converted: false,
        questions: Vec::new(),
        adjustments,
        alike,
    })
}
