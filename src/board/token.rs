//! Who may see the pages: where a token is configured, whoever sends it. Scripts send it as a bearer token (RFC 6750,
//! 2.1); browsers ask for a name and a password (RFC 7617), of which the password is the token and the name may be any.

use crate::board::Shown;
use axum::extract::{Request, State};
use axum::http::{StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use sha2::{Digest, Sha256};
use std::sync::Arc;

/// Lets a request pass that sends the token, and every request where none is asked for.
pub(super) async fn admit(State(shown): State<Arc<Shown>>, request: Request, next: Next) -> Response {
    let sent = request.headers().get(header::AUTHORIZATION).and_then(|value| value.to_str().ok());
    match &shown.token {
        Some(token) if !sent.is_some_and(|sent| holds(sent, token)) => refused(),
        _ => next.run(request).await,
    }
}

fn refused() -> Response {
    let ask = [(header::WWW_AUTHENTICATE, "Basic realm=\"inkwatt\", charset=\"UTF-8\"")];
    (StatusCode::UNAUTHORIZED, ask, "This page asks for a token: send it as the password, or as a bearer token.\n")
        .into_response()
}

/// Whether the value of an `Authorization` header holds the token.
fn holds(sent: &str, token: &str) -> bool {
    let Some((scheme, rest)) = sent.split_once(' ') else { return false };
    if scheme.eq_ignore_ascii_case("bearer") {
        return same(rest.trim().as_bytes(), token);
    }
    let credentials = if scheme.eq_ignore_ascii_case("basic") { base64(rest.trim()) } else { None };
    let Some(credentials) = credentials else { return false };
    let password = credentials.splitn(2, |byte| *byte == b':').nth(1);
    password.is_some_and(|password| same(password, token))
}

/// Hashes are compared, so that the time taken says nothing about the token.
fn same(sent: &[u8], token: &str) -> bool {
    Sha256::digest(sent) == Sha256::digest(token)
}

/// The bytes of a base64 text (RFC 4648, 4).
fn base64(text: &str) -> Option<Vec<u8>> {
    const ALPHABET: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let (mut bytes, mut held, mut bits) = (Vec::new(), 0_u32, 0);
    for letter in text.trim_end_matches('=').bytes() {
        held = held << 6 | ALPHABET.iter().position(|known| *known == letter)? as u32;
        bits += 6;
        if bits >= 8 {
            bits -= 8;
            bytes.push((held >> bits) as u8);
            held &= (1 << bits) - 1;
        }
    }
    Some(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 4648, section 10.
    #[test]
    fn base64_is_read_as_the_standard_has_it() {
        let known =
            [("", ""), ("Zg==", "f"), ("Zm8=", "fo"), ("Zm9v", "foo"), ("Zm9vYg==", "foob"), ("Zm9vYmFy", "foobar")];
        for (text, plain) in known {
            assert_eq!(base64(text).as_deref(), Some(plain.as_bytes()), "{text}");
        }
        assert_eq!(base64("Zm 9v"), None);
    }

    /// The two headers are the examples of RFC 7617, section 2, and RFC 6750, section 2.1.
    #[test]
    fn a_token_is_taken_as_a_password_or_as_a_bearer_token_and_nothing_else_passes() {
        assert!(holds("Basic QWxhZGRpbjpvcGVuIHNlc2FtZQ==", "open sesame"));
        assert!(holds("Bearer mF_9.B5f-4.1JqM", "mF_9.B5f-4.1JqM"));
        let others = ["", "Basic", "Basic QWxhZGRpbg==", "Basic !", "Bearer open", "Bearer ", "Digest open sesame"];
        for sent in others {
            assert!(!holds(sent, "open sesame"), "{sent:?}");
        }
    }
}
