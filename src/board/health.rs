//! Whether the agent is well, for a supervisor: 200 and `ok`, or 503 and the reasons, one a line.

use crate::board::Shown;
use crate::units::counted;
use axum::extract::State;
use axum::http::StatusCode;
use std::sync::Arc;

/// The answer of `/healthz`.
pub(super) async fn answer(State(shown): State<Arc<Shown>>) -> (StatusCode, String) {
    let health = shown.live.now().store;
    match health.fault {
        None => (StatusCode::OK, "ok\n".into()),
        Some(fault) => {
            let held = format!("held in memory: {}; dropped: {}", counted(health.held, "reading"), health.dropped);
            (StatusCode::SERVICE_UNAVAILABLE, format!("the store does not accept readings: {fault}\n{held}\n"))
        }
    }
}
