//! The style sheet and the script, embedded. They may be kept for as long as they are the same.

use super::page::own_text;
use super::shown::{BoardError, Shown};
use crate::units::hex;
use axum::extract::State;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use sha2::{Digest, Sha256};
use std::path::Path;
use std::sync::Arc;

const STYLE: &str = include_str!("../../templates/board/board.css");
const SCRIPT: &str = include_str!("../../templates/board/board.js");

/// What pages load beside themselves.
pub(super) struct Assets {
    style: String,
    script: String,
    version: String,
}

impl Assets {
    /// The embedded ones, each replaced by one of the same name in a folder, where there is one.
    pub(super) fn new(own: &Path) -> Result<Self, BoardError> {
        let text = |name, embedded: &str| Ok::<_, BoardError>(own_text(own, name)?.unwrap_or_else(|| embedded.into()));
        let (style, script) = (text("board.css", STYLE)?, text("board.js", SCRIPT)?);
        let version = hex(&Sha256::new().chain_update(&style).chain_update(&script).finalize()[..8]);
        Ok(Self { style, script, version })
    }

    /// Changes with every change of either.
    pub(super) fn version(&self) -> &str {
        &self.version
    }
}

/// `/board.css`.
pub(super) async fn style(State(shown): State<Arc<Shown>>, headers: HeaderMap) -> Response {
    asset(&shown.assets, &headers, "text/css; charset=utf-8", &shown.assets.style)
}

/// `/board.js`.
pub(super) async fn script(State(shown): State<Arc<Shown>>, headers: HeaderMap) -> Response {
    asset(&shown.assets, &headers, "text/javascript; charset=utf-8", &shown.assets.script)
}

fn asset(assets: &Assets, headers: &HeaderMap, kind: &'static str, text: &str) -> Response {
    let tag = format!("\"{}\"", assets.version);
    let kept = [(header::ETAG, tag.clone()), (header::CACHE_CONTROL, "private, max-age=31536000, immutable".into())];
    match headers.get(header::IF_NONE_MATCH).is_some_and(|known| known.as_bytes() == tag.as_bytes()) {
        true => (StatusCode::NOT_MODIFIED, kept).into_response(),
        false => (kept, [(header::CONTENT_TYPE, kind)], text.to_owned()).into_response(),
    }
}
