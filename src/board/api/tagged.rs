//! Every answer carries a tag of its content (RFC 9110, 8.8.3): whoever has it already is told so in a line.

use crate::units::hex;
use axum::body::{Body, to_bytes};
use axum::extract::Request;
use axum::http::{HeaderValue, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use sha2::{Digest, Sha256};

/// The longest answer that is tagged, in bytes; there is none near it.
const LONGEST: usize = 64 * 1024 * 1024;

/// Tags an answer, and leaves its content away where the client has it.
pub(super) async fn tagged(request: Request, next: Next) -> Response {
    let known = request.headers().get(header::IF_NONE_MATCH).cloned();
    let response = next.run(request).await;
    if response.status() != StatusCode::OK {
        return response;
    }
    let (mut parts, body) = response.into_parts();
    let Ok(bytes) = to_bytes(body, LONGEST).await else { return StatusCode::INTERNAL_SERVER_ERROR.into_response() };
    let tag = format!("\"{}\"", hex(&Sha256::digest(&bytes)[..16]));
    if let Ok(value) = HeaderValue::try_from(&tag) {
        parts.headers.insert(header::ETAG, value);
    }
    parts.headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("private, no-cache"));
    let has = known.as_ref().and_then(|known| known.to_str().ok()).is_some_and(|known| {
        known.trim() == "*" || known.split(',').any(|one| one.trim().trim_start_matches("W/") == tag)
    });
    if has {
        parts.status = StatusCode::NOT_MODIFIED;
        parts.headers.remove(header::CONTENT_TYPE);
        parts.headers.remove(header::CONTENT_LENGTH);
        return Response::from_parts(parts, Body::empty());
    }
    Response::from_parts(parts, Body::from(bytes))
}
