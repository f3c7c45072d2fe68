//! By which name the page may be asked for. A page elsewhere can point a name of its own at a loopback address and so
//! read, through the browser of whoever visits it, what this machine serves without a token (DNS rebinding). Such a
//! request carries the foreign name in its `Host` (RFC 9110, 7.2), and is refused.

use super::shown::Shown;
use axum::extract::{Request, State};
use axum::http::uri::Authority;
use axum::http::{StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use std::net::IpAddr;
use std::sync::Arc;

/// What is said to others.
const REFUSED: &str = "This page answers to localhost, to loopback addresses and to the address it listens on. To serve \
                       it under another name, give it a token: `inkwatt token NAME --role view` makes one.\n";

/// Lets a request pass that names this machine. Where a token is asked for, the token decides: no foreign page has it, and a cookie goes to the host only that gave it.
pub(super) async fn admit(State(shown): State<Arc<Shown>>, request: Request, next: Next) -> Response {
    let named = request.headers().get_all(header::HOST).iter();
    let ours = |host: &str| is_ours(host, shown.of.listen.ip());
    let all_ours = named.into_iter().all(|host| host.to_str().is_ok_and(ours))
        && request.uri().authority().is_none_or(|authority| ours(authority.as_str()));
    if !shown.access.is_open() || all_ours {
        return next.run(request).await;
    }
    (StatusCode::MISDIRECTED_REQUEST, REFUSED).into_response()
}

/// Whether a host, with or without a port, is a loopback name (RFC 6761, 6.3), a loopback address or our own.
fn is_ours(host: &str, own: IpAddr) -> bool {
    let Ok(authority) = host.parse::<Authority>() else { return false };
    let name = authority.host().trim_start_matches('[').trim_end_matches(']').trim_end_matches('.');
    match name.parse::<IpAddr>() {
        Ok(address) => address.is_loopback() || address == own,
        Err(_) => {
            let name = name.to_ascii_lowercase();
            name == "localhost" || name.ends_with(".localhost")
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::net::Ipv4Addr;

    #[test]
    fn only_names_of_this_machine_are_ours() {
        let ours = |host| is_ours(host, Ipv4Addr::new(192, 0, 2, 7).into());
        for host in
            ["localhost", "LOCALHOST:8420", "a.localhost", "127.0.0.1:8420", "127.9.9.9", "[::1]:8420", "192.0.2.7"]
        {
            assert!(ours(host), "{host}");
        }
        for host in ["evil.example", "localhost.evil.example:8420", "127.0.0.1.evil.example", "192.0.2.8", "", "a b"] {
            assert!(!ours(host), "{host}");
        }
    }
}
