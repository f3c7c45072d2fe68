//! Events are read back.

use super::Store;
use super::error::{On, StoreError};
use super::read::rank_of;
use super::said;
use crate::found::Found;
use crate::readings::{Event, Happening, rank};
use crate::time::At;
use rusqlite::Row;

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
        let mut rows = query.query([]).on(&self.path)?;
        let mut events = Vec::new();
        while let Some(row) = rows.next().on(&self.path)? {
            let id: String = row.get(0).on(&self.path)?;
            let payload: String = row.get(5).on(&self.path)?;
            let what = said::read(&payload).map_err(|fault| StoreError::Strange {
                path: self.path.clone(),
                what: format!("event {id} cannot be read: {fault}"),
            })?;
            events.push(event(row, id, what).on(&self.path)?);
        }
        Ok(events)
    }
}

fn event(row: &Row, id: String, what: Happening) -> rusqlite::Result<Event> {
    let note: String = row.get(4)?;
    Ok(Event {
        id,
        at: At(row.get(3)?),
        rank: rank_of(row, 1)?,
        revision: row.get(2)?,
        what,
        note: (!note.is_empty()).then_some(note),
    })
}
