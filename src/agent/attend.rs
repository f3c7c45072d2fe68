//! The watch beside the running plant: days that are settled are taken once, the last two anew each time.

use super::observe::{level, levels, with};
use super::watched::replay;
use super::{Books, BooksError};
use crate::attribute::DayLedger;
use crate::config::Configuration;
use crate::found::Found;
use crate::readings::Happening;
use crate::store::Store;
use crate::watch::{Watch, Watched};
use chrono::{Days, NaiveDate};
use sha2::{Digest, Sha256};

/// The watch over all days that are settled.
pub(super) struct Attending {
    watch: Watch,
    /// The last of these days.
    last: NaiveDate,
    /// What they rest on.
    ground: [u8; 32],
}

impl Attending {
    /// Watches up to a day that still runs: goes on from where it was before. Where late data or recorded facts changed settled
    /// days, all begins anew, if `may_begin`; else what was known of them is good enough for the moment.
    ///
    /// # Errors
    /// Where the store cannot be read.
    pub(super) fn look(
        before: Option<Self>,
        books: &Books,
        store: &Store,
        configuration: &Configuration,
        today: &Found<DayLedger>,
        may_begin: bool,
    ) -> Result<Option<(Self, Watched)>, BooksError> {
        let date = today.value.date;
        let (Some(eve), Some(settled)) = (date.pred_opt(), date.checked_sub_days(Days::new(2))) else {
            return Ok(None);
        };
        let before = match before {
            Some(before) if before.ground == ground(books, store, before.last)? => Some(before),
            Some(_) if may_begin => None,
            before => before,
        };
        let mut now = match before {
            Some(before) if before.last <= settled => before,
            _ => {
                let watch = replay(books, store, configuration, settled, |_| {})?;
                let watch = watch.unwrap_or_else(|| fresh(books, configuration));
                Self { watch, last: settled, ground: ground(books, store, settled)? }
            }
        };
        while now.last < settled {
            let Some(next) = now.last.succ_opt() else { break };
            take(&mut now.watch, books, store, &books.ledgers(&[next])?)?;
            (now.last, now.ground) = (next, ground(books, store, next)?);
        }
        let mut watch = now.watch.clone();
        take(&mut watch, books, store, &books.ledgers(&[eve])?)?;
        take(&mut watch, books, store, std::slice::from_ref(today))?;
        Ok(Some((now, watch.findings())))
    }
}

/// A watch that has seen nothing yet.
fn fresh(books: &Books, configuration: &Configuration) -> Watch {
    Watch::new(books.plant(), &configuration.tariffs, configuration.watch)
}

/// Takes days with the levels that were signalled.
fn take(watch: &mut Watch, books: &Books, store: &Store, days: &[Found<DayLedger>]) -> Result<(), BooksError> {
    let plant = books.plant();
    let Some((first, last)) = days.first().zip(days.last()) else { return Ok(()) };
    let stations = plant.presses.iter().flat_map(|press| &press.stations).map(|station| &station.id);
    let signalled = with(stations, |station| Ok(store.extent(&level(station))?.is_some()))?;
    watch.take(days, &levels(store, &signalled, plant.zone.days(first.value.date, last.value.date))?);
    Ok(())
}

/// What the days up to one rest on: the last change of their readings, and every recorded fact but the findings themselves.
fn ground(books: &Books, store: &Store, last: NaiveDate) -> Result<[u8; 32], BooksError> {
    let mut hash = Sha256::new();
    hash.update(store.changed_until(last)?.to_le_bytes());
    let facts =
        books.events().iter().filter(|event| !matches!(event.what, Happening::Found(_) | Happening::Answered(_)));
    // A run that began today says nothing of the days before.
    let end = books.plant().zone.day(last).end;
    for event in facts.filter(|event| event.at < end) {
        hash.update(event.id.as_bytes());
        hash.update([event.rank as u8]);
        hash.update(event.revision.to_le_bytes());
    }
    Ok(hash.finalize().into())
}
