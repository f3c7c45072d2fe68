//! Keeps the ledgers of the last days computed, at low priority: today for the page, the days before for the reports.

use super::derive::Books;
use super::live::{Live, Today};
use crate::acquire::Clock;
use crate::config::Configuration;
use crate::store::StoreError;
use crate::units::Energy;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::watch;
use tokio::time::{Instant, sleep};
use tracing::warn;

/// How long after today was computed it is computed anew.
const EVERY: Duration = Duration::from_secs(60);
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
    for round in 0_u32.. {
        tokio::select! {
            _ = stop.wait_for(|stop| *stop) => return,
            () = sleep(pause) => {}
        }
        let begun = Instant::now();
        let days = if round % DAYS_EVERY == 0 { DAYS } else { 0 };
        let (folder, configuration, clock, live) = (folder.clone(), configuration.clone(), clock.clone(), live.clone());
        let stopped = stop.clone();
        let settled =
            tokio::task::spawn_blocking(move || settle_days(&folder, &configuration, &clock, &live, days, &stopped));
        let settled = tokio::select! {
            // A day that is being computed is given up: it is computed anew when somebody asks.
            _ = stop.wait_for(|stop| *stop) => return,
            settled = settled => settled,
        };
        if let Ok(Err(fault)) = settled {
            warn!("the last days could not be computed: {fault}");
        }
        pause = EVERY.max(SHARE * begun.elapsed());
    }
}

/// Computes today and so many days before it, one after the other: at low priority, and in the memory of one day.
fn settle_days(
    folder: &Path,
    configuration: &Configuration,
    clock: &Clock,
    live: &Live,
    days: usize,
    stop: &watch::Receiver<bool>,
) -> Result<(), StoreError> {
    let now = clock.now();
    let zone = configuration.plant.zone;
    let books = Books::open(folder, configuration, now)?;
    let today = zone.date(now);
    let mut before: Vec<_> = today.pred_opt().into_iter().flat_map(|day| day.iter_days().rev().take(days)).collect();
    before.reverse();
    for day in before {
        if *stop.borrow() {
            return Ok(());
        }
        books.ledgers(&[day])?;
    }
    let mut presses = BTreeMap::new();
    for ledger in books.ledgers(&[today])? {
        for slice in ledger.value.slices {
            if let (Some(press), Some(energy)) = (slice.owner.press, slice.usage.energy) {
                *presses.entry(press).or_insert(Energy::ZERO) += energy;
            }
        }
    }
    live.today(Today { until: now, presses }, books.plant().clone());
    Ok(())
}
