//! Candidates: what each model says of the same days, so that a person can choose.

use super::caution::{Caution, Least, cautions};
use super::criteria::{Criterion, criteria};
use super::{Form, Outdoor, Points, Refused};
use crate::stats::changepoint::{self, Form as Bend};
use crate::stats::diagnose::{self, Holdout, JarqueBera};
use crate::stats::durbin_watson::{Bounds, bounds};
use crate::stats::savings_uncertainty::{self as uncertainty, Interval};
use crate::stats::{Fit, ar1, fit as least_squares};
use crate::verify::{Aside, Day, Driver};
use chrono::NaiveDate;
use std::collections::BTreeMap;

/// A model with everything that is said about it.
#[derive(Clone, Debug, PartialEq)]
pub struct Fitted {
    /// Its form.
    pub form: Form,
    /// Its points.
    pub points: Points,
    /// The fit.
    pub fit: Fit,
    /// Autocorrelation from one point to the next, as measured; zero where no two points follow each other.
    pub rho: f64,
    /// The same as a correlation.
    pub rho_pearson: Option<f64>,
    /// The Durbin-Watson statistic.
    pub durbin_watson: Option<f64>,
    /// Its 5 % bounds; `None` without a constant, where they do not hold.
    pub bounds: Option<Bounds>,
    /// Variance inflation of each driver.
    pub inflation: Vec<(String, f64)>,
    /// The largest Cook's distance, and where.
    pub cook: Option<(NaiveDate, f64)>,
    /// The largest leverage, and where.
    pub leverage: Option<(NaiveDate, f64)>,
    /// Whether residuals look normal.
    pub shape: Option<JarqueBera>,
    /// n ln(SSE / n) + p ln n, change points among the p; compares models of the same points only.
    pub bic: f64,
    /// How a model of the first three quarters of the points does on the rest.
    pub held: Option<Holdout>,
    /// Half-width at 90 % of the baseline's own total, were it predicted, over that total (formula E).
    pub precision: Option<f64>,
    /// Limits of protocols.
    pub criteria: Vec<Criterion>,
    /// What must be known before it is trusted.
    pub cautions: Vec<Caution>,
}

/// Fits a form to the days that count.
///
/// # Errors
/// Too few points, or drivers that make each other up.
pub fn fit<'a>(form: &Form, days: impl IntoIterator<Item = &'a Day>, least: Least) -> Result<Fitted, Refused> {
    let points = form.points(days);
    let design = points.design()?;
    let least = least.points(form.interval, design.columns().len());
    if points.len() < least {
        return Err(Refused::TooFew {
            found: points.len(),
            point: form.interval.unit(),
            needed: least,
            aside: asides(&points.aside),
        });
    }
    over(form, points)
}

/// Fits a form to points as they are, such as those that a frozen baseline keeps.
///
/// # Errors
/// Drivers that make each other up.
pub fn over(form: &Form, points: Points) -> Result<Fitted, Refused> {
    let design = points.design()?;
    let mut fit = least_squares(&design, &points.kwh)?;
    let knots = form.outdoor.as_ref().map_or(0, |outdoor| outdoor.knots.len());
    count_knots(&mut fit, knots);
    let numbers = points.numbers();
    let lag = diagnose::lag1(&fit.residuals, &numbers);
    let rho = lag.map_or(0.0, |lag| lag.sum_form);
    let statistic = diagnose::durbin_watson(&fit.residuals, &numbers);
    let limits = design.has_constant().then(|| bounds(points.len(), design.columns().len() - 1, 0.05)).flatten();
    let inflation = diagnose::variance_inflation(&design, &fit.model);
    let held = hold_out(&points);
    let aside: usize = points.aside.iter().filter(|(why, _)| **why != Aside::Implementation).map(|(_, n)| n).sum();
    let excluded = aside as f64 / (aside + points.day_count()) as f64;
    let (n, p) = (points.len() as f64, (fit.model.parameters() + knots) as f64);
    let counted = uncertainty::counted(rho);
    let cross = ar1::cross_product(&design.values(), &numbers, counted);
    let carried = fit.model.autocorrelated_term(&design, &cross)?;
    let standard = uncertainty::exact(&fit.model, carried, ar1::variance_of_total(&numbers, counted));
    let total: f64 = points.kwh.iter().sum();
    let most = |values: Vec<Option<f64>>| {
        let known = values.into_iter().zip(&points.dates).filter_map(|(value, date)| Some((*date, value?)));
        known.max_by(|a, b| a.1.total_cmp(&b.1))
    };
    Ok(Fitted {
        form: form.clone(),
        rho,
        rho_pearson: lag.and_then(|lag| lag.pearson),
        durbin_watson: statistic,
        bounds: limits,
        cook: most(diagnose::cook(&fit)),
        leverage: most(fit.leverage.iter().copied().map(Some).collect()),
        shape: diagnose::jarque_bera(&fit.residuals),
        bic: n * (fit.sse / n).ln() + p * n.ln(),
        precision: uncertainty::half_width(standard, 0.90, &fit.model).map(|half| half / total),
        criteria: criteria(&fit, held.as_ref(), excluded),
        cautions: cautions(&points, &fit, &inflation, statistic.zip(limits)),
        inflation,
        held,
        points,
        fit,
    })
}

