//! Keeps the ledgers of the last days computed, at low priority: today for the page and the watch, the days before for the reports.

use super::attend::Attending;
use super::derive::Books;
use super::live::{Live, Today};
use super::overview::overview;
use super::today::Running;
use super::watched::SOURCE;
use crate::acquire::{Batch, Clock};
use crate::attribute::{DayLedger, DaySums};
use crate::config::Configuration;
use crate::readings::{Event, Rank};
use crate::store::{Access, Store, StoreError};
use crate::time::At;
use crate::units::Energy;
use crate::watch::Watched;
use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::{mpsc, watch};
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

/// What the task works on.
pub(super) struct Settling {
    pub(super) folder: PathBuf,
    pub(super) configuration: Configuration,
    pub(super) clock: Clock,
    pub(super) live: Arc<Live>,
    /// Where findings go to be kept. It does not keep the writer waiting for more.
    pub(super) out: mpsc::WeakSender<Batch>,
}

/// What is carried from one round to the next.
#[derive(Default)]
struct Carried {
    today: Option<Running>,
    attending: Option<Attending>,
}

/// Settles days until told to stop.
pub(super) async fn settle(settling: Settling, mut stop: watch::Receiver<bool>) {
    let settling = Arc::new(settling);
    let mut pause = Duration::ZERO;
    let mut carried = Carried::default();
    for round in 0_u32.. {
        tokio::select! {
            _ = stop.wait_for(|stop| *stop) => return,
            () = sleep(pause) => {}
        }
        let begun = Instant::now();
        let is_long = round % DAYS_EVERY == 0;
        let (settling, stopped, before) = (settling.clone(), stop.clone(), std::mem::take(&mut carried));
        let settled = tokio::task::spawn_blocking(move || settling.round(is_long, before, &stopped));
        let settled = tokio::select! {
            // A day that is being computed is given up: it is computed anew when somebody asks.
            _ = stop.wait_for(|stop| *stop) => return,
            settled = settled => settled,
        };
        match settled {
            Ok(Ok(after)) => carried = after,
            Ok(Err(fault)) => warn!("the last days could not be computed: {fault}"),
            // A panic was told where it happened; today begins anew.
            Err(_) => {}
        }
        pause = EVERY.max(SHARE * begun.elapsed());
    }
}

impl Settling {
    /// In a long round computes the days before today, one after the other: at low priority, and in the memory of one day.
    /// Then takes today up from where it was, and watches.
    fn round(&self, is_long: bool, before: Carried, stop: &watch::Receiver<bool>) -> Result<Carried, StoreError> {
        let now = self.clock.now();
        let zone = self.configuration.plant.zone;
        let books = Books::open(&self.folder, &self.configuration, now)?;
        let eve = zone.date(now).pred_opt();
        let days = if is_long { DAYS } else { 0 };
        let mut past: Vec<_> = eve.into_iter().flat_map(|day| day.iter_days().rev().take(days)).collect();
        past.reverse();
        for day in past {
            if *stop.borrow() {
                return Ok(before);
            }
            books.ledgers(&[day])?;
        }
        let store = Store::open(&self.folder, zone, Access::Read)?;
        let until = now - STORED;
        let running = Running::until(before.today, &books, &store, until)?;
        let today = running.ledger(&books);
        self.tell(&books, &today.value, until);
        let sums = DaySums::of(books.plant(), &today.value, None, BTreeMap::new());
        self.live.overview(overview(&books, &self.configuration, &sums, until)?);
        let looked = Attending::look(before.attending, &books, &store, &self.configuration, &today, is_long)?;
        let attending = looked.map(|(attending, watched)| {
            self.keep(watched, now);
            attending
        });
        Ok(Carried { today: Some(running), attending })
    }

    /// Tells the page what each press was charged today.
    fn tell(&self, books: &Books, today: &DayLedger, until: At) {
        let mut presses = BTreeMap::new();
        for slice in &today.slices {
            if let (Some(press), Some(energy)) = (&slice.owner.press, slice.usage.energy) {
                *presses.entry(press.clone()).or_insert(Energy::ZERO) += energy;
            }
        }
        self.live.today(Today { until, presses }, books.plant().clone());
    }

    /// Hands what is new on to be kept.
    fn keep(&self, watched: Watched, now: At) {
        let news = self.live.now().findings.news(&watched.findings, now);
        let events: Vec<Event> = news.into_iter().map(|(_, event)| event).collect();
        if let Some(out) = self.out.upgrade().filter(|_| !events.is_empty()) {
            let epoch = self.clock.stamp().1;
            let batch =
                Batch { source: SOURCE.into(), rank: Rank::Live, epoch, readings: Vec::new(), events, receipt: None };
            // Where the writer has ended, the agent ends.
            let _ = out.blocking_send(batch);
        }
        self.live.watched(now, watched);
    }
}
