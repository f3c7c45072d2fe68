//! Closed months: only ever added to.

use super::Store;
use super::error::{On, StoreError};
use super::stamp::{event_bytes, holds};
use crate::closing::{Closing, Kept, sealed, sha256};
use crate::readings::{Event, Happening};
use crate::time::Period;
use rusqlite::params;

impl Store {
    /// The closings in the order in which they were made.
    ///
    /// # Errors
    /// Where the store cannot be read.
    pub fn closings(&self) -> Result<Vec<Kept>, StoreError> {
        let mut query =
            self.facts.prepare_cached("SELECT number, hash, text FROM closed ORDER BY number").on(&self.path)?;
        query
            .query_map([], |row| Ok(Kept { number: row.get(0)?, hash: row.get(1)?, text: row.get(2)? }))
            .and_then(Iterator::collect)
            .on(&self.path)
    }

    /// Adds a closing at the end of the chain; `false` where it does not follow on the last one, because somebody else
    /// closed a month in the meantime: nothing is stored then.
    ///
    /// # Errors
    /// Where the store cannot be written.
    pub fn close(&mut self, closing: &Closing) -> Result<bool, StoreError> {
        let all = self.begin()?;
        let chain = self.closings()?;
        let last = chain.last().map_or((0, ""), |last| (last.number, last.hash.as_str()));
        if last.1 != closing.previous {
            return Ok(false);
        }
        let kept = sealed(closing, last.0 + 1);
        all.execute(
            "INSERT INTO closed (number, month, sequence, previous, hash, text) VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
            params![kept.number, closing.month, closing.sequence, closing.previous, kept.hash, kept.text],
        )
        .on(&self.path)?;
        all.commit().on(&self.path)?;
        Ok(true)
    }

    /// The hash of an event as it is stored, by which a closed month knows it again.
    pub fn event_hash(event: &Event) -> String {
        sha256(&event_bytes(event))
    }
}

/// The events of those in force that a month reading a period comes out of. What only a saving is reckoned with changes no
/// month, and certificates are applied by the year.
pub fn acting(events: &[Event], reads: Period) -> impl Iterator<Item = &Event> {
    let acts = move |event: &&Event| match event.what {
        Happening::Adjustment { .. } | Happening::StaticFactor { .. } | Happening::BoundaryCorrected { .. } => false,
        _ => holds(event, reads),
    };
    events.iter().filter(acts)
}
