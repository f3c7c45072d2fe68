//! Which local days a new fact changes, so that a computed day knows whether it still holds.

use super::Store;
use super::error::{On, StoreError};
use crate::readings::{Kind, Series, Subject};
use crate::time::{At, Period, days};
use chrono::NaiveDate;
use rusqlite::params;
use std::collections::BTreeSet;
use std::ops::RangeInclusive;

/// The days that a transaction touches, with what it must know for that.
#[derive(Debug)]
pub(super) struct Touched<'a> {
    earliest: Option<NaiveDate>,
    latest: Option<NaiveDate>,
    days: BTreeSet<(NaiveDate, &'a Subject)>,
}

impl Store {
    /// Counts a transaction that changes something.
    pub(super) fn next_revision(&self) -> Result<i64, StoreError> {
        self.facts
            .prepare_cached("UPDATE revision SET last = last + 1 RETURNING last")
            .and_then(|mut next| next.query_row([], |row| row.get(0)))
            .on(&self.path)
    }

    /// Nothing touched yet.
    pub(super) fn untouched<'a>(&self) -> Result<Touched<'a>, StoreError> {
        let end = |sql: &str| -> Result<Option<NaiveDate>, StoreError> {
            let day: Option<String> = self
                .facts
                .prepare_cached(sql)
                .and_then(|mut query| query.query_row([], |row| row.get(0)))
                .on(&self.path)?;
            Ok(day.and_then(|day| day.parse().ok()))
        };
        let earliest = end("SELECT min(day) FROM touched")?;
        Ok(Touched { earliest, latest: end("SELECT max(day) FROM touched")?, days: BTreeSet::new() })
    }

    /// The local days that statements of a series about the time between two instants may change, to be asked before they
    /// are written: from the known instant before to the known instant after; where there is none, to the first or last
    /// day of the store. A step acts forward only.
    pub(super) fn reach(
        &self,
        series: &Series,
        id: i64,
        (first, last): (At, At),
        touched: &Touched,
    ) -> Result<RangeInclusive<NaiveDate>, StoreError> {
        let step = series.quantity.kind() == Kind::Step;
        let before = if step { Some(first) } else { self.known_before(id, first)? };
        // What comes in order, as nearly all does, has nothing after it.
        let newest = self.span(id)?.is_none_or(|(_, end)| end <= last.0);
        let after = if newest { None } else { self.nearest_after(id, last + 1)?.map(|r| r.at) };
        let (first, last) = (self.zone.date(first), self.zone.date(last));
        let from = before.map_or(touched.earliest.unwrap_or(first).min(first), |at| self.zone.date(at));
        let to = after.map_or(touched.latest.unwrap_or(last).max(last), |at| self.zone.date(at));
        Ok(from..=to)
    }

    /// The instant of the nearest reading in force before another.
    fn known_before(&self, id: i64, at: At) -> Result<Option<At>, StoreError> {
        match self.span(id)? {
            None => Ok(None),
            Some((_, last)) if last < at.0 && self.epochs()?.is_single() && !self.is_amended(id, last)? => {
                Ok(Some(At(last)))
            }
            Some(_) => Ok(self.nearest_before(id, at)?.map(|r| r.at)),
        }
    }

    fn is_amended(&self, series: i64, t: i64) -> Result<bool, StoreError> {
        self.facts
            .prepare_cached("SELECT EXISTS (SELECT 1 FROM amend WHERE series = ?1 AND t = ?2)")
            .and_then(|mut query| query.query_row([series, t], |row| row.get(0)))
            .on(&self.path)
    }

    /// Writes down what was touched.
    pub(super) fn write_touched(&self, touched: &Touched) -> Result<(), StoreError> {
        if touched.days.is_empty() {
            return Ok(());
        }
        let revision = self.next_revision()?;
        let mut touch = self
            .facts
            .prepare_cached(
                "INSERT INTO touched (day, subject, revision) VALUES (?1, ?2, ?3) \
                 ON CONFLICT DO UPDATE SET revision = excluded.revision",
            )
            .on(&self.path)?;
        for (day, subject) in &touched.days {
            touch.execute(params![day.to_string(), subject.to_string(), revision]).on(&self.path)?;
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

    /// The last revision at which something changed that a local day up to this one reads; 0 where nothing ever did.
    ///
    /// # Errors
    /// Where the store cannot be read.
    pub fn changed_until(&self, last: NaiveDate) -> Result<i64, StoreError> {
        self.facts
            .prepare_cached("SELECT coalesce(max(revision), 0) FROM touched WHERE day <= ?1")
            .and_then(|mut query| query.query_row([last.to_string()], |row| row.get(0)))
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
}

impl<'a> Touched<'a> {
    /// Adds days of a subject.
    pub(super) fn add(&mut self, subject: &'a Subject, range: RangeInclusive<NaiveDate>) {
        let (first, last) = range.into_inner();
        self.days.extend(days(first, last).map(|day| (day, subject)));
    }
}
