//! Compares the clock with wall time each second. Where wall time was set, a new epoch begins, which is an event.

use crate::acquire::{Batch, Clock};
use crate::readings::{Event, Happening, Rank};
use crate::time::At;
use std::time::Duration;
use tokio::sync::{mpsc, watch};
use tokio::time::interval;
use tracing::warn;

/// How often the clocks are compared.
const EVERY: Duration = Duration::from_secs(1);

/// Keeps time until told to stop, or until nobody takes the events any more.
pub(super) async fn keep_time(clock: Clock, out: mpsc::Sender<Batch>, mut stop: watch::Receiver<bool>) {
    let mut ticks = interval(EVERY);
    loop {
        tokio::select! {
            _ = stop.wait_for(|stop| *stop) => return,
            _ = ticks.tick() => {}
        }
        if let Some(moved) = clock.follow() {
            warn!("the clock was set by {moved} ms: a new epoch begins");
            if out.send(epoch(&clock, moved)).await.is_err() {
                return;
            }
        }
    }
}

/// The news of a new epoch.
fn epoch(clock: &Clock, moved: i64) -> Batch {
    let (at, epoch) = clock.stamp();
    let event = epoch_event(at, moved);
    Batch { source: "clock".into(), rank: Rank::Live, epoch, readings: Vec::new(), events: vec![event], receipt: None }
}

/// The event of an epoch that begins at an instant of its own clock.
pub(super) fn epoch_event(at: At, moved: i64) -> Event {
    let what = Happening::ClockEpoch { moved };
    Event { id: format!("clock {at}"), at, rank: Rank::Live, revision: 0, what, note: None }
}
