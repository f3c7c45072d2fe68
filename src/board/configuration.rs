//! The plant as it is understood: what the configuration says, and what is missing.

use super::access::Visitor;
use super::history::from_books;
use super::page::Page;
use super::shown::Shown;
use crate::config::Understood;
use axum::extract::{Extension, State};
use axum::response::Response;
use serde::Serialize;
use std::sync::Arc;

#[derive(Serialize)]
struct Shows {
    text: Option<String>,
}

/// `GET /configuration`.
pub(super) async fn page(State(shown): State<Arc<Shown>>, Extension(visitor): Extension<Visitor>) -> Response {
    let text = from_books(shown.clone(), "configuration".into(), |books, shown, now| {
        // With every recorded fact in its place, as metering sees it.
        let mut configuration = shown.of.configuration.clone();
        configuration.plant = books.plant().clone();
        let text = Understood::at(&configuration, now, books.issues()).to_string();
        Ok(text.chars().map(|c| if c.is_control() && c != '\n' { ' ' } else { c }).collect())
    });
    let page = Page { template: "configuration.html", title: "Configuration", under: "/configuration", reload: None };
    shown.page(&visitor, &page, &Shows { text: text.await })
}
