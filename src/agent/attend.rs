//! The watch beside the running plant: days that are settled are taken once, the last two anew each time.

use super::watched::{begin, of, replay, seen};
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
                // Where nothing is known at all, nothing that was told is taken back.
                if watch.is_none() && today.value.slices.iter().all(|slice| slice.usage.energy.is_none()) {
                    return Ok(None);
                }
                let watch = watch.unwrap_or_else(|| begin(books.plant(), configuration));
                Self { watch, last: settled, ground: ground(books, store, settled)? }
            }
        };
        while now.last < settled {
            let Some(next) = now.last.succ_opt() else { break };
            seen(books, store, configuration, (next, next))?.iter().for_each(|day| now.watch.take(day));
            (now.last, now.ground) = (next, ground(books, store, next)?);
        }
        let mut watch = now.watch.clone();
        seen(books, store, configuration, (eve, eve))?.iter().for_each(|day| watch.take(day));
        watch.take(&of(books, store, configuration, today)?);
        Ok(Some((now, watch.findings())))
    }
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
