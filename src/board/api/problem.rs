//! What went wrong, as problem details (RFC 9457).

use axum::Json;
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::Serialize;
use utoipa::ToSchema;

/// Problem details (RFC 9457). The type is `about:blank`: the status says what kind it is, the detail what to do.
#[derive(Debug, Serialize, ToSchema)]
pub(in crate::board) struct Problem {
    /// Always `about:blank`.
    r#type: &'static str,
    /// The status in words.
    title: String,
    /// The status.
    status: u16,
    /// What is wrong, and what to do about it.
    detail: String,
}

/// The answer to a request that fails.
pub(in crate::board) fn problem(status: StatusCode, detail: &str) -> Response {
    let title = status.canonical_reason().unwrap_or("Problem").to_owned();
    let body = Problem { r#type: "about:blank", title, status: status.as_u16(), detail: detail.into() };
    let mut response = (status, Json(body)).into_response();
    response.headers_mut().insert(header::CONTENT_TYPE, HeaderValue::from_static("application/problem+json"));
    response
}

/// The answer where there is nothing.
pub(in crate::board) async fn nowhere() -> Response {
    problem(StatusCode::NOT_FOUND, "There is nothing here. /api/v1/openapi.json lists what there is.")
}

/// The answer to a method that an address does not take; the server adds those that it takes.
pub(super) async fn not_allowed() -> Response {
    problem(StatusCode::METHOD_NOT_ALLOWED, "This address is only read: GET.")
}
