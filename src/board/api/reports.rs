//! Which months have a report.

use crate::board::reports;
use crate::board::shown::Shown;
use axum::Json;
use axum::extract::State;
use serde::Serialize;
use std::sync::Arc;
use utoipa::ToSchema;

/// The reports.
#[derive(Serialize, ToSchema)]
pub(super) struct Reports {
    items: Vec<Report>,
}

/// A report.
#[derive(Serialize, ToSchema)]
struct Report {
    /// The month.
    month: String,
    /// The address of its page.
    page: String,
    /// The address of its manifest, which names every file with its hash.
    manifest: String,
}

/// The months that have a report, the newest first.
#[utoipa::path(get, path = "/api/v1/reports", tag = "reports", responses(
    (status = 200, description = "The reports", body = Reports, headers(("etag" = String, description = "Tag of the content")))
))]
pub(super) async fn reports(State(shown): State<Arc<Shown>>) -> Json<Reports> {
    let report = |month: crate::time::Month| Report {
        page: format!("/reports/{month}/report.html"),
        manifest: format!("/reports/{month}/manifest.json"),
        month: month.to_string(),
    };
    Json(Reports { items: reports::months(&reports::folder(&shown)).into_iter().map(report).collect() })
}
