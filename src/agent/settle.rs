//! Keeps the ledgers of the last days computed, at low priority: today for the page, the days before for the reports.

use super::derive::Books;
use super::live::{Live, Today};
use super::today::Running;
use crate::acquire::Clock;
use crate::config::Configuration;
use crate::store::{Access, Store, StoreError};
use crate::units::Energy;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::watch;
use tokio::time::{Instant, sleep};
use tracing::warn;

/// How long after today was looked at it is looked at again.
const EVERY: Duration = Duration::from_secs(60);
/// What was read so long ago is stored by now. What comes later still is taken up when it comes.
const STORED: i64 = 10_000;
/// A plant of many fast meters takes long to compute: the pause is at least so many times as long, so that the polls
/// keep the processor.
const SHARE: u32 = 9;
/// Every how many times the days before are looked at as well.
const DAYS_EVERY: u32 = 30;
/// How many days back: what came late within a week is computed before anybody asks.
const DAYS: usize = 7;

/// Settles days until told to stop.
pub(super) async fn settle(
    folder: PathBuf,
    configuration: Arc<Configuration>,
    clock: Clock,
    live: Arc<Live>,
    mut stop: watch::Receiver<bool>,
) {
    let mut pause = Duration::ZERO;
    let mut today = None;
    for round in 0_u32.. {
        tokio::select! {
            _ = stop.wait_for(|stop| *stop) => return,
            () = sleep(pause) => {}
        }
        let begun = Instant::now();
        let days = if round % DAYS_EVERY == 0 { DAYS } else { 0 };
        let (folder, configuration, clock, live) = (folder.clone(), configuration.clone(), clock.clone(), live.clone());
        let (stopped, before) = (stop.clone(), today.take());
        let settled = tokio::task::spawn_blocking(move || {
            settle_days(&folder, &configuration, &clock, &live, days, before, &stopped)
        });
        let settled = tokio::select! {
            // A day that is being computed is given up: it is computed anew when somebody asks.
            _ = stop.wait_for(|stop| *stop) => return,
            settled = settled => settled,
        };
        match settled {
            Ok(Ok(running)) => today = running,
            Ok(Err(fault)) => warn!("the last days could not be computed: {fault}"),
            // A panic was told where it happened; today begins anew.
            Err(_) => {}
        }
        pause = EVERY.max(SHARE * begun.elapsed());
    }
}

/// Computes so many days before today, one after the other: at low priority, and in the memory of one day; then takes
/// today up from where it was `before`.
fn settle_days(
    folder: &Path,
    configuration: &Configuration,
    clock: &Clock,
    live: &Live,
    days: usize,
    before: Option<Running>,
    stop: &watch::Receiver<bool>,
) -> Result<Option<Running>, StoreError> {
    let now = clock.now();
    let zone = configuration.plant.zone;
    let books = Books::open(folder, configuration, now)?;
    let eve = zone.date(now).pred_opt();
    let mut past: Vec<_> = eve.into_iter().flat_map(|day| day.iter_days().rev().take(days)).collect();
    past.reverse();
    for day in past {
        if *stop.borrow() {
            return Ok(before);
        }
        books.ledgers(&[day])?;
    }
    let store = Store::open(folder, zone, Access::Read)?;
    let until = now - STORED;
    let running = Running::until(before, &books, &store, until)?;
    let mut presses = BTreeMap::new();
    for slice in running.ledger(&books).slices {
        if let (Some(press), Some(energy)) = (slice.owner.press, slice.usage.energy) {
            *presses.entry(press).or_insert(Energy::ZERO) += energy;
        }
    }
    live.today(Today { until, presses }, books.plant().clone());
    Ok(Some(running))
}
