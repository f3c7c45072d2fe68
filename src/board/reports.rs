//! The reports as files.

use crate::board::Shown;
use crate::time::Month;
use axum::extract::{Path, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use std::path;
use std::sync::Arc;

/// The months that have a report, the newest first.
pub(super) fn months(folder: &path::Path) -> Vec<Month> {
    let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
    let mut months: Vec<Month> = entries.filter_map(|e| Month::parse(e.file_name().to_str()?)).collect();
    months.sort_unstable_by(|a, b| b.cmp(a));
    months
}

/// One file of a report. Only a month and a plain file name reach the disk.
pub(super) async fn file(State(shown): State<Arc<Shown>>, Path((month, file)): Path<(String, String)>) -> Response {
    let known = Month::parse(&month).zip(kind(&file));
    let Some((month, kind)) = known else {
        return missing();
    };
    let path = shown.reports.join(month.to_string()).join(&file);
    match tokio::task::spawn_blocking(move || std::fs::read(path)).await {
        Ok(Ok(bytes)) => ([(header::CONTENT_TYPE, kind)], bytes).into_response(),
        _ => missing(),
    }
}

/// The content type of a report's file; `None` for a name that no report has.
fn kind(file: &str) -> Option<&'static str> {
    let plain = file.bytes().all(|b| b.is_ascii_lowercase() || b == b'.' || b == b'-') && !file.starts_with('.');
    match file.rsplit_once('.')?.1 {
        "html" if plain => Some("text/html; charset=utf-8"),
        "csv" if plain => Some("text/csv; charset=utf-8"),
        "json" if plain => Some("application/json"),
        _ => None,
    }
}

fn missing() -> Response {
    (StatusCode::NOT_FOUND, "There is no such report. The page / lists those that exist.\n").into_response()
}
