//! The server: a table of addresses, and nothing else.

use crate::acquire::Clock;
use crate::agent::{Live, Sources};
use crate::board::{hall, health, host, reports, token};
use axum::Router;
use axum::http::header::{CACHE_CONTROL, CONTENT_SECURITY_POLICY, HeaderName, REFERRER_POLICY, X_CONTENT_TYPE_OPTIONS};
use axum::middleware::{from_fn_with_state, map_response};
use axum::response::Response;
use axum::routing::get;
use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::Arc;
use tokio::net::TcpListener;
use tokio::sync::watch;

/// What the pages are made of.
pub struct Shown {
    /// What the agent knows right now.
    pub live: Arc<Live>,
    /// How the sources fare.
    pub sources: Sources,
    /// The agent's clock.
    pub clock: Clock,
    /// The folder of the reports.
    pub reports: PathBuf,
    /// Where it listens.
    pub listen: SocketAddr,
    /// What a request must send; `None` where everybody who reaches the page may see it.
    pub token: Option<String>,
}

/// Serves the pages on a bound listener until told to stop.
pub async fn serve(listener: TcpListener, shown: Arc<Shown>, mut stop: watch::Receiver<bool>) -> std::io::Result<()> {
    let stopped = async move {
        // An agent that is gone has stopped as well.
        let _ = stop.wait_for(|stop| *stop).await;
    };
    axum::serve(listener, router(shown)).with_graceful_shutdown(stopped).await
}

/// The addresses.
fn router(shown: Arc<Shown>) -> Router {
    Router::new()
        .route("/", get(hall::page))
        .route("/healthz", get(health::answer))
        .route("/reports/{month}/{file}", get(reports::file))
        .layer(from_fn_with_state(shown.clone(), token::admit))
        .layer(from_fn_with_state(shown.clone(), host::admit))
        .layer(map_response(guard))
        .with_state(shown)
}

/// Nothing on a page comes from elsewhere, nothing runs in it, and it is never kept.
async fn guard(mut response: Response) -> Response {
    const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; \
                          form-action 'none'; frame-ancestors 'none'";
    let rules: [(HeaderName, &'static str); 4] = [
        (CONTENT_SECURITY_POLICY, POLICY),
        (X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (REFERRER_POLICY, "no-referrer"),
        (CACHE_CONTROL, "no-store"),
    ];
    for (name, value) in rules {
        response.headers_mut().insert(name, axum::http::HeaderValue::from_static(value));
    }
    response
}
