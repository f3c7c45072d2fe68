//! Events are read back.

use super::Store;
use super::error::{On, StoreError};
use super::read::rank_of;
use super::said;
use crate::found::Found;
use crate::readings::{Event, rank};
use crate::time::At;
use rusqlite::Row;
use rusqlite::types::Type;

impl Store {
    /// The events in force, sorted by kind, instant and identity. Contested ones are left out, with an issue.
    ///
    /// # Errors
    /// Where the store cannot be read.
    pub fn events(&self) -> Result<Found<Vec<Event>>, StoreError> {
        Ok(rank::events(self.events_stated()?))
    }

    /// Every version of every event as it was stated, in force or not.
    ///
    /// # Errors
    /// Where the store cannot be read.
    pub fn events_stated(&self) -> Result<Vec<Event>, StoreError> {
        let mut query =
            self.facts.prepare_cached("SELECT id, rank, revision, at, note, payload FROM event").on(&self.path)?;
        query.query_map([], event).and_then(Iterator::collect).on(&self.path)
    }
}

fn event(row: &Row) -> rusqlite::Result<Event> {
    let payload: String = row.get(5)?;
    let what =
        said::read(&payload).map_err(|e| rusqlite::Error::FromSqlConversionFailure(5, Type::Text, Box::new(e)))?;
    let note: String = row.get(4)?;
    Ok(Event {
        id: row.get(0)?,
        at: At(row.get(3)?),
        rank: rank_of(row, 1)?,
        revision: row.get(2)?,
        what,
        note: (!note.is_empty()).then_some(note),
    })
}
