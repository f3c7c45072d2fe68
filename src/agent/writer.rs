//! The only writing thread: collects batches, commits them together, packs what is old, and holds a bounded remainder
//! while the disk refuses.

use crate::acquire::{Batch, Clock};
use crate::agent::Live;
use crate::readings::{Event, Reading, Series};
use crate::store::{Store, StoreError};
use crate::units::counted;
use std::collections::BTreeMap;
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

/// What is written together.
#[derive(Default)]
struct Group {
    /// By the epoch of the clock in which they were stamped.
    readings: BTreeMap<u32, Vec<(Series, Reading)>>,
    events: Vec<Event>,
    receipts: Vec<oneshot::Sender<()>>,
}

/// Writes until the intake closes, then commits what is left. `epochs` is what the store had of them before the clock
/// began to count its own.
pub(super) fn write(
    mut store: Store,
    mut intake: mpsc::Receiver<Batch>,
    live: Arc<Live>,
    clock: Clock,
    runtime: Handle,
    epochs: u32,
) {
    let mut held = Group::default();
    while let Some(group) = runtime.block_on(gather(&mut intake, epochs)) {
        held.append(group);
        commit(&mut store, &mut held, &live, &clock);
        tidy(&mut store, &clock);
    }
    commit(&mut store, &mut held, &live, &clock);
    info!("store closed");
}

/// The next group: whatever arrives within the window after the first batch; an empty one when nothing comes for a
/// while, so that the thread can tidy up. `None` once the intake is closed and empty.
async fn gather(intake: &mut mpsc::Receiver<Batch>, epochs: u32) -> Option<Group> {
    let mut group = Group::default();
    let mut until = Instant::now() + RETRY;
    while group.rows() + group.events.len() < ROWS {
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
                group.add(batch, epochs);
            }
        }
    }
    Some(group)
}

impl Group {
    fn is_empty(&self) -> bool {
        self.readings.is_empty() && self.events.is_empty() && self.receipts.is_empty()
    }

    /// How many readings.
    fn rows(&self) -> usize {
        self.readings.values().map(Vec::len).sum()
    }

    fn add(&mut self, batch: Batch, epochs: u32) {
        if !batch.readings.is_empty() {
            self.readings.entry(epochs.wrapping_add(batch.epoch)).or_default().extend(batch.readings);
        }
        self.events.extend(batch.events);
        self.receipts.extend(batch.receipt);
    }

    fn append(&mut self, later: Self) {
        for (epoch, readings) in later.readings {
            self.readings.entry(epoch).or_default().extend(readings);
        }
        for event in later.events {
            // A broker delivers again what is held already.
            if !self.events.contains(&event) {
                self.events.push(event);
            }
        }
        self.receipts.extend(later.receipts);
    }

    /// Gives up the oldest readings beyond so many; how many.
    fn shrink(&mut self, most: usize) -> usize {
        let excess = self.rows().saturating_sub(most);
        let mut left = excess;
        for readings in self.readings.values_mut() {
            let gone = left.min(readings.len());
            readings.drain(..gone);
            left -= gone;
        }
        excess
    }
}

/// Commits what is held; on failure goes on holding it.
fn commit(store: &mut Store, held: &mut Group, live: &Live, clock: &Clock) {
    if held.is_empty() {
        return;
    }
    if let Err(fault) = write_all(store, held) {
        return hold(&fault, held, live);
    }
    let done = std::mem::take(held);
    live.committed(clock.now(), &[], &done.events);
    for readings in done.readings.values() {
        live.committed(clock.now(), readings, &[]);
    }
    live.store(|health| {
        health.fault = None;
        health.held = 0;
    });
    // A source that went away no longer waits for its receipt.
    for receipt in done.receipts {
        let _ = receipt.send(());
    }
}

/// Keeps what could not be written, the oldest readings given up first, and says so.
///
/// Receipts are dropped unsent: what came by MQTT stays unacknowledged and is delivered again, which changes nothing
/// where it was held as well.
fn hold(fault: &StoreError, held: &mut Group, live: &Live) {
    held.receipts.clear();
    let excess = held.shrink(HELD);
    let rows = held.rows();
    error!("the store refuses; {} held in memory: {fault}", counted(rows, "reading"));
    live.store(|health| {
        health.fault = Some(fault.to_string());
        health.held = rows;
        health.dropped += excess as u64;
    });
    std::thread::sleep(RETRY);
}

