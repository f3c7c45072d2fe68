//! What closing a month keeps: hashes of the facts that it comes out of, and its figures.

use super::{Books, BooksError, with_basis};
use crate::attribute;
use crate::closing::Figures;
use crate::config::Configuration;
use crate::found::Found;
use crate::plant::Plant;
use crate::readings::{Happening, Kind, Reading, Series, rank};
use crate::report::figures;
use crate::store::{Access, Store, StoreError, acting};
use crate::time::{Month, Period};
use crate::units::hex;
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;

/// A month as the facts give it.
#[derive(Clone, Debug, Default)]
pub struct Seen {
    /// Hashes of the facts, by what they are about.
    pub facts: BTreeMap<String, String>,
    /// Facts that cannot be read, with what is wrong.
    pub damaged: BTreeMap<String, String>,
    /// The figures; `None` where no energy is known, or facts are damaged.
    pub figures: Option<Figures>,
}

/// Reads the facts of a month and computes it from them, whatever is kept of it.
///
/// # Errors
/// Where the store cannot be read for another reason than a damaged fact.
pub fn seen(books: Books, configuration: &Configuration, month: Month) -> Result<Seen, BooksError> {
    let store = Store::open(books.folder(), books.plant().zone, Access::Read)?;
    let mut seen = facts(&store, &books, month)?;
    if seen.damaged.is_empty() {
        let days = (month.first(), month.last());
        seen.figures = with_basis(&books.afresh(), configuration, days, figures)?;
    }
    Ok(seen)
}

/// Hashes of the certificates and contracts on file, by their names.
pub fn certificates(books: &Books) -> BTreeMap<String, String> {
    let instruments = books.events().iter().filter(|event| matches!(event.what, Happening::Instrument(_)));
    instruments.map(|event| (format!("certificate {}", event.id), Store::event_hash(event))).collect()
}

/// The hashes of all facts that the days of a month read: of each subject by local day, and of each event.
fn facts(store: &Store, books: &Books, month: Month) -> Result<Seen, BooksError> {
    let plant = books.plant();
    let reads = reach(plant, month);
    let mut seen = Seen::default();
    let needs = attribute::needs(plant);
    let subjects = || needs.chunk_by(|a, b| a.subject == b.subject);
    for date in plant.zone.dates(reads) {
        let Some(period) = plant.zone.day(date).overlap(reads) else { continue };
        // What is not packed is read at once, of all series, unless something in it is damaged.
        let is_unpacked = store.unpacked_since(period.start)?.is_some_and(|at| at < period.end);
        let all = is_unpacked.then(|| store.readings_of(&needs, period, false).ok()).flatten();
        for series in subjects() {
            let about = format!("{} {date}", series[0].subject);
            seen.note(about, day(store, series, period, all.as_ref()))?;
        }
    }
    for series in subjects() {
        let (subject, of) = (&series[0].subject, plant.zone.month(month));
        let (first, last) = (plant.zone.date(reads.start), plant.zone.date(reads.end));
        seen.note(format!("{subject} before {first}"), before(store, series, reads, of))?;
        seen.note(format!("{subject} after {last}"), after(store, series, reads, of))?;
    }
    for event in acting(books.events(), reads) {
        let about = format!("event {} {}", rank::kind(event), event.id);
        seen.facts.insert(about, Store::event_hash(event));
    }
    Ok(seen)
}

/// All that the days of a month read.
fn reach(plant: &Plant, month: Month) -> Period {
    Period::new(attribute::reach(plant, month.first()).start, attribute::reach(plant, month.last()).end)
}

impl Seen {
    /// Notes a fact by its hash; one that cannot be read by what is wrong with it.
    fn note(&mut self, about: String, hash: Result<Option<String>, StoreError>) -> Result<(), StoreError> {
        match hash {
            Ok(hash) => self.facts.extend(hash.map(|hash| (about, hash))),
            Err(fault @ (StoreError::Segment { .. } | StoreError::Damaged { .. } | StoreError::Strange { .. })) => {
                self.damaged.insert(about, fault.to_string());
            }
            Err(fault) => return Err(fault),
        }
        Ok(())
    }
}

/// The hash of a subject's readings in force within a period, in order of time whatever came first, and of what is
/// contested; `None` where there is none. `all` is what was read at once.
fn day(
    store: &Store,
    series: &[Series],
    period: Period,
    all: Option<&Found<BTreeMap<Series, Vec<Reading>>>>,
) -> Result<Option<String>, StoreError> {
    let own = if all.is_none() { Some(store.readings_of(series, period, false)?) } else { None };
    let Some(found) = all.or(own.as_ref()) else { return Ok(None) };
    let mut hash = Hash::default();
    let is_contested = found.issues.iter().any(|issue| issue.about == series[0].subject.to_string());
    for series in series {
        hash.feed(series, found.value.get(series).map_or(&[], Vec::as_slice));
        if is_contested {
            for (at, counts) in store.contested(series, period)? {
                let said: Vec<Reading> = counts.iter().map(|count| Reading { at, count: *count }).collect();
                hash.feed(series, &said);
            }
        }
    }
    Ok(hash.finish())
}

/// What lies before all that is read of series that say nothing up to the beginning of the month.
fn before(store: &Store, series: &[Series], reads: Period, month: Period) -> Result<Option<String>, StoreError> {
    let mut hash = Hash::default();
    for series in series {
        let found = store.readings(series, Period::new(reads.start, month.start + 1), true)?.value;
        let is_known = found.iter().any(|reading| reads.start <= reading.at && reading.at <= month.start);
        if let Some(first) = found.first().filter(|reading| !is_known && reading.at < reads.start) {
            hash.feed(series, &[*first]);
        }
    }
    Ok(hash.finish())
}

/// What lies after all that is read of series that say nothing from the end of the month on. A step acts forward only.
fn after(store: &Store, series: &[Series], reads: Period, month: Period) -> Result<Option<String>, StoreError> {
    let mut hash = Hash::default();
    for series in series.iter().filter(|series| series.quantity.kind() != Kind::Step) {
        let found = store.readings(series, Period::new(month.end, reads.end), true)?.value;
        let is_known = found.iter().any(|reading| month.end <= reading.at && reading.at < reads.end);
        if let Some(last) = found.last().filter(|reading| !is_known && reading.at >= reads.end) {
            hash.feed(series, &[*last]);
        }
    }
    Ok(hash.finish())
}

#[derive(Default)]
struct Hash {
    hash: Sha256,
    count: usize,
}

impl Hash {
    fn feed(&mut self, series: &Series, readings: &[Reading]) {
        let name = series.quantity.to_string();
        for number in [name.len() as u64, readings.len() as u64] {
            self.hash.update(number.to_le_bytes());
        }
        self.hash.update(&name);
        for reading in readings {
            self.hash.update(reading.at.0.to_le_bytes());
            self.hash.update(reading.count.to_le_bytes());
        }
        self.count += readings.len();
    }

    fn finish(self) -> Option<String> {
        (self.count > 0).then(|| hex(&self.hash.finalize()))
    }
}
