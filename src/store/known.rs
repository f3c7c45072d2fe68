//! What is looked up once and holds until somebody writes: clock epochs, and from when to when each series has readings.

use super::Store;
use super::error::{On, StoreError};
use crate::readings::Series;
use crate::readings::rank::Epochs;
use crate::time::At;
use std::collections::BTreeMap;

/// What was looked up once and holds until somebody writes.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Known {
    version: Option<i64>,
    epochs: Option<Epochs>,
    /// First and last instant of each series that has readings not yet packed.
    hot: Option<BTreeMap<i64, (i64, i64)>>,
    /// First and last instant of each series.
    all: Option<BTreeMap<i64, (i64, i64)>>,
}

impl Known {
    /// Nothing of it holds any more.
    pub(super) fn forget(&mut self) {
        *self = Self::default();
    }

    /// Readings of a series were added that are not packed.
    pub(super) fn grow(&mut self, series: i64, first: i64, last: i64) {
        for spans in [&mut self.hot, &mut self.all].into_iter().flatten() {
            widen(spans, series, (first, last));
        }
    }
}

fn widen(spans: &mut BTreeMap<i64, (i64, i64)>, series: i64, (first, last): (i64, i64)) {
    let span = spans.entry(series).or_insert((first, last));
    *span = (span.0.min(first), span.1.max(last));
}

impl Store {
    /// The first and the last instant of which a series has a statement; `None` where it has none.
    ///
    /// # Errors
    /// Where the store cannot be read.
    pub fn extent(&self, series: &Series) -> Result<Option<(At, At)>, StoreError> {
        let Some(id) = self.number(series)? else { return Ok(None) };
        Ok(self.span(id)?.map(|(first, last)| (At(first), At(last))))
    }

    /// Forgets what was looked up if another connection has written since.
    pub(super) fn check_version(&self) -> Result<(), StoreError> {
        let version = self.data_version()?;
        let mut known = self.known.borrow_mut();
        if known.version != Some(version) {
            known.forget();
            self.months.forget();
            known.version = Some(version);
        }
        Ok(())
    }

    /// The clock epochs.
    pub(super) fn epochs(&self) -> Result<Epochs, StoreError> {
        self.check_version()?;
        let mut known = self.known.borrow_mut();
        if let Some(epochs) = &known.epochs {
            return Ok(epochs.clone());
        }
        let mut query = self.facts.prepare_cached("SELECT at FROM epoch ORDER BY number").on(&self.path)?;
        let begins: Vec<At> =
            query.query_map([], |row| row.get(0).map(At)).and_then(Iterator::collect).on(&self.path)?;
        Ok(known.epochs.insert(Epochs::new(&begins)).clone())
    }

    /// First and last instant of the readings of a series that are not packed.
    pub(super) fn hot_span(&self, id: i64) -> Result<Option<(i64, i64)>, StoreError> {
        self.check_version()?;
        let mut known = self.known.borrow_mut();
        if known.hot.is_none() {
            let mut query =
                self.facts.prepare_cached("SELECT series, min(t), max(t) FROM hot GROUP BY series").on(&self.path)?;
            let spans = query
                .query_map([], |row| Ok((row.get(0)?, (row.get(1)?, row.get(2)?))))
                .and_then(Iterator::collect)
                .on(&self.path)?;
            known.hot = Some(spans);
        }
        Ok(known.hot.as_ref().and_then(|spans| spans.get(&id).copied()))
    }

    /// First and last instant of the statements about a series.
    pub(super) fn span(&self, id: i64) -> Result<Option<(i64, i64)>, StoreError> {
        self.hot_span(id)?;
        if let Some(all) = &self.known.borrow().all {
            return Ok(all.get(&id).copied());
        }
        let mut all = self.known.borrow().hot.clone().unwrap_or_default();
        for month in self.months.all()? {
            for (series, span) in self.months.spans(month)?.iter() {
                widen(&mut all, *series, *span);
            }
        }
        let span = all.get(&id).copied();
        self.known.borrow_mut().all = Some(all);
        Ok(span)
    }
}
