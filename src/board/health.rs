//! Whether the agent is well, for a supervisor: `live` while it answers at all, `ready` while it does its work, with the reasons
//! where it does not.

use super::meters::meter_summary;
use super::shown::Shown;
use crate::units::counted;
use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use serde::Serialize;
use std::sync::Arc;
use utoipa::ToSchema;

/// How the agent is.
#[derive(Serialize, ToSchema)]
pub(super) struct Health {
    /// Whether it answers.
    live: bool,
    /// Whether readings are stored.
    ready: bool,
    /// Why it is not ready; empty where it is.
    reasons: Vec<String>,
    /// What does not go well and keeps nothing from being stored, such as a meter that does not answer.
    remarks: Vec<String>,
}

/// Whether it answers, in a word; for everybody.
#[utoipa::path(get, path = "/healthz/live", tag = "health", security(()), responses((status = 200, description = "It answers", body = String, content_type = "text/plain")))]
pub(super) async fn live() -> &'static str {
    "live\n"
}

/// Whether it is ready, and why not.
#[utoipa::path(get, path = "/healthz/ready", tag = "health", responses(
    (status = 200, description = "Readings are stored", body = Health),
    (status = 503, description = "Readings are not stored", body = Health)
))]
pub(super) async fn ready(State(shown): State<Arc<Shown>>) -> (StatusCode, Json<Health>) {
    let now = shown.of.live.now();
    let reasons: Vec<String> = now
        .store
        .fault
        .iter()
        .map(|fault| {
            let held = format!("{} held in memory, {} dropped", counted(now.store.held, "reading"), now.store.dropped);
            format!("the store does not accept readings: {fault}; {held}")
        })
        .collect();
    let status = if reasons.is_empty() { StatusCode::OK } else { StatusCode::SERVICE_UNAVAILABLE };
    let remarks = meter_summary(&shown, now.plant.zone).troubles;
    (status, Json(Health { live: true, ready: reasons.is_empty(), reasons, remarks }))
}
