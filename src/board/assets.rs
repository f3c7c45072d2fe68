//! The style sheet and the script, embedded. They may be kept for as long as the program is the same.

use crate::units::hex;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use sha2::{Digest, Sha256};
use std::sync::LazyLock;

const STYLE: &str = include_str!("../../templates/board/board.css");
const SCRIPT: &str = include_str!("../../templates/board/board.js");

static VERSION: LazyLock<String> =
    LazyLock::new(|| hex(&Sha256::new().chain_update(STYLE).chain_update(SCRIPT).finalize()[..8]));

/// Changes with every change of what is embedded.
pub(super) fn version() -> &'static str {
    &VERSION
}

/// `/board.css`.
pub(super) async fn style(headers: HeaderMap) -> Response {
    asset(&headers, "text/css; charset=utf-8", STYLE)
}

/// `/board.js`.
pub(super) async fn script(headers: HeaderMap) -> Response {
    asset(&headers, "text/javascript; charset=utf-8", SCRIPT)
}

fn asset(headers: &HeaderMap, kind: &'static str, text: &'static str) -> Response {
    let tag = format!("\"{}\"", version());
    let kept = [(header::ETAG, tag.clone()), (header::CACHE_CONTROL, "private, max-age=31536000, immutable".into())];
    match headers.get(header::IF_NONE_MATCH).is_some_and(|known| known.as_bytes() == tag.as_bytes()) {
        true => (StatusCode::NOT_MODIFIED, kept).into_response(),
        false => (kept, [(header::CONTENT_TYPE, kind)], text).into_response(),
    }
}
