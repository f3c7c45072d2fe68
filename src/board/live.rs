//! Changes, sent to open pages as server-sent events (HTML standard, 9.2): each second what differs from what the page has.
//!
//! The figures are computed once a second for all pages together, and not at all while none is open.

use super::hall;
use super::shown::Shown;
use axum::extract::State;
use axum::response::sse::{Event, KeepAlive, Sse};
use futures_util::stream::{Stream, unfold};
use std::collections::BTreeMap;
use std::convert::Infallible;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::watch;
use tokio::time::{MissedTickBehavior, interval};

/// How often the figures are computed.
const EVERY: Duration = Duration::from_secs(1);

/// The figures of a moment, and which form the parts of the pages have.
#[derive(Debug, Default)]
pub(super) struct Pulse {
    values: BTreeMap<String, String>,
    /// Changes when a list or a drawing does.
    parts: u64,
}

/// Computes the figures until told to stop.
pub(super) async fn beat(shown: Arc<Shown>, mut stop: watch::Receiver<bool>) {
    let mut ticks = interval(EVERY);
    ticks.set_missed_tick_behavior(MissedTickBehavior::Delay);
    let (mut parts, mut form) = (0, None);
    loop {
        tokio::select! {
            _ = stop.wait_for(|stop| *stop) => return,
            _ = ticks.tick() => {}
        }
        if shown.pulse.receiver_count() == 0 {
            continue;
        }
        let now = shape(&shown);
        if form.as_ref() != Some(&now) {
            (parts, form) = (parts + 1, Some(now));
        }
        let values = hall::values(&shown).into_iter().collect();
        shown.pulse.send_replace(Arc::new(Pulse { values, parts }));
    }
}

/// What the lists and drawings of the pages depend on.
fn shape(shown: &Shown) -> (Option<i64>, Vec<(String, &'static str)>, usize) {
    let (now, at) = (shown.of.live.now(), shown.of.clock.now());
    let standing = |kept: crate::watch::Kept| (kept.id.clone(), kept.standing(at).word());
    let overview = now.overview.as_ref().map(|overview| overview.until.0 / 900_000);
    (overview, now.findings.iter().map(standing).collect(), super::meters::silent(shown).len())
}

/// `GET /live`.
pub(super) async fn live(State(shown): State<Arc<Shown>>) -> Sse<impl Stream<Item = Result<Event, Infallible>>> {
    let begun = (shown.pulse.subscribe(), None::<Arc<Pulse>>);
    let stream = unfold(begun, |(mut pulse, before)| async move {
        // The pages end with the board.
        pulse.changed().await.ok()?;
        let now = pulse.borrow_and_update().clone();
        let event = event(before.as_deref(), &now);
        Some((Ok(event), (pulse, Some(now))))
    });
    Sse::new(stream).keep_alive(KeepAlive::new().interval(Duration::from_secs(15)))
}

/// What a page must hear: everything at first, then what differs. A page whose parts have another form takes them anew, and the
/// figures with them.
fn event(before: Option<&Pulse>, now: &Pulse) -> Event {
    if before.is_some_and(|before| before.parts != now.parts) {
        return Event::default().event("parts").data(now.parts.to_string());
    }
    let differs =
        |(key, value): &(&String, &String)| before.is_none_or(|before| before.values.get(*key) != Some(*value));
    let values: BTreeMap<&String, &String> = now.values.iter().filter(differs).collect();
    // A map of texts is JSON.
    Event::default().event("values").data(serde_json::to_string(&values).unwrap_or_default())
}
