//! What a request asks for, checked: a mistake is told as problem details.

use super::problem::problem;
use axum::extract::{FromRequestParts, Query};
use axum::http::StatusCode;
use axum::http::request::Parts;
use axum::response::Response;
use chrono::NaiveDate;
use serde::de::DeserializeOwned;

/// The query of a request.
pub(super) struct Asked<T>(pub(super) T);

impl<S: Send + Sync, T: DeserializeOwned> FromRequestParts<S> for Asked<T> {
    type Rejection = Response;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, Response> {
        match Query::try_from_uri(&parts.uri) {
            Ok(Query(asked)) => Ok(Self(asked)),
            Err(fault) => Err(problem(StatusCode::BAD_REQUEST, &format!("The query cannot be read: {fault}."))),
        }
    }
}

/// A day of the query.
pub(super) fn day(name: &str, text: &str) -> Result<NaiveDate, Response> {
    text.parse().ok().filter(|_| text.len() == 10).ok_or_else(|| {
        let told = format!("{name} is \"{}\"; expected a day such as 2026-03-01.", super::super::present::short(text));
        problem(StatusCode::BAD_REQUEST, &told)
    })
}

/// The days of `from` and `to`, both included, no more than `most` of them; `to` is today and `from` the same day where they are
/// left out.
pub(super) fn days(
    from: Option<&str>,
    to: Option<&str>,
    today: NaiveDate,
    most: i64,
) -> Result<(NaiveDate, NaiveDate), Response> {
    let to = to.map_or(Ok(today), |text| day("to", text))?;
    let from = from.map_or(Ok(to), |text| day("from", text))?;
    let wrong = |told: String| Err(problem(StatusCode::BAD_REQUEST, &told));
    if to < from {
        return wrong(format!("to {to} lies before from {from}; expected the last day, included."));
    }
    let count = (to - from).num_days() + 1;
    if count > most {
        return wrong(format!("from {from} to {to} are {count} days; ask for no more than {most} at a time."));
    }
    Ok((from, to))
}
