//! The OpenAPI 3.1 document, made from the code.

use super::{energy, findings, jobs, now, plant, reports};
use crate::board::health;
use crate::board::shown::Shown;
use axum::Json;
use axum::extract::State;
use std::sync::Arc;
use utoipa::openapi::OpenApi as Document;
use utoipa::openapi::security::{HttpAuthScheme, HttpBuilder, SecurityScheme};
use utoipa::{Modify, OpenApi};

#[derive(OpenApi)]
#[openapi(
    info(
        title = "Inkwatt",
        description = "What the board shows, for programs. Everything is read only. Times are ISO 8601 with the offset of the plant; \
                       exact amounts are decimal texts. Every answer carries an ETag. A plant without tokens answers to its own \
                       machine only and asks for none.",
        license(name = "MIT", identifier = "MIT")
    ),
    paths(
        plant::plant, now::now, findings::list, findings::one, energy::energy, jobs::jobs, reports::reports, health::live, health::ready
    ),
    security(("token" = [])),
    modifiers(&Token)
)]
struct Described;

/// A token is sent as a bearer token.
struct Token;

impl Modify for Token {
    fn modify(&self, document: &mut Document) {
        let scheme = HttpBuilder::new().scheme(HttpAuthScheme::Bearer).build();
        let components = document.components.get_or_insert_with(Default::default);
        components.add_security_scheme("token", SecurityScheme::Http(scheme));
    }
}

/// `GET /api/v1/openapi.json`. A plant without tokens asks for none.
pub(super) async fn document(State(shown): State<Arc<Shown>>) -> Json<Document> {
    let mut document = Described::openapi();
    if shown.access.is_open() {
        document.security = None;
        document.components.iter_mut().for_each(|components| components.security_schemes.clear());
    }
    Json(document)
}
