//! Corrections by hand are read back, each with its reason.

use super::Store;
use super::error::{On, StoreError};
use crate::readings::{Rank, Reading, Series};
use crate::time::At;
use std::collections::BTreeMap;

/// A reading as a person stated it last.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Corrected {
    /// Of what.
    pub series: Series,
    /// When and what.
    pub reading: Reading,
    /// Who says so, and why.
    pub note: String,
}

impl Store {
    /// The corrections in force, by series and time.
    ///
    /// # Errors
    /// Where the store cannot be read.
    pub fn corrections(&self) -> Result<Vec<Corrected>, StoreError> {
        let mut query = self
            .facts
            .prepare_cached(
                "SELECT amend.series, amend.t, amend.v, batch.note FROM amend JOIN batch ON batch.id = amend.batch \
                 WHERE amend.rank = ?1 ORDER BY amend.series, amend.t, amend.revision",
            )
            .on(&self.path)?;
        let rows = query.query_map([Rank::Correction as u8], |row| {
            Ok(((row.get(0)?, At(row.get(1)?)), (row.get(2)?, row.get(3)?)))
        });
        // Of several revisions the last one stays.
        let last: BTreeMap<(i64, At), (i64, String)> = rows.and_then(Iterator::collect).on(&self.path)?;
        let names: BTreeMap<i64, Series> = {
            let mut names = self.names.borrow_mut();
            names.refresh(&self.facts, &self.path)?;
            names.all().map(|(series, id)| (id, series.clone())).collect()
        };
        let corrected = |((id, at), (count, note)): ((i64, At), (i64, String))| {
            Some(Corrected { series: names.get(&id)?.clone(), reading: Reading { at, count }, note })
        };
        Ok(last.into_iter().filter_map(corrected).collect())
    }
}
