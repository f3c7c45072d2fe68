//! Models as JSON, every number at full precision.

use super::Models;
use super::asked::Asked;
use crate::cli::Failure;
use crate::stats::savings_uncertainty::effective_points;
use crate::verify::Driver;
use crate::verify::baseline::{Fitted, Form, Refused};
use serde::Serialize;
use std::collections::BTreeMap;

#[derive(Serialize)]
struct Fits<'a> {
    press: &'a str,
    kind: &'static str,
    is_measured: bool,
    first: String,
    last: String,
    interval: &'static str,
    candidates: Vec<Candidate>,
}

#[derive(Serialize)]
struct Candidate {
    drivers: Vec<&'static str>,
    model: String,
    refused: Option<String>,
    #[serde(flatten)]
    fitted: Option<Model>,
}

/// A model with all its statistics.
#[derive(Serialize)]
pub struct Model {
    n: usize,
    p: usize,
    days: usize,
    aside: BTreeMap<&'static str, usize>,
    terms: Vec<Term>,
    sse: f64,
    rmse_kwh: f64,
    mean_kwh: f64,
    cv_rmse: Option<f64>,
    /// R2 about the mean, which is what the table shows and the criterion judges.
    r2_about_mean: Option<f64>,
    /// What `r2`, `r2_adjusted` and `f` are about: the mean, or zero where the model has no constant.
    about: &'static str,
    r2: Option<f64>,
    r2_adjusted: Option<f64>,
    f: Option<f64>,
    f_p: Option<f64>,
    durbin_watson: Option<f64>,
    durbin_watson_bounds: Option<[f64; 2]>,
    rho: f64,
    rho_pearson: Option<f64>,
    effective_points: f64,
    cook_max: Option<(String, f64)>,
    leverage_max: Option<(String, f64)>,
    jarque_bera: Option<[f64; 2]>,
    condition: f64,
    bic: f64,
    held_out: Option<[f64; 2]>,
    precision_90: Option<f64>,
    criteria: Vec<Met>,
    remarks: Vec<String>,
}

#[derive(Serialize)]
struct Term {
    name: String,
    coefficient: f64,
    se: f64,
    t: Option<f64>,
    p: Option<f64>,
    vif: Option<f64>,
}

#[derive(Serialize)]
struct Met {
    what: &'static str,
    found: f64,
    limit: &'static str,
    met: bool,
    source: &'static str,
}

const OUTDOOR: Driver = Driver::Outdoor;

/// The models that were tried.
pub fn fits(known: &Asked, models: &Models) -> Result<String, Failure> {
    let candidate = |form: &Form, model: &Result<Fitted, Refused>| Candidate {
        drivers: form.drivers.iter().chain(form.outdoor.as_ref().map(|_| &OUTDOOR)).map(|one| one.word()).collect(),
        model: form.to_string(),
        refused: model.as_ref().err().map(ToString::to_string),
        fitted: model.as_ref().ok().map(Model::of),
    };
    let fits = Fits {
        press: known.judged.name(),
        kind: known.kind.word(),
        is_measured: known.kind.is_measured(),
        first: known.period.0.to_string(),
        last: known.period.1.to_string(),
        interval: known.interval.word(),
        candidates: models.iter().map(|(form, model)| candidate(form, model)).collect(),
    };
    serde_json::to_string_pretty(&fits).map_err(Failure::unusable)
}

impl Model {
    /// All that is said about a fit.
    pub fn of(fitted: &Fitted) -> Self {
        let (fit, own) = (&fitted.fit, &fitted.fit.model);
        let vif = |name: &str| fitted.inflation.iter().find(|(of, _)| of == name).map(|(_, vif)| *vif);
        let dated = |most: Option<(chrono::NaiveDate, f64)>| most.map(|(date, value)| (date.to_string(), value));
        Self {
            n: own.points,
            p: own.parameters(),
            days: fitted.points.day_count(),
            aside: fitted.points.aside.iter().map(|(reason, days)| (reason.word(), *days)).collect(),
            terms: own
                .terms
                .iter()
                .map(|term| Term {
                    name: term.name.clone(),
                    coefficient: term.coefficient,
                    se: term.se,
                    t: term.t(),
                    p: own.p_value(term),
                    vif: vif(&term.name),
                })
                .collect(),
            sse: fit.sse,
            rmse_kwh: own.rmse,
            mean_kwh: own.mean,
            cv_rmse: own.cv(),
            r2_about_mean: fit.r2_centred,
            about: if own.constant { "mean" } else { "zero" },
            r2: fit.r2(),
            r2_adjusted: fit.r2_adjusted(),
            f: fit.f().map(|f| f.value),
            f_p: fit.f().and_then(|f| f.p_value()),
            durbin_watson: fitted.durbin_watson,
            durbin_watson_bounds: fitted.bounds.map(|bounds| [bounds.lower, bounds.upper]),
            rho: fitted.rho,
            rho_pearson: fitted.rho_pearson,
            effective_points: effective_points(own.points, fitted.rho),
            cook_max: dated(fitted.cook),
            leverage_max: dated(fitted.leverage),
            jarque_bera: fitted.shape.map(|shape| [shape.statistic, shape.p_value]),
            condition: fit.condition,
            bic: fitted.bic,
            held_out: fitted.held.map(|held| [held.nmbe, held.cv_rmse]),
            precision_90: fitted.precision,
            criteria: fitted
                .criteria
                .iter()
                .map(|c| Met { what: c.what, found: c.found, limit: c.limit, met: c.met, source: c.source })
                .collect(),
            remarks: fitted.cautions.iter().map(ToString::to_string).collect(),
        }
    }
}
