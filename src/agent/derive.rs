//! The one path from the store to the ledger of a day: cached where nothing changed, computed where something did.

use crate::attribute::{self, DayFacts, DayLedger};
use crate::config::Configuration;
use crate::found::{Found, Issue};
use crate::plant::Plant;
use crate::readings::{Happening, Run};
use crate::store::{Access, Store, StoreError};
use crate::time::Period;
use chrono::NaiveDate;
use std::path::{Path, PathBuf};
use std::thread;

/// The books of a plant: its facts, and the ledgers derived from them.
pub struct Books {
    folder: PathBuf,
    plant: Plant,
    issues: Vec<Issue>,
    runs: Vec<Run>,
}

/// Why the books cannot be read: the store's own error.
pub type BooksError = StoreError;

impl Books {
    /// Opens the books of a plant folder.
    ///
    /// # Errors
    /// Where the store cannot be read.
    pub fn open(folder: &Path, configuration: &Configuration) -> Result<Self, BooksError> {
        let store = Store::open(folder, configuration.plant.zone, Access::Read)?;
        let events = store.events()?;
        let mut issues = events.issues;
        let plant = attribute::with_events(&configuration.plant, &events.value);
        issues.extend(plant.issues);
        let runs = runs(events.value.into_iter().map(|event| event.what));
        Ok(Self { folder: folder.to_path_buf(), plant: plant.value, issues, runs })
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
        let touches = |run: &&Run| run.start < period.end && run.end.is_none_or(|end| end > period.start);
        self.runs.iter().filter(touches).cloned().collect()
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
        let facts = self.facts(store, reads)?;
        let mut ledger = attribute::day(&self.plant, &facts.value, day);
        ledger.issues.splice(0..0, facts.issues);
        Ok(ledger)
    }

    /// What the store knows about a period.
    fn facts(&self, store: &Store, reads: Period) -> Result<Found<DayFacts>, BooksError> {
        let mut facts = Found::clean(DayFacts { runs: self.runs(reads), ..DayFacts::default() });
        for series in attribute::needs(&self.plant) {
            let readings = store.readings(&series, reads, true)?;
            facts.issues.extend(readings.issues);
            if !readings.value.is_empty() {
                facts.value.readings.insert(series, readings.value);
            }
        }
        Ok(facts)
    }
}

/// The runs among what happened, sorted by press and start.
fn runs(happenings: impl Iterator<Item = Happening>) -> Vec<Run> {
    let mut runs: Vec<Run> = happenings
        .filter_map(|what| match what {
            Happening::Run(run) => Some(run),
            _ => None,
        })
        .collect();
    runs.sort_by(|a, b| (&a.press, a.start, &a.id).cmp(&(&b.press, b.start, &b.id)));
    runs
}