/// Events and readings, in transactions of a bounded size; whoever writes a part of them again changes nothing.
fn write_all(store: &mut Store, group: &Group) -> Result<(), StoreError> {
    if !group.events.is_empty() {
        store.commit_read("agent", 0, &[], &group.events)?;
    }
    for (epoch, readings) in &group.readings {
        for rows in readings.chunks(ROWS) {
            store.commit_read("agent", *epoch, rows, &[])?;
        }
    }
    Ok(())
}

/// Packs a little of what is old; a failure is told and tried again with the next group.
fn tidy(store: &mut Store, clock: &Clock) {
    if let Err(fault) = store.seal(clock.now()) {
        error!("packing of old readings failed: {fault}");
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::agent::keep_time::epoch_event;
    use crate::config;
    use crate::readings::{Quantity, Rank, Subject};
    use crate::store::Access;
    use crate::time::{At, Period};
    use tempfile::TempDir;

    fn series() -> Series {
        Series::new(Subject::Meter("m1".into()), Quantity::Import)
    }

    fn batch(epoch: u32, readings: &[Reading], events: Vec<Event>) -> Batch {
        let readings = readings.iter().map(|reading| (series(), *reading)).collect();
        Batch { source: "test".into(), rank: Rank::Live, epoch, readings, events, receipt: None }
    }

    /// The clock is set back by five seconds: what was read before that may be written after, and the other way round.
    #[tokio::test(flavor = "multi_thread", worker_threads = 1)]
    async fn readings_count_by_the_epoch_in_which_they_were_stamped_whenever_they_are_written() {
        let folder = TempDir::new().expect("a folder");
        std::fs::create_dir(folder.path().join("config")).expect("a folder");
        std::fs::write(folder.path().join("config/plant.toml"), config::EXAMPLE).expect("written");
        let plant = config::load(folder.path()).expect("a configuration").plant;
        let zone = plant.zone;
        let mut store = Store::open(folder.path(), zone, Access::Agent).expect("a store");
        // An epoch of an earlier agent.
        store.commit_read("clock", 0, &[], &[epoch_event(At(1_000), 7)]).expect("committed");
        let reading = |second: i64, count| Reading { at: At(1_800_000_000_000 + 1_000 * second), count };
        let clock = Clock::starting_at(reading(5, 0).at);
        let (out, intake) = mpsc::channel(4);
        let all = [
            batch(1, &[reading(6, 12)], Vec::new()),
            batch(1, &[], vec![epoch_event(reading(5, 0).at, -5_000)]),
            batch(0, &[reading(1, 1), reading(6, 6), reading(8, 8)], Vec::new()),
        ];
        for batch in all {
            out.send(batch).await.expect("taken");
        }
        drop(out);
        let runtime = Handle::current();
        let written = move || write(store, intake, Arc::new(Live::of(plant)), clock, runtime, 1);
        tokio::task::spawn_blocking(written).await.expect("written");
        let store = Store::open(folder.path(), zone, Access::Read).expect("a store");
        let period = Period::new(reading(0, 0).at, reading(60, 0).at);
        let found = store.readings(&series(), period, false).expect("readings");
        assert_eq!((found.value, found.issues), (vec![reading(1, 1), reading(6, 12)], Vec::new()));
    }

    #[test]
    fn what_is_held_keeps_its_events_and_gives_up_the_oldest_readings() {
        let reading = |k: i64| Reading { at: At(k), count: k };
        let mut held = Group::default();
        for epoch in [1, 0, 1] {
            let mut later = Group::default();
            later.add(batch(epoch, &[reading(epoch.into()), reading(9)], vec![epoch_event(At(5), 1)]), 3);
            held.append(later);
        }
        assert_eq!((held.shrink(4), held.rows(), held.events.len()), (2, 4, 1));
        assert_eq!(held.readings[&3], []);
        assert_eq!(held.shrink(4), 0);
    }
}
