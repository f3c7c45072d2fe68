//! The bridge, the days and the residuals as pictures.

use super::figures::{plain, signed};
use super::first::cause;
use crate::report::chart::{Days, Step, calendar, waterfall};
use crate::stats::savings_uncertainty::Interval;
use crate::units::Energy;
use crate::verify::statement::Statement;
use crate::verify::{Bridge, Cause, Confidence};
use chrono::{Datelike, NaiveDate};

/// From promised to what was found, step by step.
pub fn bridge(about: &str, bridge: &Bridge<Energy>, found: &str) -> String {
    let total = |name: &str, value: f64| Step {
        class: "total",
        name: name.into(),
        value: format!("{} kWh", plain(value, 0)),
        span: (0.0, value),
        interval: None,
    };
    let mut steps = vec![total("promised pro rata", bridge.promised.kwh())];
    let mut at = bridge.promised.kwh();
    let mut step = |class, name: String, by: f64, interval| {
        let span = (at, at + by);
        at += by;
        let value = format!("{} kWh", signed(by, 0));
        steps.push(Step { class, name, value, span, interval });
    };
    let moves = |each: &&crate::verify::Step<_>| match each.cause {
        Cause::Worth => false,
        Cause::Shared => each.amount != crate::units::Energy::ZERO,
        _ => true,
    };
    for each in bridge.steps.iter().filter(moves) {
        let class = if each.cause.is_operation() { "operation" } else { "equipment" };
        step(class, cause(each.cause, &each.with), each.amount.kwh(), None);
    }
    let half = bridge.rest.half_width(Confidence::P90);
    step("rest", "unexplained".into(), bridge.unexplained.kwh(), Some(half));
    if let Some(rest) = steps.last_mut() {
        rest.value = format!("{} ± {} kWh", signed(bridge.unexplained.kwh(), 0), plain(half, 0));
    }
    steps.push(total(found, bridge.measured.kwh()));
    waterfall(
        &format!("{about}: from promised to {found}"),
        "A bar for each step, below one another; the line through the unexplained rest is its interval at 90 %.",
        &steps,
    )
}

/// Expected and actual energy, before and after, as means of a week's days that count.
pub fn expected(one: &Statement) -> String {
    let fitted = one.fitted.iter().flat_map(|fitted| {
        let points = &fitted.points;
        points
            .dates
            .iter()
            .zip(&points.kwh)
            .zip(&fitted.fit.residuals)
            .map(|((day, kwh), rest)| (*day, kwh - rest, *kwh))
    });
    let all: Vec<(NaiveDate, f64, f64)> = fitted.chain(one.savings.points.iter().copied()).collect();
    let daily = one.frozen.form.interval == Interval::Daily;
    let (expected, actual) = if daily { weekly(&all) } else { apart(&all) };
    let gap = if daily { Some(14) } else { Some(62) };
    calendar(
        "Expected and actual energy",
        "Two curves over the days: what the baseline expects, and what was drawn; the conversion is set apart.",
        if daily { "kWh a day, mean of a week" } else { "kWh a month" },
        ends(one),
        &conversion(one),
        &[Days { class: "idle", values: expected, gap }, Days { class: "worked", values: actual, gap }],
    )
}

/// What the models leave unexplained, day by day: of the baseline before, of the reporting period's own model after.
pub fn residuals(one: &Statement) -> String {
    let of = |fitted: &crate::verify::baseline::Fitted| -> Vec<(NaiveDate, f64)> {
        fitted.points.dates.iter().copied().zip(fitted.fit.residuals.iter().copied()).collect()
    };
    let before = one.fitted.as_ref().map(of).unwrap_or_default();
    let after = one.savings.normalised.as_ref().map(|normalised| of(&normalised.model)).unwrap_or_default();
    calendar(
        "Residuals of the models",
        "A point for each day; before the conversion those of the baseline, after it those of a model of its own days.",
        "kWh",
        ends(one),
        &conversion(one),
        &[Days { class: "before", values: before, gap: None }, Days { class: "after", values: after, gap: None }],
    )
}

fn ends(one: &Statement) -> (NaiveDate, NaiveDate) {
    (one.frozen.period.0.min(one.savings.period.0), one.savings.period.1)
}

/// From the end of the baseline to the first day of the reporting period.
fn conversion(one: &Statement) -> Vec<(NaiveDate, NaiveDate)> {
    let between = (one.frozen.period.1, one.savings.period.0);
    if between.0 < between.1 { vec![between] } else { Vec::new() }
}

/// Values by day.
type Curve = Vec<(NaiveDate, f64)>;

fn apart(all: &[(NaiveDate, f64, f64)]) -> (Curve, Curve) {
    (all.iter().map(|(day, e, _)| (*day, *e)).collect(), all.iter().map(|(day, _, a)| (*day, *a)).collect())
}

fn weekly(all: &[(NaiveDate, f64, f64)]) -> (Curve, Curve) {
    let weeks = all.chunk_by(|a, b| a.0.iso_week() == b.0.iso_week());
    let mean = |week: &[(NaiveDate, f64, f64)]| {
        let days = week.len() as f64;
        let (expected, actual) = week.iter().fold((0.0, 0.0), |(e, a), day| (e + day.1, a + day.2));
        (week[week.len() / 2].0, expected / days, actual / days)
    };
    apart(&weeks.map(mean).collect::<Vec<_>>())
}
