//! The form by which people enter, and how they leave.

use super::admit::{cookie, is_same_origin};
use super::session::Session;
use super::{Visitor, is_from_here};
use crate::board::page::Page;
use crate::board::shown::Shown;
use axum::extract::{ConnectInfo, Extension, Form, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use serde::{Deserialize, Serialize};
use std::net::SocketAddr;
use std::sync::Arc;

/// What the form holds.
#[derive(Deserialize)]
pub(in crate::board) struct Entered {
    token: String,
}

/// What a form holds that only has to come from here.
#[derive(Deserialize)]
pub(in crate::board) struct Bare {
    form: String,
}

#[derive(Serialize)]
struct Enter {
    wrong: Option<String>,
}

const PAGE: Page<'static> = Page { template: "enter.html", title: "Enter", under: "", reload: None };

/// `GET /enter`.
pub(in crate::board) async fn form(
    State(shown): State<Arc<Shown>>,
    Extension(visitor): Extension<Visitor>,
) -> Response {
    match visitor.may_see() {
        true => Redirect::to("/").into_response(),
        false => shown.page(&visitor, &PAGE, &Enter { wrong: None }),
    }
}

/// `POST /enter`.
pub(in crate::board) async fn enter(
    State(shown): State<Arc<Shown>>,
    ConnectInfo(from): ConnectInfo<SocketAddr>,
    Extension(visitor): Extension<Visitor>,
    headers: HeaderMap,
    Form(entered): Form<Entered>,
) -> Response {
    let wrong = |status, told: String| {
        let mut page = shown.page(&visitor, &PAGE, &Enter { wrong: Some(told) });
        *page.status_mut() = status;
        page
    };
    if !is_same_origin(&headers) {
        return wrong(StatusCode::FORBIDDEN, "This form was sent from another site. Enter the token here.".into());
    }
    let now = shown.of.clock.now();
    match shown.access.try_token(entered.token.trim(), from.ip(), now) {
        Err(wait) => {
            let told =
                format!("Too many wrong tokens came from this address. Try again in {} minutes.", wait / 60_000 + 1);
            wrong(StatusCode::TOO_MANY_REQUESTS, told)
        }
        Ok(None) => wrong(
            StatusCode::UNAUTHORIZED,
            "This is no token of this plant. Whoever runs Inkwatt here can make one.".into(),
        ),
        Ok(Some(token)) => {
            let session = Session::of(token, now);
            let seconds = session.lasts(now) / 1_000;
            let value = session.sealed(&shown.access.key);
            let set = set_cookie(shown.access.is_secure, &value, seconds);
            ([(header::SET_COOKIE, set)], Redirect::to("/")).into_response()
        }
    }
}

/// `POST /leave`.
pub(in crate::board) async fn leave(
    State(shown): State<Arc<Shown>>,
    Extension(visitor): Extension<Visitor>,
    headers: HeaderMap,
    Form(sent): Form<Bare>,
) -> Response {
    if !is_from_here(&visitor, &headers, &sent.form) {
        return shown.told(
            StatusCode::FORBIDDEN,
            &visitor,
            "Not from here",
            "This form was not sent from a page of this board.",
        );
    }
    ([(header::SET_COOKIE, set_cookie(shown.access.is_secure, "", 0))], Redirect::to("/enter")).into_response()
}

fn set_cookie(is_secure: bool, value: &str, seconds: i64) -> String {
    let secure = if is_secure { "; Secure" } else { "" };
    format!("{}={value}; Path=/; Max-Age={seconds}; HttpOnly; SameSite=Strict{secure}", cookie(is_secure))
}
