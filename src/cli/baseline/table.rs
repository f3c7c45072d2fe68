//! Models as tables that fit a terminal of 100 columns.

use super::Models;
use super::asked::Asked;
use crate::cli::columns::hanging;
use crate::verify::baseline::{Criterion, Fitted, Form, Refused};
use std::fmt::Write;

/// The models side by side; one alone with all that is said about it.
pub fn fits(known: &Asked, models: &Models) -> String {
    let mut text = String::new();
    // Writing to a text cannot fail, here and below.
    let _ = writeln!(text, "Baseline of {}, {}", known.judged, known.kind);
    let _ = writeln!(text, "{} to {}", known.period.0, known.period.1);
    match models.as_slice() {
        [(_, Ok(only))] => text.push_str(&one(only)),
        all => text.push_str(&many(known, all)),
    }
    text
}

fn many(known: &Asked, models: &[(Form, Result<Fitted, Refused>)]) -> String {
    let points = known.interval.units();
    let fitted = || models.iter().filter_map(|(_, model)| model.as_ref().ok());
    let most = fitted().map(|model| model.points.len()).max().unwrap_or(0);
    // BIC compares models of the same points only.
    let best = fitted().filter(|m| m.points.len() == most).map(|m| m.bic).reduce(f64::min);
    let mut text = format!(
        "\n{:<34}{points:>6}{:>10}{:>8}{:>9}{:>10}{:>9}{:>9}\n",
        "drivers", "CV(RMSE)", "R2", "BIC", "total", "carry", "least|t|"
    );
    for (form, model) in models {
        match model {
            Ok(model) => {
                let bic = best.filter(|_| model.points.len() == most).map(|best| model.bic - best);
                let bic =
                    bic.map_or("-".into(), |more| if more == 0.0 { "least".into() } else { format!("+{more:.1}") });
                let least = t_values(model).map(f64::abs).reduce(f64::min);
                let _ = writeln!(
                    text,
                    "{:<34}{:>6}{:>10}{:>8}{bic:>9}{:>10}{:>9.2}{:>9}",
                    form.to_string(),
                    model.points.len(),
                    share(model.fit.model.cv(), 1),
                    optional(model.fit.r2_centred, 3),
                    model.precision.map_or("-".into(), |half| format!("± {:.1} %", half * 100.0)),
                    model.rho,
                    optional(least, 1),
                );
            }
            Err(why) => {
                let _ = writeln!(text, "{:<34}{}", form.to_string(), hanging(&why.to_string(), 34));
            }
        }
    }
    text.push_str(
        "\nCV(RMSE) and R2: scatter about the model. BIC: above the least, of models of as many points.\n\
         total: half-width at 90 % of the period's own total, were it predicted (formula E).\n\
         carry: how much of a day's error the next one shares. least |t|: of the weakest driver; below 2 it\n\
         explains little. R2 decides nothing. Coefficients, criteria and remarks of one: --drivers NAMES.\n\
         The choice is yours: inkwatt baseline freeze PRESS --drivers NAMES --why TEXT\n",
    );
    text
}

fn t_values(model: &Fitted) -> impl Iterator<Item = f64> + '_ {
    let own = &model.fit.model;
    own.terms.iter().skip(usize::from(own.constant)).filter_map(|term| term.t())
}

fn share(value: Option<f64>, places: usize) -> String {
    value.map_or("-".into(), |value| format!("{:.places$} %", value * 100.0))
}

fn optional(value: Option<f64>, places: usize) -> String {
    value.map_or("-".into(), |value| format!("{value:.places$}"))
}

/// One model with its terms, statistics, criteria and cautions.
pub fn one(model: &Fitted) -> String {
    let (fit, own) = (&model.fit, &model.fit.model);
    let unit = model.form.interval.unit();
    let mut text = format!("\nkWh a {unit} = {}\n\n", model.form);
    let _ = writeln!(text, "{:<22}{:>14}{:>14}{:>10}{:>12}{:>8}", "term", "kWh a unit", "std error", "t", "p", "VIF");
    for term in &own.terms {
        let vif = model.inflation.iter().find(|(name, _)| *name == term.name).map(|(_, vif)| *vif);
        let _ = writeln!(
            text,
            "{:<22}{:>14.4}{:>14.4}{:>10}{:>12}{:>8}",
            term.name,
            term.coefficient,
            term.se,
            optional(term.t(), 2),
            own.p_value(term).map_or("-".into(), |p| format!("{p:.2e}")),
            optional(vif.filter(|_| own.constant), 1),
        );
    }
    let _ = writeln!(
        text,
        "\n{} points, {} terms; mean {:.1} kWh, RMSE {:.1} kWh, CV(RMSE) {}, R2 {}",
        own.points,
        own.parameters(),
        own.mean,
        own.rmse,
        share(own.cv(), 2),
        optional(fit.r2_centred, 4),
    );
    let _ = writeln!(
        text,
        "carry from one {unit} to the next {:.3}, Durbin-Watson {}, condition {:.0}, BIC {:.1}",
        model.rho,
        optional(model.durbin_watson, 3),
        fit.condition,
        model.bic,
    );
    if let Some(held) = &model.held {
        let _ = writeln!(
            text,
            "fitted to the first three quarters, it is {} off on the rest, with CV(RMSE) {}",
            share(Some(held.nmbe), 2),
            share(Some(held.cv_rmse), 1),
        );
    }
    for (reason, days) in &model.points.aside {
        let _ = writeln!(text, "set aside: {}", reason.counted(*days));
    }
    text.push('\n');
    model.criteria.iter().for_each(|criterion| text.push_str(&judged(criterion)));
    if !model.cautions.is_empty() {
        text.push_str("\nto know before it is trusted\n");
    }
    for caution in &model.cautions {
        let _ = writeln!(text, "- {}", hanging(&caution.to_string(), 2));
    }
    text
}

fn judged(criterion: &Criterion) -> String {
    let found = match criterion.is_share() {
        true => format!("{:.3} %", criterion.found * 100.0),
        false if criterion.found != 0.0 && criterion.found.abs() < 1e-3 => format!("{:.1e}", criterion.found),
        false => format!("{:.3}", criterion.found),
    };
    let verdict = if criterion.met { "kept" } else { "not kept" };
    let source = hanging(criterion.source, 53);
    format!("{:<16}{found:>11}  {:<15}{verdict:<9}{source}\n", criterion.what, criterion.limit)
}
