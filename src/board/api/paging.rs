//! Lists a page at a time: so many items, after the one that is named.

use super::problem::problem;
use axum::Json;
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

/// Items of a page where nobody says how many, and at most.
const USUAL: usize = 100;
const MOST: usize = 500;

/// Which page.
#[derive(Debug, Default, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub(super) struct Paging {
    /// How many items; 100 where it is left out.
    #[param(value_type = Option<u32>, minimum = 1, maximum = 500)]
    pub(super) limit: Option<String>,
    /// The items after the one with this `id`.
    pub(super) after: Option<String>,
}

/// A page of a list.
#[derive(Serialize, ToSchema)]
pub(super) struct Page<T> {
    /// The items.
    items: Vec<T>,
    /// The address of the next page; null on the last.
    next: Option<String>,
}

/// The page of a list that is asked for. `path` and `query` are the address without the paging, whose values are escaped.
pub(super) fn page<T: Serialize>(
    all: Vec<T>,
    id: impl Fn(&T) -> &str,
    paging: &Paging,
    path: &str,
    query: &str,
) -> Result<Response, Response> {
    let limit = match &paging.limit {
        None => USUAL,
        Some(text) => text.parse().ok().filter(|limit| (1..=MOST).contains(limit)).ok_or_else(|| {
            problem(StatusCode::BAD_REQUEST, &format!("limit must be a whole number from 1 to {MOST}."))
        })?,
    };
    let first = match &paging.after {
        None => 0,
        Some(after) => all.iter().position(|item| id(item) == after).map(|place| place + 1).ok_or_else(|| {
            problem(StatusCode::BAD_REQUEST, "after names no item of this list; begin again without it.")
        })?,
    };
    let is_last = all.len() <= first + limit;
    let items: Vec<T> = all.into_iter().skip(first).take(limit).collect();
    let next = items
        .last()
        .filter(|_| !is_last)
        .map(|last| format!("{path}?{query}limit={limit}&after={}", escaped(id(last))));
    let link = next.as_ref().and_then(|next| HeaderValue::try_from(format!("<{next}>; rel=\"next\"")).ok());
    let mut response = Json(Page { items, next }).into_response();
    if let Some(link) = link {
        response.headers_mut().insert(header::LINK, link);
    }
    Ok(response)
}

/// A value in a query (RFC 3986, 2.1).
pub(super) fn escaped(value: &str) -> String {
    let plain = |byte: u8| byte.is_ascii_alphanumeric() || b"-._~".contains(&byte);
    value.bytes().map(|b| if plain(b) { char::from(b).to_string() } else { format!("%{b:02X}") }).collect()
}
