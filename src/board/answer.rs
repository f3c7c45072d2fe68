//! People answer findings: the only thing that the board changes.

use super::access::{Visitor, is_from_here};
use super::findings::segments;
use super::shown::Shown;
use crate::acquire::Batch;
use crate::readings::{Event, Rank};
use crate::time::At;
use crate::watch::Answer;
use axum::extract::{Extension, Form, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Redirect, Response};
use chrono::NaiveDate;
use serde::Deserialize;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::oneshot;
use tokio::time::timeout;

/// How long the store may take to keep an answer.
const PATIENCE: Duration = Duration::from_secs(5);
/// Letters of a note, and of who says so.
const NOTE: usize = 1_000;
const BY: usize = 100;

/// What the form holds.
#[derive(Deserialize)]
pub(super) struct Sent {
    form: String,
    finding: String,
    answer: String,
    #[serde(default)]
    until: String,
    note: String,
    by: String,
}

/// `POST /answer`.
pub(super) async fn answer(
    State(shown): State<Arc<Shown>>,
    Extension(visitor): Extension<Visitor>,
    headers: HeaderMap,
    Form(sent): Form<Sent>,
) -> Response {
    let refused = |status, title: &str, words: &str| shown.told(status, &visitor, title, words);
    if !visitor.may_act() {
        return refused(
            StatusCode::FORBIDDEN,
            "Not allowed",
            "This token only shows. Answering needs one with the role act.",
        );
    }
    if !is_from_here(&visitor, &headers, &sent.form) {
        let words = "This form was not sent from a page of this board, or the page is too old. Go back, load it again and repeat.";
        return refused(StatusCode::FORBIDDEN, "Not from here", words);
    }
    let at = shown.of.clock.now();
    match event(&shown, &visitor, &sent, at) {
        Err(words) => refused(StatusCode::UNPROCESSABLE_ENTITY, "Not kept", &words),
        Ok(event) => match keep(&shown, event).await {
            true => Redirect::to(&format!("/finding/{}", segments(&sent.finding))).into_response(),
            false => {
                let words =
                    "The store does not accept anything at the moment. The log of the agent says why; try again later.";
                refused(StatusCode::SERVICE_UNAVAILABLE, "Not kept", words)
            }
        },
    }
}

/// The event of an answer, or what is wrong with it.
fn event(shown: &Shown, visitor: &Visitor, sent: &Sent, at: At) -> Result<Event, String> {
    let findings = shown.of.live.now().findings;
    findings.get(&sent.finding).ok_or("There is no such finding any more: later data took its ground away.")?;
    let (by, note) = (plain(&sent.by, BY), plain(&sent.note, NOTE));
    if by.is_empty() || note.is_empty() {
        return Err("An answer needs who says so and a note. Go back and fill in both.".into());
    }
    // Where there are tokens, the token's name stands beside what somebody calls themselves.
    let note = match visitor.has_session() {
        true => format!("{by} ({}): {note}", visitor.name()),
        false => format!("{by}: {note}"),
    };
    let answered = |answer| Ok(findings.answer(&sent.finding, answer, at, note.clone()));
    match sent.answer.as_str() {
        "acknowledge" => answered(Answer::Acknowledged),
        "close" => answered(Answer::Closed),
        "snooze" => answered(Answer::Snoozed { until: until(shown, &sent.until, at)? }),
        "reopen" => findings.reopen(&sent.finding, at, note).ok_or_else(|| "Nobody has answered it yet.".into()),
        _ => Err("An answer is one of acknowledge, snooze, close and reopen.".into()),
    }
}

/// The first moment of a day to come.
fn until(shown: &Shown, day: &str, at: At) -> Result<At, String> {
    let date: NaiveDate = day.parse().map_err(|_| format!("\"{}\" is no day such as 2026-08-01.", plain(day, 20)))?;
    let first = shown.of.live.now().plant.zone.day(date).start;
    match first > at {
        true => Ok(first),
        false => Err(format!("{date} is over already; name a day to come.")),
    }
}

/// Text without control characters, and of bearable length.
fn plain(text: &str, longest: usize) -> String {
    let plain = text.chars().map(|c| if c.is_control() { ' ' } else { c }).take(longest);
    plain.collect::<String>().trim().to_owned()
}

/// Whether the writer has committed it.
async fn keep(shown: &Shown, event: Event) -> bool {
    let (receipt, kept) = oneshot::channel();
    let epoch = shown.of.clock.stamp().1;
    let (source, rank) = ("board".into(), Rank::Correction);
    let batch = Batch { source, rank, epoch, readings: Vec::new(), events: vec![event], receipt: Some(receipt) };
    let Some(out) = shown.of.intake.upgrade() else { return false };
    let sent = timeout(PATIENCE, out.send(batch)).await;
    drop(out);
    matches!(sent, Ok(Ok(()))) && matches!(timeout(PATIENCE, kept).await, Ok(Ok(())))
}
