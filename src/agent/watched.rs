//! The watch over all that the store knows, month by month.

use super::observe::{known, level, levels, with};
use super::{Books, BooksError};
use crate::attribute::DayLedger;
use crate::config::Configuration;
use crate::found::Found;
use crate::plant::Plant;
use crate::readings::{Event, Rank};
use crate::store::{Store, StoreError};
use crate::time::{self, At, Month};
use crate::watch::{Change, Day, Finding, Findings, RULES, Watch, Watched};
use chrono::NaiveDate;
use std::collections::BTreeMap;

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
    let mut watch = begin(plant, configuration);
    let mut month = Month::of(first);
    while month.first() <= last {
        progress(month);
        let (from, to) = (month.first().max(first), month.last().min(last));
        seen(books, store, configuration, (from, to))?.iter().for_each(|day| watch.take(day));
        month = month.next();
    }
    Ok(Some(watch))
}

/// A watch that has seen no day yet.
pub(super) fn begin(plant: &Plant, configuration: &Configuration) -> Watch {
    let polled = configuration.lines.iter().flat_map(|line| line.meters.iter().map(move |meter| (line, meter)));
    let gateways = polled.map(|(line, polled)| (polled.meter.clone(), line.endpoint.clone())).collect();
    Watch::new(plant, configuration.watch, gateways)
}

/// What the watch takes from days: as it was kept, or taken from their ledgers and kept.
pub(super) fn seen(
    books: &Books,
    store: &Store,
    configuration: &Configuration,
    (first, last): (NaiveDate, NaiveDate),
) -> Result<Vec<Day>, BooksError> {
    let more = more(configuration);
    let (mut days, mut missing) = (BTreeMap::new(), Vec::new());
    for date in time::days(first, last) {
        let stamp = books.stamp(store, date)?.1.with(&more);
        match store.cached_watched(date, &stamp) {
            Some(day) => drop(days.insert(date, day)),
            None => missing.push((date, stamp)),
        }
    }
    let ledgers = books.ledgers(&missing.iter().map(|(date, _)| *date).collect::<Vec<_>>())?;
    let mut new = Vec::new();
    for (ledger, (date, stamp)) in ledgers.iter().zip(missing) {
        let day = of(books, store, configuration, ledger)?;
        // A running day depends on the moment as well, which no stamp knows.
        if !books.runs_on(date) {
            new.push((stamp, day.clone()));
        }
        days.insert(date, day);
    }
    if !new.is_empty() {
        store.cache_watched(&new);
    }
    Ok(days.into_values().collect())
}

/// What the watch takes from one day.
pub(super) fn of(
    books: &Books,
    store: &Store,
    configuration: &Configuration,
    ledger: &Found<DayLedger>,
) -> Result<Day, BooksError> {
    let plant = books.plant();
    let date = ledger.value.date;
    let stations = plant.presses.iter().flat_map(|press| &press.stations).map(|station| &station.id);
    let signalled = with(stations, |station| Ok(store.extent(&level(station))?.is_some()))?;
    let levels = levels(store, &signalled, plant.zone.day(date))?;
    Ok(Day::of(plant, &configuration.tariffs, ledger, &levels))
}

/// What a day is taken by beside its facts: the rules of the watch, and the prices.
fn more(configuration: &Configuration) -> Vec<u8> {
    let mut more = RULES.to_le_bytes().to_vec();
    for text in configuration.texts.iter().filter(|text| text.path.contains("tariffs/")) {
        more.extend((text.text.len() as u64).to_le_bytes());
        more.extend(text.text.as_bytes());
    }
    more
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
