//! The reading nearest to an instant, found without reading what lies between.

use super::Store;
use super::error::{On, StoreError};
use super::months::{self, DAY};
use crate::readings::Reading;
use crate::time::{At, Period};

impl Store {
    /// The nearest reading in force before an instant.
    pub(super) fn nearest_before(&self, id: i64, at: At) -> Result<Option<Reading>, StoreError> {
        let mut end = at.0;
        while let Some((from, to)) = self.last_stated_before(id, end)? {
            let day = At(from).floor(DAY).0;
            // What is stated last is nearly always in force; only where it is contested the day is gone through.
            for (from, to) in [(from, to), (day, end)] {
                if let Some(last) = self.in_force_unnamed(id, from, to)?.last() {
                    return Ok(Some(*last));
                }
            }
            end = day;
        }
        Ok(None)
    }

    /// The nearest reading in force at or after an instant.
    pub(super) fn nearest_after(&self, id: i64, at: At) -> Result<Option<Reading>, StoreError> {
        let mut start = at.0;
        while let Some((from, to)) = self.first_stated_after(id, start)? {
            let day = At(from).floor(DAY).0 + DAY;
            for (from, to) in [(from, to), (start, day)] {
                if let Some(first) = self.in_force_unnamed(id, from, to)?.first() {
                    return Ok(Some(*first));
                }
            }
            start = day;
        }
        Ok(None)
    }

    fn in_force_unnamed(&self, id: i64, from: i64, to: i64) -> Result<Vec<Reading>, StoreError> {
        let names = self.names.borrow();
        let Some(series) = names.series(id) else { return Ok(Vec::new()) };
        let hot = self.hot(id, from, to)?;
        Ok(self.in_force(series, id, Period::new(At(from), At(to)), &hot)?.value)
    }

    /// The end of what is stated before an instant: its last instant alone, or where a block reaches beyond, from the
    /// block's beginning.
    fn last_stated_before(&self, id: i64, end: i64) -> Result<Option<(i64, i64)>, StoreError> {
        let only = |t: i64| (t, t + 1);
        let hot = match self.hot_span(id)? {
            Some((_, last)) if last < end => Some(last),
            Some((first, _)) if first < end => {
                self.seek("SELECT t FROM hot WHERE t < ?1 AND series = ?2 ORDER BY t DESC LIMIT 1", end, id)?
            }
            _ => None,
        };
        for month in self.months.all()?.into_iter().rev() {
            match self.months.spans(month)?.get(&id) {
                Some((_, last)) if *last < end => return Ok(hot.max(Some(*last)).map(only)),
                Some((first, _)) if *first < end => {
                    let begun = self.months.read(month, |month| months::last_begun(month, id, end))?.flatten();
                    return Ok(begun.map(|begun| (begun, end)).max(hot.map(only)));
                }
                _ => {}
            }
        }
        Ok(hot.map(only))
    }

    /// The beginning of what is stated at or after an instant: its first instant alone, or where a block begins before,
    /// up to the end of its day.
    fn first_stated_after(&self, id: i64, start: i64) -> Result<Option<(i64, i64)>, StoreError> {
        let only = |t: i64| (t, t + 1);
        let hot = match self.hot_span(id)? {
            Some((first, _)) if first >= start => Some(first),
            Some((_, last)) if last >= start => {
                self.seek("SELECT t FROM hot WHERE t >= ?1 AND series = ?2 ORDER BY t LIMIT 1", start, id)?
            }
            _ => None,
        };
        for month in self.months.all()? {
            match self.months.spans(month)?.get(&id) {
                Some((first, _)) if *first >= start => return Ok(hot.into_iter().chain([*first]).min().map(only)),
                Some((_, last)) if *last >= start => {
                    let begun = self.months.read(month, |month| months::first_ending(month, id, start))?.flatten();
                    let begun = begun.map(|begun| (begun.max(start), At(begun).floor(DAY).0 + DAY));
                    return Ok(begun.into_iter().chain(hot.map(only)).min());
                }
                _ => {}
            }
        }
        Ok(hot.map(only))
    }

    fn seek(&self, sql: &str, t: i64, id: i64) -> Result<Option<i64>, StoreError> {
        use rusqlite::OptionalExtension;
        self.facts
            .prepare_cached(sql)
            .and_then(|mut query| query.query_row([t, id], |row| row.get(0)).optional())
            .on(&self.path)
    }
}
