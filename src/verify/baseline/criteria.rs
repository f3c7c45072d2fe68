//! Limits that protocols put on a model. None of them decides by itself, and R² never does.

use crate::stats::{Fit, diagnose::Holdout};

/// A limit, what was found against it, and who states it.
#[derive(Clone, Debug, PartialEq)]
pub struct Criterion {
    /// What is judged.
    pub what: &'static str,
    /// What was found.
    pub found: f64,
    /// The limit in words, such as `at most 20 %`.
    pub limit: &'static str,
    /// Whether it is kept.
    pub met: bool,
    /// Who states it; `from memory` where the text itself was not at hand.
    pub source: &'static str,
}

impl Criterion {
    /// Whether it is a share, and its limit one in per cent.
    pub fn is_share(&self) -> bool {
        self.limit.ends_with('%')
    }
}

const G14: &str = "ASHRAE Guideline 14-2002, prescriptive path, under 12 months of reporting; from memory";
const G14_BIAS: &str = "ASHRAE Guideline 14, net determination bias; from memory";
const IPMVP: &str = "IPMVP, statistics guidance; from memory";
const IPMVP_R2: &str = "IPMVP, a guide only, which decides nothing (EVO, M&V Focus 5)";
const SEP: &str = "DOE SEP M&V protocol; from memory";
const OWN: &str = "own judgement, after the bias limit of ASHRAE Guideline 14 for monthly calibrated simulation";

/// The limits, as far as they can be computed. `held` is how a model of the first three quarters does on the rest, and
/// `excluded` the share of days that were set aside.
pub fn criteria(fit: &Fit, held: Option<&Holdout>, excluded: f64) -> Vec<Criterion> {
    let model = &fit.model;
    let mut all = Vec::new();
    let mut add = |what, found: Option<f64>, limit, met: &dyn Fn(f64) -> bool, source| {
        all.extend(found.map(|found| Criterion { what, found, limit, met: met(found), source }));
    };
    let drivers = || model.terms.iter().skip(usize::from(model.constant));
    let least_t = drivers().filter_map(|term| Some(term.t()?.abs())).reduce(f64::min);
    let p_values = || drivers().filter_map(|term| model.p_value(term));
    let bias = fit.residuals.iter().sum::<f64>() / (model.freedom() * model.mean);
    add("CV(RMSE)", model.cv(), "at most 20 %", &|cv| cv <= 0.20, G14);
    add("days set aside", Some(excluded), "at most 25 %", &|share| share <= 0.25, G14);
    add("NMBE in sample", Some(bias), "within 0.005 %", &|bias| bias.abs() <= 5e-5, G14_BIAS);
    add("NMBE held out", held.map(|held| held.nmbe), "within 5 %", &|bias| bias.abs() <= 0.05, OWN);
    add("least |t|", least_t, "above 2", &|t| t > 2.0, IPMVP);
    add("R2", fit.r2_centred, "above 0.75", &|r2| r2 > 0.75, IPMVP_R2);
    add("p of F", fit.f().and_then(|f| f.p_value()), "below 0.10", &|p| p < 0.10, SEP);
    add("largest p", p_values().reduce(f64::max), "below 0.20", &|p| p < 0.20, SEP);
    add("smallest p", p_values().reduce(f64::min), "below 0.10", &|p| p < 0.10, SEP);
    all
}
