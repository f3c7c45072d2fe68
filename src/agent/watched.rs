//! The watch over all that the store knows, month by month.

use super::observe::{known, level, levels, with};
use super::{Books, BooksError};
use crate::config::Configuration;
use crate::store::Store;
use crate::time::{self, Month};
use crate::watch::{Watch, Watched};
use chrono::NaiveDate;

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
    Ok(Some(watch.findings()))
}
