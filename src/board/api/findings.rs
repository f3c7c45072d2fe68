//! Findings.

use super::asked::Asked;
use super::paging::{self, Paging, escaped};
use super::problem::{Problem, problem};
use crate::board::shown::Shown;
use crate::time::{At, Zone};
use crate::units::decimal;
use crate::watch::{Kept, SAFETY};
use axum::Json;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use serde::{Deserialize, Serialize};
use std::sync::Arc;
use utoipa::{IntoParams, ToSchema};

/// A finding: one event that a person should look at.
#[derive(Serialize, ToSchema)]
pub(super) struct Finding {
    /// What it is called, whatever becomes known of it later.
    id: String,
    /// What raised it.
    rule: &'static str,
    /// The thing in question.
    about: String,
    /// The station, where it is one.
    station: Option<String>,
    /// `open`, `acknowledged`, `snoozed`, `over` or `closed`.
    standing: &'static str,
    /// Since when, ISO 8601 with offset.
    since: String,
    /// Whether that is a first guess.
    is_about: bool,
    /// When it could first be known.
    raised: String,
    /// When it ended; null where it goes on.
    until: Option<String>,
    /// What is drawn above what is expected; null where that cannot be said.
    above: Option<Above>,
    /// What was found.
    evidence: Vec<String>,
    /// What to ask, and whom.
    questions: Vec<&'static str>,
    /// The newest answer; null where nobody has given one.
    answer: Option<Answer>,
    /// What to heed.
    safety: &'static str,
}

/// What is drawn above. Half-widths are at 90 %.
#[derive(Serialize, ToSchema)]
struct Above {
    watts: f64,
    watts_half: Option<f64>,
    /// Energy so far, exact.
    energy_kwh: String,
    energy_half_kwh: Option<String>,
    /// Its cost by the bands of its time, in the plant's currency, exact.
    cost: String,
    /// What the 28 days ahead would come to, where it goes on.
    ahead_kwh: Option<String>,
    ahead_cost: Option<String>,
}

/// An answer.
#[derive(Serialize, ToSchema)]
struct Answer {
    /// `acknowledged`, `snoozed` or `closed`.
    answer: &'static str,
    /// When it was given.
    at: String,
    /// By whom and why.
    note: String,
}

/// Which findings.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub(super) struct Which {
    /// Only those that stand so.
    #[param(value_type = Option<String>, pattern = "^(open|acknowledged|snoozed|over|closed)$")]
    standing: Option<String>,
    /// Only those about this station, such as `p1/s6`.
    station: Option<String>,
    /// How many items; 100 where it is left out.
    #[param(value_type = Option<u32>, minimum = 1, maximum = 500)]
    limit: Option<String>,
    /// The items after the one with this `id`.
    after: Option<String>,
}

/// A page of findings.
#[derive(Serialize, ToSchema)]
#[allow(dead_code, reason = "the document describes the page by it")]
pub(super) struct FindingPage {
    items: Vec<Finding>,
    /// The address of the next page; null on the last.
    next: Option<String>,
}

const STANDINGS: [&str; 5] = ["open", "acknowledged", "snoozed", "over", "closed"];

/// Findings, the newest first.
#[utoipa::path(get, path = "/api/v1/findings", tag = "findings", params(Which), responses(
    (status = 200, description = "A page of findings", body = FindingPage, headers(("etag" = String, description = "Tag of the content"))),
    (status = 400, description = "The query cannot be used", body = Problem, content_type = "application/problem+json")
))]
pub(super) async fn list(State(shown): State<Arc<Shown>>, Asked(which): Asked<Which>) -> Result<Response, Response> {
    if let Some(standing) = which.standing.as_deref().filter(|standing| !STANDINGS.contains(standing)) {
        let told = format!(
            "standing is \"{}\"; expected one of {}.",
            crate::board::present::short(standing),
            STANDINGS.join(", ")
        );
        return Err(problem(StatusCode::BAD_REQUEST, &told));
    }
    let (now, at) = (shown.of.live.now(), shown.of.clock.now());
    let mut all = now.findings();
    all.retain(|kept| {
        which.standing.as_deref().is_none_or(|standing| kept.standing(at).word() == standing)
            && which.station.as_deref().is_none_or(|id| kept.finding.station.as_ref().is_some_and(|s| s.as_str() == id))
    });
    all.sort_by(|a, b| (b.finding.since, &a.id).cmp(&(a.finding.since, &b.id)));
    let items: Vec<Finding> = all.iter().map(|kept| finding(now.plant.zone, kept, at)).collect();
    let mut query = String::new();
    for (name, value) in [("standing", &which.standing), ("station", &which.station)] {
        if let Some(value) = value {
            query.push_str(&format!("{name}={}&", escaped(value)));
        }
    }
    let paging = Paging { limit: which.limit, after: which.after };
    paging::page(items, |item| &item.id, &paging, "/api/v1/findings", &query)
}

/// One finding. Its id is a single segment of the path: `/` in it is written `%2F`.
#[utoipa::path(get, path = "/api/v1/findings/{id}", tag = "findings", params(("id" = String, Path, description = "What it is called")), responses(
    (status = 200, description = "The finding", body = Finding, headers(("etag" = String, description = "Tag of the content"))),
    (status = 400, description = "The path is not UTF-8", body = Problem, content_type = "application/problem+json"),
    (status = 404, description = "There is none, or it was withdrawn", body = Problem, content_type = "application/problem+json")
))]
pub(super) async fn one(
    State(shown): State<Arc<Shown>>,
    id: Result<Path<String>, axum::extract::rejection::PathRejection>,
) -> Response {
    let Ok(Path(id)) = id else { return problem(StatusCode::BAD_REQUEST, "The path is not UTF-8.") };
    let (now, at) = (shown.of.live.now(), shown.of.clock.now());
    match now.findings().iter().find(|kept| kept.id == id) {
        Some(kept) => Json(finding(now.plant.zone, kept, at)).into_response(),
        None => problem(StatusCode::NOT_FOUND, "There is no such finding; later data may have taken its ground away."),
    }
}

fn finding(zone: Zone, kept: &Kept, at: At) -> Finding {
    let found = &kept.finding;
    Finding {
        id: kept.id.clone(),
        rule: found.rule.word(),
        about: found.about.clone(),
        station: found.station.as_ref().map(ToString::to_string),
        standing: kept.standing(at).word(),
        since: zone.stamp(found.since),
        is_about: found.is_about,
        raised: zone.stamp(found.raised),
        until: found.until.map(|until| zone.stamp(until)),
        above: found.above.as_ref().map(above),
        evidence: found.evidence.clone(),
        questions: found.rule.questions().to_vec(),
        answer: kept.answer.as_ref().map(|answered| Answer {
            answer: answered.answer.word(),
            at: zone.stamp(answered.at),
            note: answered.note.clone(),
        }),
        safety: SAFETY,
    }
}

fn above(above: &crate::watch::Above) -> Above {
    let money = |micros: i64| decimal(micros, 6);
    Above {
        watts: above.watts,
        watts_half: above.watts_half,
        energy_kwh: above.energy.to_string(),
        energy_half_kwh: above.energy_half.map(|half| half.to_string()),
        cost: money(above.cost.micros()),
        ahead_kwh: above.ahead.map(|(energy, _)| energy.to_string()),
        ahead_cost: above.ahead.map(|(_, cost)| money(cost.micros())),
    }
}