/// Change points were fitted too: they take their degrees of freedom from the errors.
fn count_knots(fit: &mut Fit, knots: usize) {
    let free = fit.model.freedom();
    if knots > 0 && free > knots as f64 {
        let wider = (free / (free - knots as f64)).sqrt();
        fit.model.rmse *= wider;
        fit.model.terms.iter_mut().for_each(|term| term.se *= wider);
    }
}

fn hold_out(points: &Points) -> Option<Holdout> {
    let (seen, unseen) = points.split(points.len() * 3 / 4);
    let model = least_squares(&seen.design().ok()?, &seen.kwh).ok()?.model;
    diagnose::holdout(&unseen.kwh, &model.predict(&unseen.design().ok()?).ok()?)
}

/// The form with the outdoor temperature in the way that fits best; `None` where it is not known or bends nowhere.
///
/// # Errors
/// As [`fit`].
pub fn fit_with_outdoor<'a>(
    form: &Form,
    days: impl IntoIterator<Item = &'a Day> + Clone,
) -> Result<Option<Fitted>, Refused> {
    let line = Form { outdoor: Some(Outdoor { form: Bend::Line, knots: Vec::new() }), ..form.clone() };
    let daily = Form { interval: Interval::Daily, ..line }.points(days.clone());
    let (temperature, drivers) = daily.columns.split_last().unwrap_or((&EMPTY, &[]));
    if daily.len() < Least::Usual.points(Interval::Daily, drivers.len() + 3) {
        return Ok(None);
    }
    let bends = [Bend::Cooling, Bend::Heating, Bend::Between];
    let fits: Vec<_> = bends
        .into_iter()
        .filter_map(|bend| changepoint::fit(bend, &temperature.values, &daily.kwh, drivers).ok())
        .collect();
    let Some(best) = changepoint::choose(&fits) else { return Ok(None) };
    let outdoor = Some(Outdoor { form: best.form, knots: best.knots.clone() });
    fit(&Form { outdoor, ..form.clone() }, days, Least::Usual).map(Some)
}

static EMPTY: crate::stats::Column = crate::stats::Column { name: String::new(), values: Vec::new() };

/// The usual candidates over days, each with the model or the reason why there is none.
pub fn candidates(days: &[Day], interval: Interval) -> Vec<(Form, Result<Fitted, Refused>)> {
    use Driver::{AttendedH, Jobs, Ran, StationKm, WebKm};
    // Attended hours are those of what a shared load serves, which has no stations of its own.
    let of_load = days.iter().any(|day| day.drivers.contains_key(&AttendedH));
    let sets: &[&[Driver]] = match of_load {
        true => &[&[AttendedH], &[WebKm], &[WebKm, Jobs]],
        false => &[&[WebKm], &[WebKm, Jobs], &[StationKm], &[StationKm, Jobs]],
    };
    let mut all = Vec::new();
    for drivers in sets {
        for with_ran in [false, true] {
            let mut drivers = drivers.to_vec();
            drivers.extend(with_ran.then_some(Ran));
            let form = Form { interval, ..Form::daily(&drivers) };
            if let Ok(Some(fitted)) = fit_with_outdoor(&form, days) {
                all.push((fitted.form.clone(), Ok(fitted)));
            }
            let fitted = fit(&form, days, Least::Usual);
            all.push((form, fitted));
        }
    }
    all
}

/// What was set aside, in words.
pub(super) fn asides(aside: &BTreeMap<Aside, usize>) -> Vec<String> {
    aside.iter().map(|(reason, days)| reason.counted(*days)).collect()
}
