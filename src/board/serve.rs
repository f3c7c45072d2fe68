//! The server: a table of addresses, and nothing else.

use super::shown::Shown;
use super::tls::Secured;
use super::{
    access, answer, api, assets, configuration, data, findings, hall, health, host, job, live, metrics, press, reports,
    station,
};
use axum::Router;
use axum::extract::{DefaultBodyLimit, Request};
use axum::http::HeaderValue;
use axum::http::header::{CACHE_CONTROL, CONTENT_SECURITY_POLICY, HeaderName, REFERRER_POLICY, X_CONTENT_TYPE_OPTIONS};
use axum::middleware::{Next, from_fn, from_fn_with_state};
use axum::response::Response;
use axum::routing::{get, post};
use axum::serve::ListenerExt;
use rustls::ServerConfig;
use std::net::SocketAddr;
use std::sync::Arc;
use tokio::net::TcpListener;
use tokio::sync::watch;

/// The longest form that is read, in bytes.
const LONGEST: usize = 16 * 1024;

/// Serves the pages on a bound listener until told to stop, over TLS where terms for that are given.
pub async fn serve(
    listener: TcpListener,
    terms: Option<Arc<ServerConfig>>,
    shown: Arc<Shown>,
    stop: watch::Receiver<bool>,
) -> std::io::Result<()> {
    let beat = tokio::spawn(live::beat(shown.clone(), stop.clone()));
    let mut stopped = stop;
    let until = async move {
        // An agent that is gone has stopped as well.
        let _ = stopped.wait_for(|stop| *stop).await;
    };
    let service = router(shown).into_make_service_with_connect_info::<SocketAddr>();
    let served = match terms {
        Some(terms) => {
            // Only a listener of axum's own tells the address of a visitor.
            let secured = Secured::new(listener, terms)?.tap_io(|_| ());
            axum::serve(secured, service).with_graceful_shutdown(until).await
        }
        None => axum::serve(listener, service).with_graceful_shutdown(until).await,
    };
    beat.abort();
    served
}

/// The addresses.
fn router(shown: Arc<Shown>) -> Router {
    Router::new()
        .route("/", get(hall::page))
        .route("/press/{press}", get(press::page))
        .route("/station/{press}/{station}", get(station::page))
        .route("/job/{job}", get(job::page))
        .route("/findings", get(findings::page))
        .route("/finding/{*id}", get(findings::one))
        .route("/answer", post(answer::answer))
        .route("/data", get(data::page))
        .route("/reports", get(reports::page))
        .route("/reports/{month}/{file}", get(reports::file))
        .route("/configuration", get(configuration::page))
        .route("/live", get(live::live))
        .route("/enter", get(access::form).post(access::enter))
        .route("/leave", post(access::leave))
        .route("/board.css", get(assets::style))
        .route("/board.js", get(assets::script))
        .route("/healthz", get(health::ready))
        .route("/healthz/live", get(health::live))
        .route("/healthz/ready", get(health::ready))
        .route("/metrics", get(metrics::metrics))
        .nest("/api", api::router())
        .fallback(api::nowhere)
        .layer(DefaultBodyLimit::max(LONGEST))
        .layer(from_fn_with_state(shown.clone(), access::admit))
        .layer(from_fn_with_state(shown.clone(), host::admit))
        .layer(from_fn(guard))
        .with_state(shown)
}

/// Nothing on a page comes from elsewhere, and nothing runs in it but the board's own script. A report is a file that carries its
/// style sheet in itself.
async fn guard(request: Request, next: Next) -> Response {
    const PAGE: &str = "default-src 'none'; style-src 'self'; script-src 'self'; connect-src 'self'; img-src 'self'; \
                        form-action 'self'; base-uri 'none'; frame-ancestors 'none'";
    const REPORT: &str = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; \
                          form-action 'none'; frame-ancestors 'none'";
    let is_report = request.uri().path().starts_with("/reports/");
    let mut response = next.run(request).await;
    let rules: [(HeaderName, &'static str); 3] = [
        (CONTENT_SECURITY_POLICY, if is_report { REPORT } else { PAGE }),
        (X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (REFERRER_POLICY, "same-origin"),
    ];
    for (name, value) in rules {
        response.headers_mut().insert(name, HeaderValue::from_static(value));
    }
    // What is not known by a tag is never kept.
    response.headers_mut().entry(CACHE_CONTROL).or_insert(HeaderValue::from_static("no-store"));
    response
}
