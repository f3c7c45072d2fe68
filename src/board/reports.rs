//! The reports: which there are, and their files.

use super::access::Visitor;
use super::page::Page;
use super::shown::Shown;
use crate::time::Month;
use axum::extract::{Extension, Path, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::Serialize;
use std::path;
use std::sync::Arc;

#[derive(Serialize)]
struct Shows {
    months: Vec<MonthLine>,
}

#[derive(Serialize)]
struct MonthLine {
    id: String,
    name: String,
    tables: Vec<String>,
}

/// `GET /reports`.
pub(super) async fn page(State(shown): State<Arc<Shown>>, Extension(visitor): Extension<Visitor>) -> Response {
    let line = |month: Month| {
        let folder = folder(&shown).join(month.to_string());
        let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
        let mut tables: Vec<String> = entries.filter_map(|entry| entry.file_name().into_string().ok()).collect();
        tables.retain(|name| name.ends_with(".csv") && kind(name).is_some());
        tables.sort();
        MonthLine { id: month.to_string(), name: month.first().format("%B %Y").to_string(), tables }
    };
    let shows = Shows { months: months(&folder(&shown)).into_iter().map(line).collect() };
    let page = Page { template: "reports.html", title: "Reports", under: "/reports", reload: None };
    shown.page(&visitor, &page, &shows)
}

/// Where they are.
pub(super) fn folder(shown: &Shown) -> path::PathBuf {
    shown.of.folder.join("reports")
}

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
    let path = folder(&shown).join(month.to_string()).join(&file);
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
    (StatusCode::NOT_FOUND, "There is no such report. The page /reports lists those that exist.\n").into_response()
}
