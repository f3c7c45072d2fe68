//! The one path from the store to the ledger of a day: cached where nothing changed, computed where something did.

use super::gather::gather;
use crate::attribute::{self, DayFold, DayLedger, DaySums};
use crate::config::Configuration;
use crate::found::{Found, Issue};
use crate::plant::Plant;
use crate::readings::{Event, Happening, Instrument, Run, SupplierBill};
use crate::store::{Access, Stamp, Store, StoreError};
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
    afresh: bool,
}

/// A day's ledger, and what it adds up to.
pub type Day = (Found<DayLedger>, DaySums);

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
        Ok(Self { folder: folder.to_path_buf(), plant: plant.value, issues, events, basis, now, afresh: false })
    }

    /// The same books, whose days are computed from the facts whether or not they are kept.
    pub fn afresh(self) -> Self {
        Self { afresh: true, ..self }
    }

    /// The folder of the plant.
    pub(super) fn folder(&self) -> &Path {
        &self.folder
    }

    /// The plant with every recorded event in its dated facts.
    pub const fn plant(&self) -> &Plant {
        &self.plant
    }

    /// The events in force.
    pub fn events(&self) -> &[Event] {
        &self.events.value
    }

    /// Certificates and contracts on file.
    pub fn instruments(&self) -> Vec<Instrument> {
        self.papers(|what| if let Happening::Instrument(one) = what { Some(one) } else { None })
    }

    /// Bills of the supplier on file.
    pub fn bills(&self) -> Vec<SupplierBill> {
        self.papers(|what| if let Happening::SupplierBill(bill) = what { Some(bill) } else { None })
    }

    fn papers<T: Clone>(&self, of: impl Fn(&Happening) -> Option<&Box<T>>) -> Vec<T> {
        self.events.value.iter().filter_map(|event| of(&event.what).map(|one| (**one).clone())).collect()
    }

    /// Remarks about the events themselves.
    pub fn issues(&self) -> &[Issue] {
        &self.issues
    }

    /// The runs that touch a period, sorted by press and start.
    pub fn runs(&self, period: Period) -> Vec<Run> {
        attribute::runs(&self.events.value, period)
    }

    /// The ledgers of days, in their order.
    ///
    /// # Errors
    /// Where the store cannot be read.
    pub fn ledgers(&self, days: &[NaiveDate]) -> Result<Vec<Found<DayLedger>>, BooksError> {
        Ok(self.days(days)?.into_iter().map(|(ledger, _)| ledger).collect())
    }

    /// The ledgers of days with what each adds up to, in their order.
    ///
    /// # Errors
    /// Where the store cannot be read.
    pub fn days(&self, days: &[NaiveDate]) -> Result<Vec<Day>, BooksError> {
        self.each(days, |store, date| {
            let (reads, stamp) = self.stamp(store, date)?;
            match (!self.afresh).then(|| store.cached_day(date, &stamp)).flatten() {
                Some(day) => Ok(day),
                None => self.compute(store, date, reads, &stamp),
            }
        })
    }

    /// What days add up to, in their order, without their slices where these are not needed for it.
    ///
    /// # Errors
    /// Where the store cannot be read.
    pub fn sums(&self, days: &[NaiveDate]) -> Result<Vec<DaySums>, BooksError> {
        self.each(days, |store, date| {
            let (reads, stamp) = self.stamp(store, date)?;
            match store.cached_sums(date, &stamp) {
                Some(sums) => Ok(sums),
                None => Ok(self.compute(store, date, reads, &stamp)?.1),
            }
        })
    }

    /// Something of each day. Days are shared out among the processor's cores, each with its own handle of the store.
    fn each<T: Send>(
        &self,
        days: &[NaiveDate],
        of: impl Fn(&Store, NaiveDate) -> Result<T, BooksError> + Sync,
    ) -> Result<Vec<T>, BooksError> {
        let cores = thread::available_parallelism().map_or(1, usize::from);
        let share = days.len().div_ceil(cores).max(1);
        let in_turn = |days: &[NaiveDate]| -> Result<Vec<T>, BooksError> {
            let store = Store::open(&self.folder, self.plant.zone, Access::Read)?;
            days.iter().map(|date| of(&store, *date)).collect()
        };
        thread::scope(|scope| {
            let workers: Vec<_> = days.chunks(share).map(|days| scope.spawn(|| in_turn(days))).collect();
            let mut all = Vec::with_capacity(days.len());
            for worker in workers {
                // A panic of a worker is a defect and goes on as one.
                all.extend(worker.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic))?);
            }
            Ok(all)
        })
    }

    /// Whether a day is not over yet.
    pub(super) fn runs_on(&self, date: NaiveDate) -> bool {
        self.plant.zone.day(date).end > self.now
    }

    /// The period that a day reads, and its stamp.
    pub(super) fn stamp(&self, store: &Store, date: NaiveDate) -> Result<(Period, Stamp), BooksError> {
        let reads = attribute::reach(&self.plant, date);
        Ok((reads, store.day_stamp(reads, &self.events, &self.basis)?))
    }

    fn compute(&self, store: &Store, date: NaiveDate, reads: Period, stamp: &Stamp) -> Result<Day, BooksError> {
        let running = self.runs_on(date);
        let until = running.then_some(self.now);
        let read = Period::new(reads.start, until.unwrap_or(reads.end));
        let mut fold = DayFold::new(&self.plant);
        let issues = gather(store, &mut fold, &attribute::needs(&self.plant), read, !running)?;
        let mut ledger = attribute::ledger(&self.plant, &fold, &self.runs(read), date, until);
        ledger.issues.splice(0..0, issues);
        let worked = fold.worked_on(self.plant.zone.day(date));
        let sums = DaySums::of(&self.plant, &ledger.value, worked, fold.web_on(date));
        // A running day depends on the moment as well, which no stamp knows.
        if !running {
            store.cache_day(stamp, &ledger, &sums);
        }
        Ok((ledger, sums))
    }
}

/// What every day depends on besides the facts of its time: the version of the rules, and of the configuration whatever
/// describes the plant and its meters.
fn basis(configuration: &Configuration) -> [u8; 32] {
    let rules = attribute::RULES.to_le_bytes();
    Sha256::new().chain_update(rules).chain_update(&configuration.bearing).finalize().into()
}
