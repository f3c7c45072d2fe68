//! Which local days a new fact changes, so that a computed day knows whether it still holds.

use super::Store;
use super::error::{On, StoreError};
use crate::readings::{Kind, Series};
use crate::time::{At, Period};
use chrono::NaiveDate;
use rusqlite::params;

/// The known instants on both sides of a new statement, where there are any.
#[derive(Clone, Copy, Debug)]
pub(super) struct Neighbours {
    /// The last before.
    pub before: Option<At>,
    /// The first after.
    pub after: Option<At>,
}

impl Store {
    /// The last revision: how many transactions have changed something.
    pub(super) fn next_revision(&self) -> Result<i64, StoreError> {
        self.facts
            .prepare_cached("UPDATE revision SET last = last + 1 RETURNING last")
            .and_then(|mut next| next.query_row([], |row| row.get(0)))
            .on(&self.path)
    }

    /// The instants in force on both sides of the time in which a series gets new statements.
    pub(super) fn neighbours(&self, series: &Series, id: i64, first: At, last: At) -> Result<Neighbours, StoreError> {
        let before = match series.quantity.kind() {
            Kind::Step => None,
            _ => self.nearest_before(id, first)?.map(|r| r.at),
        };
        Ok(Neighbours { before, after: self.nearest_after(id, last + 1)?.map(|r| r.at) })
    }

    /// Touches the local days that statements of a series at these instants may change: between the known instants on
    /// both sides, where there is none to the first or last day of the store. A step acts forward only.
    pub(super) fn touch(&self, series: &Series, beside: &Neighbours, changed: &[i64]) -> Result<(), StoreError> {
        let (Some(&first), Some(&last)) = (changed.first(), changed.last()) else { return Ok(()) };
        let (earliest, latest) = self.days_touched()?;
        let (first, last) = (self.zone.date(At(first)), self.zone.date(At(last)));
        let from = match (beside.before, series.quantity.kind()) {
            (Some(at), _) => self.zone.date(at),
            (None, Kind::Step) => first,
            (None, _) => earliest.map_or(first, |day| day.min(first)),
        };
        let to = match beside.after {
            Some(at) => self.zone.date(at),
            None => latest.map_or(last, |day| day.max(last)),
        };
        let revision = self.next_revision()?;
        let subject = series.subject.to_string();
        for day in from.iter_days().take_while(|day| *day <= to) {
            self.touch_day(day, &subject, revision)?;
        }
        Ok(())
    }

    /// Touches every day from an instant on, for all subjects that have readings there.
    pub(super) fn touch_all_since(&self, at: At) -> Result<(), StoreError> {
        let revision = self.next_revision()?;
        let day = self.zone.date(at).to_string();
        self.facts
            .execute("UPDATE touched SET revision = ?1 WHERE day >= ?2", params![revision, day])
            .map(drop)
            .on(&self.path)
    }

    /// The local days that touch a period, with their subjects and the revisions at which they last changed.
    pub(super) fn revisions(&self, period: Period) -> Result<Vec<(String, String, i64)>, StoreError> {
        let (from, to) = (self.zone.date(period.start), self.zone.date(period.end - 1));
        let mut query = self
            .facts
            .prepare_cached(
                "SELECT day, subject, revision FROM touched WHERE day BETWEEN ?1 AND ?2 ORDER BY day, subject",
            )
            .on(&self.path)?;
        let rows = query
            .query_map([from.to_string(), to.to_string()], |row| row.try_into())
            .and_then(Iterator::collect)
            .on(&self.path)?;
        Ok(rows)
    }

    fn touch_day(&self, day: NaiveDate, subject: &str, revision: i64) -> Result<(), StoreError> {
        self.facts
            .prepare_cached(
                "INSERT INTO touched (day, subject, revision) VALUES (?1, ?2, ?3) \
                 ON CONFLICT DO UPDATE SET revision = excluded.revision",
            )
            .and_then(|mut touch| touch.execute(params![day.to_string(), subject, revision]))
            .map(drop)
            .on(&self.path)
    }

    /// The first and last day of which anything is known.
    fn days_touched(&self) -> Result<(Option<NaiveDate>, Option<NaiveDate>), StoreError> {
        let end = |sql: &str| -> Result<Option<NaiveDate>, StoreError> {
            let day: Option<String> = self
                .facts
                .prepare_cached(sql)
                .and_then(|mut query| query.query_row([], |row| row.get(0)))
                .on(&self.path)?;
            Ok(day.and_then(|day| day.parse().ok()))
        };
        Ok((end("SELECT min(day) FROM touched")?, end("SELECT max(day) FROM touched")?))
    }
}
