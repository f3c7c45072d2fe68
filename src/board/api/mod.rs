//! `/api/v1/`: what the board shows, for programs. Read-only JSON, described by an OpenAPI document that is made from this code.

#![allow(clippy::result_large_err, reason = "an answer is made once a request")]

mod asked;
mod document;
mod energy;
mod findings;
mod jobs;
mod now;
mod paging;
mod plant;
mod problem;
mod reports;
mod tagged;

pub(super) use problem::{nowhere, problem};

use super::shown::Shown;
use axum::Router;
use axum::middleware::from_fn;
use axum::routing::get;
use std::sync::Arc;

/// The addresses below `/api`.
pub(super) fn router() -> Router<Arc<Shown>> {
    let v1 = Router::new()
        .route("/openapi.json", get(document::document))
        .route("/plant", get(plant::plant))
        .route("/now", get(now::now))
        .route("/findings", get(findings::list))
        .route("/findings/{id}", get(findings::one))
        .route("/energy", get(energy::energy))
        .route("/jobs", get(jobs::jobs))
        .route("/reports", get(reports::reports))
        .layer(from_fn(tagged::tagged));
    Router::new().nest("/v1", v1).fallback(nowhere).method_not_allowed_fallback(problem::not_allowed)
}

/// Whether programs ask there, so that they are answered by problem details and not by a page.
pub(super) fn is_for_scripts(path: &str) -> bool {
    ["/api/", "/healthz", "/metrics", "/live"].iter().any(|part| path.starts_with(part))
}
