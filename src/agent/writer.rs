//! The only writing thread: collects batches, commits them together, packs what is old, and holds a bounded remainder
//! while the disk refuses.

use crate::acquire::{Batch, Clock};
use crate::agent::Live;
use crate::readings::{Event, Rank, Reading, Series};
use crate::store::{Store, StoreError};
use std::collections::VecDeque;
use std::sync::Arc;
use std::time::Duration;
use tokio::runtime::Handle;
use tokio::sync::{mpsc, oneshot};
use tokio::time::{Instant, timeout_at};
use tracing::{error, info};

/// How long the first reading of a group may wait for others: what a power cut can cost.
const WINDOW: Duration = Duration::from_millis(250);
/// The same where a broker waits for receipts: it sends no more than some messages ahead of them.
const RECEIPT_WINDOW: Duration = Duration::from_millis(20);
/// Rows of one transaction.
const ROWS: usize = 5_000;
/// Readings held in memory while the store refuses: an hour of 200 meters with two values each 10 s.
const HELD: usize = 150_000;
/// How long to wait before a store that refused is tried again.
const RETRY: Duration = Duration::from_secs(1);

/// Batches that go into one transaction.
#[derive(Default)]
struct Group {
    readings: Vec<(Series, Reading)>,
    events: Vec<Event>,
    receipts: Vec<oneshot::Sender<()>>,
}

/// Writes until the intake closes, then commits what is left.
pub(super) fn write(
    mut store: Store,
    mut intake: mpsc::Receiver<Batch>,
    live: Arc<Live>,
    clock: Clock,
    runtime: Handle,
) {
    let mut held = VecDeque::new();
    while let Some(group) = runtime.block_on(gather(&mut intake)) {
        commit(&mut store, group, &mut held, &live, &clock);
        tidy(&mut store, &clock);
    }
    commit(&mut store, Group::default(), &mut held, &live, &clock);
    info!("store closed");
}

/// The next group: whatever arrives within the window after the first batch; an empty one when nothing comes for a
/// while, so that the thread can tidy up. `None` once the intake is closed and empty.
async fn gather(intake: &mut mpsc::Receiver<Batch>) -> Option<Group> {
    let mut group = Group::default();
    let mut until = Instant::now() + RETRY;
    while group.readings.len() + group.events.len() < ROWS {
        match timeout_at(until, intake.recv()).await {
            Err(_) => break,
            Ok(None) if group.is_empty() => return None,
            Ok(None) => break,
            Ok(Some(batch)) => {
                let now = Instant::now();
                if group.is_empty() {
                    until = now + WINDOW;
                }
                if batch.receipt.is_some() {
                    until = until.min(now + RECEIPT_WINDOW);
                }
                group.add(batch);
            }
        }
    }
    Some(group)
}

impl Group {
    fn is_empty(&self) -> bool {
        self.readings.is_empty() && self.events.is_empty() && self.receipts.is_empty()
    }

    fn add(&mut self, batch: Batch) {
        self.readings.extend(batch.readings);
        self.events.extend(batch.events);
        self.receipts.extend(batch.receipt);
    }
}

/// Commits a group after what is still held; on failure holds the readings.
fn commit(store: &mut Store, group: Group, held: &mut VecDeque<(Series, Reading)>, live: &Live, clock: &Clock) {
    if group.is_empty() && held.is_empty() {
        return;
    }
    let mut readings: Vec<_> = held.drain(..).collect();
    readings.extend(group.readings.iter().cloned());
    let done = readings.chunks(ROWS).try_for_each(|rows| write_rows(store, rows, &[]));
    match done.and_then(|()| write_rows(store, &[], &group.events)) {
        Ok(()) => {
            live.committed(clock.now(), &readings, &group.events);
            live.store(|health| {
                health.fault = None;
                health.held = 0;
            });
            // A source that went away no longer waits for its receipt.
            for receipt in group.receipts {
                let _ = receipt.send(());
            }
        }
        Err(fault) => hold(&fault, readings, held, live),
    }
}

/// Keeps readings in memory, the oldest given up first, and says so.
///
/// Receipts are dropped unsent: what came by MQTT stays unacknowledged and is delivered again, which changes nothing
/// where it was held as well.
fn hold(fault: &StoreError, readings: Vec<(Series, Reading)>, held: &mut VecDeque<(Series, Reading)>, live: &Live) {
    held.extend(readings);
    let excess = held.len().saturating_sub(HELD);
    held.drain(..excess);
    error!("the store refuses, {} readings are held in memory: {fault}", held.len());
    live.store(|health| {
        health.fault = Some(fault.to_string());
        health.held = held.len();
        health.dropped += excess as u64;
    });
    std::thread::sleep(RETRY);
}

/// One transaction; nothing to write is none.
fn write_rows(store: &mut Store, readings: &[(Series, Reading)], events: &[Event]) -> Result<(), StoreError> {
    if readings.is_empty() && events.is_empty() {
        return Ok(());
    }
    store.commit("agent", Rank::Live, readings, events, None).map(|_| ())
}

/// Packs a little of what is old; a failure is told and tried again with the next group.
fn tidy(store: &mut Store, clock: &Clock) {
    if let Err(fault) = store.seal(clock.now()) {
        error!("packing of old readings failed: {fault}");
    }
}
