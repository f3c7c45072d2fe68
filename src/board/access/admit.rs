//! Lets requests pass that may.

use super::session::{Session, form};
use super::{Access, Visitor};
use crate::board::api;
use crate::board::shown::Shown;
use crate::config::Role;
use crate::time::At;
use axum::extract::{ConnectInfo, Request, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Redirect, Response};
use std::net::{IpAddr, SocketAddr};
use std::sync::{Arc, PoisonError};
use subtle::ConstantTimeEq;

/// The cookie's name; the prefix binds it to this host and to TLS (RFC 6265bis, 4.1.3.2).
pub(super) const fn cookie(is_secure: bool) -> &'static str {
    if is_secure { "__Host-inkwatt" } else { "inkwatt" }
}

/// What nobody needs a token for: the form itself and what it looks like, and whether the agent is well, in a word.
const FOR_ALL: [&str; 4] = ["/enter", "/board.css", "/board.js", "/healthz/live"];

/// Lets a request pass with its visitor; whoever may not see what is asked for is told how.
pub(in crate::board) async fn admit(State(shown): State<Arc<Shown>>, mut request: Request, next: Next) -> Response {
    let from = request.extensions().get::<ConnectInfo<SocketAddr>>().map_or(IpAddr::from([0; 4]), |info| info.0.ip());
    let (now, path) = (shown.of.clock.now(), request.uri().path().to_owned());
    let visitor = match shown.access.visitor(request.headers(), from, now) {
        Ok(visitor) => visitor,
        Err(wait) => return wait_a_while(&path, wait),
    };
    if !visitor.may_see() && !FOR_ALL.contains(&path.as_str()) {
        return refused(&path);
    }
    request.extensions_mut().insert(visitor);
    next.run(request).await
}

impl Access {
    /// Who asks; after too many wrong tokens, for how long they have to wait instead.
    fn visitor(&self, headers: &HeaderMap, from: IpAddr, now: At) -> Result<Visitor, i64> {
        if self.is_open() {
            let (name, form) = ("this machine".into(), form(&self.key, ""));
            return Ok(Visitor { name, role: Some(Role::Act), by_cookie: false, form });
        }
        if let Some(sent) = bearer(headers) {
            return self.try_token(sent, from, now).map(|token| self.bare(token.map(|t| (t.name.clone(), t.role))));
        }
        let sealed = cookies(headers).find_map(|(name, value)| (name == cookie(self.is_secure)).then_some(value));
        let admitted = sealed.and_then(|sealed| {
            let session = Session::opened(sealed, &self.key, now)?;
            let token = session.token(self)?;
            let (name, form) = (token.name.clone(), form(&self.key, sealed));
            Some(Visitor { name, role: Some(token.role), by_cookie: true, form })
        });
        Ok(admitted.unwrap_or_else(|| self.bare(None)))
    }

    /// A visitor without a cookie.
    fn bare(&self, known: Option<(String, Role)>) -> Visitor {
        let (name, role) = known.map_or((String::new(), None), |(name, role)| (name, Some(role)));
        Visitor { name, role, by_cookie: false, form: String::new() }
    }

    /// The token of a text; after too many wrong ones of an address, for how long it has to wait instead.
    pub(super) fn try_token(&self, sent: &str, from: IpAddr, now: At) -> Result<Option<&crate::config::Token>, i64> {
        let mut failures = self.failures.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(wait) = failures.wait(from, now) {
            return Err(wait);
        }
        let token = self.token(sent);
        if token.is_none() {
            failures.count(from, now);
        }
        Ok(token)
    }
}

/// Whether a form was sent from a page of this board: it carries what only such a page knows, and a browser names no other
/// origin.
pub(in crate::board) fn is_from_here(visitor: &Visitor, headers: &HeaderMap, sent: &str) -> bool {
    let form = visitor.form();
    !form.is_empty() && bool::from(form.as_bytes().ct_eq(sent.as_bytes())) && is_same_origin(headers)
}

/// Whether the origin that a browser names, if any, is the host that it asks (RFC 6454, 7).
pub(super) fn is_same_origin(headers: &HeaderMap) -> bool {
    let text = |name| headers.get(name).and_then(|value: &axum::http::HeaderValue| value.to_str().ok());
    let Some(origin) = text(header::ORIGIN) else { return true };
    let host = origin.split_once("://").map(|(_, host)| host);
    host.is_some() && host == text(header::HOST)
}

fn bearer(headers: &HeaderMap) -> Option<&str> {
    let (scheme, token) = headers.get(header::AUTHORIZATION)?.to_str().ok()?.split_once(' ')?;
    scheme.eq_ignore_ascii_case("bearer").then(|| token.trim())
}

fn cookies(headers: &HeaderMap) -> impl Iterator<Item = (&str, &str)> {
    let all = headers.get_all(header::COOKIE).iter().filter_map(|value| value.to_str().ok());
    all.flat_map(|line| line.split(';')).filter_map(|pair| pair.trim().split_once('='))
}

/// A page leads to the form; a script is told what to send.
fn refused(path: &str) -> Response {
    if api::is_for_scripts(path) {
        let told = "This needs a token: send it as a bearer token.";
        let ask = [(header::WWW_AUTHENTICATE, "Bearer realm=\"inkwatt\"")];
        return (ask, api::problem(StatusCode::UNAUTHORIZED, told)).into_response();
    }
    Redirect::to("/enter").into_response()
}

fn wait_a_while(path: &str, wait: i64) -> Response {
    let seconds = (wait + 999) / 1_000;
    let told = format!("Too many wrong tokens came from this address. Try again in {seconds} seconds.");
    let after = [(header::RETRY_AFTER, seconds.to_string())];
    match api::is_for_scripts(path) {
        true => (after, api::problem(StatusCode::TOO_MANY_REQUESTS, &told)).into_response(),
        false => (StatusCode::TOO_MANY_REQUESTS, after, told + "\n").into_response(),
    }
}
