//! How much was stated about a time: whoever has read it sees by that whether anything was added behind its back.

use super::Store;
use super::error::{On, StoreError};
use super::months::{self, month_of};
use crate::readings::Series;
use crate::time::Period;
use std::collections::BTreeMap;

impl Store {
    /// How many statements there are of each series about a period; packed ones count where their block begins, which is
    /// never in the UTC day before. As nothing is ever taken back, a series whose number is the same says nothing new. A
    /// row on its way into the segments may count twice for a moment.
    ///
    /// # Errors
    /// Where the store cannot be read.
    pub fn heard(&self, period: Period) -> Result<BTreeMap<Series, u64>, StoreError> {
        self.check_version()?;
        let (from, to) = (period.start.0, period.end.0);
        let mut all: BTreeMap<i64, i64> = BTreeMap::new();
        let mut add = |counts: Vec<(i64, i64)>| {
            counts.into_iter().for_each(|(series, n)| *all.entry(series).or_default() += n);
        };
        for sql in [
            "SELECT series, count(*) FROM hot WHERE t >= ?1 AND t < ?2 GROUP BY series",
            "SELECT series, count(*) FROM amend WHERE t >= ?1 AND t < ?2 GROUP BY series",
        ] {
            let mut query = self.facts.prepare_cached(sql).on(&self.path)?;
            add(query.query_map([from, to], |row| row.try_into()).and_then(Iterator::collect).on(&self.path)?);
        }
        let (first, last) = (month_of(from), month_of(to));
        for month in self.months.all()?.into_iter().filter(|month| (first..=last).contains(month)) {
            add(self.months.read(month, |month| months::heard(month, from, to))?.unwrap_or_default());
        }
        let mut names = self.names.borrow_mut();
        names.refresh(&self.facts, &self.path)?;
        Ok(all.iter().filter_map(|(id, n)| Some((names.series(*id)?.clone(), n.unsigned_abs()))).collect())
    }
}
