//! The one path from the store to the ledger of a day: cached where nothing changed, computed where something did.

use crate::attribute::{self, DayFacts, DayLedger};
use crate::config::Configuration;
use crate::found::{Found, Issue};
use crate::plant::Plant;
use crate::readings::{Event, Run};
use crate::store::{Access, Store, StoreError};
use crate::time::{At, Period};
use chrono::NaiveDate;
use sha2::{Digest, Sha256};
use std::path::{Path, PathBuf};
use std::thread;

/// The books of a plant: its facts, and the ledgers derived from them.
pub struct Books {
    folder: PathBuf,
    plant: Plant,
    issues: Vec<Issue>,
    events: Found<Vec<Event>>,
    basis: [u8; 32],
    now: At,
}

/// Why the books cannot be read: the store's own error.
pub type BooksError = StoreError;

impl Books {
    /// Opens the books of a plant folder as they are at `now`: what lies ahead of it is not called missing.
    ///
    /// # Errors
    /// Where the store cannot be read.
    pub fn open(folder: &Path, configuration: &Configuration, now: At) -> Result<Self, BooksError> {
        let store = Store::open(folder, configuration.plant.zone, Access::Read)?;
        let events = store.events()?;
        let plant = attribute::with_events(&configuration.plant, &events.value);
        let issues = [events.issues.clone(), plant.issues].concat();
        let basis = basis(configuration);
        Ok(Self { folder: folder.to_path_buf(), plant: plant.value, issues, events, basis, now })
    }

    /// The plant with every recorded event in its dated facts.
    pub const fn plant(&self) -> &Plant {
        &self.plant
    }

    /// Remarks about the events themselves.
    pub fn issues(&self) -> &[Issue] {
        &self.issues
    }

    /// The runs that touch a period, sorted by press and start.
    pub fn runs(&self, period: Period) -> Vec<Run> {
        attribute::runs(&self.events.value, period)
    }

    /// The ledgers of days, in their order. Days are shared out among the processor's cores.
    ///
    /// # Errors
    /// Where the store cannot be read.
    pub fn ledgers(&self, days: &[NaiveDate]) -> Result<Vec<Found<DayLedger>>, BooksError> {
        let cores = thread::available_parallelism().map_or(1, usize::from);
        let share = days.len().div_ceil(cores).max(1);
        thread::scope(|scope| {
            let workers: Vec<_> = days.chunks(share).map(|days| scope.spawn(|| self.in_turn(days))).collect();
            let mut ledgers = Vec::with_capacity(days.len());
            for worker in workers {
                // A panic of a worker is a defect and goes on as one.
                ledgers.extend(worker.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic))?);
            }
            Ok(ledgers)
        })
    }

    /// The ledgers of days, one after the other on one handle of the store.
    fn in_turn(&self, days: &[NaiveDate]) -> Result<Vec<Found<DayLedger>>, BooksError> {
        let store = Store::open(&self.folder, self.plant.zone, Access::Read)?;
        days.iter().map(|day| self.ledger(&store, *day)).collect()
    }

    fn ledger(&self, store: &Store, day: NaiveDate) -> Result<Found<DayLedger>, BooksError> {
        let reads = attribute::reach(&self.plant, day);
        let stamp = store.day_stamp(reads, &self.events, &self.basis)?;
        if let Some(ledger) = store.cached_day(day, &stamp) {
            return Ok(ledger);
        }
        let mut facts = self.facts(store, reads)?;
        let running = self.plant.zone.day(day).end > self.now;
        facts.value.until = running.then_some(self.now);
        let mut ledger = attribute::day(&self.plant, &facts.value, day);
        ledger.issues.splice(0..0, facts.issues);
        // A running day depends on the moment as well, which no stamp knows.
        if !running {
            store.cache_day(day, &stamp, &ledger);
        }
        Ok(ledger)
    }

    /// What the store knows about a period.
    fn facts(&self, store: &Store, reads: Period) -> Result<Found<DayFacts>, BooksError> {
        let found = store.readings_of(&attribute::needs(&self.plant), reads, true)?;
        let facts = DayFacts { readings: found.value, runs: self.runs(reads), until: None };
        Ok(Found { value: facts, issues: found.issues })
    }
}

/// What every day depends on besides the facts of its time: the version of the rules, and of the configuration whatever
/// describes the plant and its meters. Prices and factors come in later.
fn basis(configuration: &Configuration) -> [u8; 32] {
    let mut hash = Sha256::new();
    hash.update(attribute::RULES.to_le_bytes());
    let priced = |path: &str| ["factors/", "tariffs/"].iter().any(|folder| path.contains(folder));
    for text in configuration.texts.iter().filter(|text| !priced(&text.path)) {
        hash.update((text.text.len() as u64).to_le_bytes());
        hash.update(&text.text);
    }
    hash.finalize().into()
}
