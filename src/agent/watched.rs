//! The watch over all that the store knows, month by month.

use super::observe::{known, level, levels, with};
use super::{Books, BooksError};
use crate::config::Configuration;
use crate::readings::{Event, Rank};
use crate::store::{Store, StoreError};
use crate::time::{self, At, Month};
use crate::watch::{Change, Finding, Findings, Watch, Watched};
use chrono::NaiveDate;

/// The source of findings, as batches name it.
pub(super) const SOURCE: &str = "watch";

/// Watches from the first known day to `last`; `None` where nothing is known by then. `progress` hears which month is next.
///
/// # Errors
/// Where the store cannot be read.
pub fn watched(
    books: &Books,
    store: &Store,
    configuration: &Configuration,
    last: NaiveDate,
    progress: impl Fn(Month),
) -> Result<Option<Watched>, BooksError> {
    Ok(replay(books, store, configuration, last, progress)?.map(Watch::findings))
}

/// The watch after it has seen all days up to `last`; `None` where nothing is known by then.
pub(super) fn replay(
    books: &Books,
    store: &Store,
    configuration: &Configuration,
    last: NaiveDate,
    progress: impl Fn(Month),
) -> Result<Option<Watch>, BooksError> {
    let plant = books.plant();
    let first = known(store, plant.meters.iter().map(|meter| &meter.id))?.map(|known| plant.zone.date(known.start));
    let Some(first) = first.filter(|first| *first <= last) else { return Ok(None) };
    let stations = plant.presses.iter().flat_map(|press| &press.stations).map(|station| &station.id);
    let signalled = with(stations, |station| Ok(store.extent(&level(station))?.is_some()))?;
    let mut watch = Watch::new(plant, &configuration.tariffs, configuration.watch);
    let mut month = Month::of(first);
    while month.first() <= last {
        progress(month);
        let (from, to) = (month.first().max(first), month.last().min(last));
        let days = books.ledgers(&time::days(from, to).collect::<Vec<_>>())?;
        watch.take(&days, &levels(store, &signalled, plant.zone.days(from, to))?);
        month = month.next();
    }
    Ok(Some(watch))
}

/// Keeps what is new in what the watch finds, in one transaction; how many findings were raised, and how many changed.
///
/// # Errors
/// Where the store cannot be written.
pub fn keep(store: &mut Store, found: &[Finding], now: At) -> Result<(usize, usize), StoreError> {
    let news = Findings::of(&store.events_stated()?).news(found, now);
    let raised = news.iter().filter(|(change, _)| *change == Change::Raised).count();
    let changed = news.len() - raised;
    let events: Vec<Event> = news.into_iter().map(|(_, event)| event).collect();
    if !events.is_empty() {
        store.commit(SOURCE, Rank::Live, &[], &events, None)?;
    }
    Ok((raised, changed))
}
