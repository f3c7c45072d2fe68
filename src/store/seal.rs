//! Readings leave `facts.db` for the segments: hours as they end, joined to days after midnight UTC, in small steps.

use super::error::{On, StoreError};
use super::months::{self, DAY, month_of};
use super::pack::{self, Packed};
use super::read::{self, Stated};
use super::{Access, Store};
use crate::readings::Subject;
use crate::time::{At, HOUR, MINUTE, Month};
use rusqlite::Connection;
use std::collections::BTreeMap;

/// Late readings of an hour or day are waited for so long, as they would cost a second packing.
const LATE: i64 = 5 * MINUTE;

/// Rows that one step moves at most, as far as a minute may be cut from.
const ROWS: i64 = 50_000;

/// What takes the place of a subject's blocks that begin within a time.
#[derive(Debug)]
pub(super) struct Repacked {
    series: Vec<i64>,
    from: i64,
    to: i64,
    packed: Packed,
}

impl Store {
    /// Takes one small step of packing what is old enough at `now`; false where nothing is left to do. Readers see the
    /// same readings before, between and after. A crash between leaves a reading in both places, where it counts once.
    ///
    /// # Errors
    /// Where the store cannot be read or written; nothing is lost, the step can be tried again.
    pub fn seal(&mut self, now: At) -> Result<bool, StoreError> {
        debug_assert_eq!(self.access, Access::Agent, "the agent packs");
        let done = self.begin().and_then(|all| {
            let packed = self.pack_hot(now)?;
            if packed {
                all.commit().on(&self.path)?;
            }
            Ok(packed)
        });
        // Where nothing was packed, what is known holds on: to look it up again costs a pass over all that is not packed.
        if !matches!(done, Ok(false)) {
            self.known.borrow_mut().forget();
        }
        if done? {
            return Ok(true);
        }
        self.join_day(now)
    }

    /// The first instant from another on of which a reading is not packed yet.
    ///
    /// # Errors
    /// Where the store cannot be read.
    pub fn unpacked_since(&self, at: At) -> Result<Option<At>, StoreError> {
        self.facts
            .prepare_cached("SELECT min(t) FROM hot WHERE t >= ?1")
            .and_then(|mut query| query.query_row([at.0], |row| row.get::<_, Option<i64>>(0)))
            .map(|first| first.map(At))
            .on(&self.path)
    }

    /// Packs the oldest readings that are due.
    fn pack_hot(&self, now: At) -> Result<bool, StoreError> {
        let Some((from, to)) = self.window(now)? else { return Ok(false) };
        let rows = self.hot_between(from, to)?;
        let mut all = Vec::new();
        for (subject, readings) in self.by_subject(rows)? {
            all.push(self.repack(&subject, from, to, readings)?);
        }
        self.replace(month_of(from), &all)?;
        // What is packed is on disk by now.
        self.facts.execute("DELETE FROM hot WHERE t >= ?1 AND t < ?2", [from, to]).on(&self.path)?;
        Ok(true)
    }

    /// The longest of day, hour and minutes that begins with the oldest reading, has ended and is not too much.
    fn window(&self, now: At) -> Result<Option<(i64, i64)>, StoreError> {
        let oldest: Option<i64> = self.facts.query_row("SELECT min(t) FROM hot", [], |row| row.get(0)).on(&self.path)?;
        let Some(oldest) = oldest else { return Ok(None) };
        for length in [DAY, HOUR, 10 * MINUTE, MINUTE] {
            let from = At(oldest).floor(length).0;
            let to = from + length;
            let hour_over = At(oldest).floor(HOUR).0 + HOUR + LATE <= now.0;
            if to + LATE <= now.0 && hour_over && (length == MINUTE || self.rows_between(from, to)? <= ROWS) {
                return Ok(Some((from, to)));
            }
        }
        Ok(None)
    }

    fn rows_between(&self, from: i64, to: i64) -> Result<i64, StoreError> {
        self.facts
            .query_row(
                "SELECT count(*) FROM (SELECT 1 FROM hot WHERE t >= ?1 AND t < ?2 LIMIT ?3)",
                [from, to, ROWS + 1],
                |row| row.get(0),
            )
            .on(&self.path)
    }

    pub(super) fn hot_between(&self, from: i64, to: i64) -> Result<BTreeMap<i64, Vec<Stated>>, StoreError> {
        let mut query = self
            .facts
            .prepare_cached("SELECT t, rank, epoch, 0, v, series FROM hot WHERE t >= ?1 AND t < ?2 ORDER BY t")
            .on(&self.path)?;
        let mut rows = query.query([from, to]).on(&self.path)?;
        let mut all: BTreeMap<i64, Vec<Stated>> = BTreeMap::new();
        while let Some(row) = rows.next().on(&self.path)? {
            all.entry(row.get(5).on(&self.path)?).or_default().push(read::stated(row).on(&self.path)?);
        }
        Ok(all)
    }

    /// The same readings, by subject.
    pub(super) fn by_subject(
        &self,
        rows: BTreeMap<i64, Vec<Stated>>,
    ) -> Result<BTreeMap<Subject, BTreeMap<i64, Vec<Stated>>>, StoreError> {
        let mut names = self.names.borrow_mut();
        names.refresh(&self.facts, &self.path)?;
        let mut all: BTreeMap<Subject, BTreeMap<i64, Vec<Stated>>> = BTreeMap::new();
        for (id, rows) in rows {
            let Some(series) = names.series(id) else {
                let what = format!("readings of a series with the unknown number {id}");
                return Err(StoreError::Strange { path: self.path.clone(), what });
            };
            all.entry(series.subject.clone()).or_default().insert(id, rows);
        }
        Ok(all)
    }

    /// Packs readings of a subject together with what is packed of it in that time, which lies in one UTC day. Where
    /// blocks reach across the borders of the time, their whole day is packed anew.
    pub(super) fn repack(
        &self,
        subject: &Subject,
        from: i64,
        to: i64,
        readings: BTreeMap<i64, Vec<Stated>>,
    ) -> Result<Repacked, StoreError> {
        let series = self.names.borrow().of(subject);
        let month = month_of(from);
        let day = At(from).floor(DAY).0;
        let (mut from, mut to) = (from, to);
        let across = |month: &Connection| months::reach_across(month, &series, (day, day + DAY), (from, to));
        if self.months.read(month, across)?.unwrap_or(false) {
            (from, to) = (day, day + DAY);
        }
        let united = self.unite(&series, from, to, readings)?;
        Ok(Repacked { from, to, packed: pack::pack(&united), series })
    }

    /// Puts what was packed anew in the place of what was there, in one transaction.
    pub(super) fn replace(&self, month: Month, all: &[Repacked]) -> Result<(), StoreError> {
        self.months.change(month, |month| {
            all.iter().try_for_each(|new| {
                months::remove_blocks(month, &new.series, new.from, new.to)?;
                insert(month, &new.packed)
            })
        })
    }

    /// New readings together with the packed ones of a time.
    fn unite(
        &self,
        series: &[i64],
        from: i64,
        to: i64,
        mut readings: BTreeMap<i64, Vec<Stated>>,
    ) -> Result<BTreeMap<i64, Vec<Stated>>, StoreError> {
        for id in series {
            let before = self.packed_of(*id, from, to)?;
            if !before.is_empty() {
                let new = readings.remove(id).unwrap_or_default();
                readings.insert(*id, self.first_of_each(*id, read::unite(before, new))?);
            }
        }
        Ok(readings)
    }

    /// One statement of each instant. Two that differ meet only where a file was put back from a backup; the other is
    /// kept beside.
    fn first_of_each(&self, series: i64, all: Vec<Stated>) -> Result<Vec<Stated>, StoreError> {
        let mut first: Vec<Stated> = Vec::with_capacity(all.len());
        for stated in all {
            if first.last().is_none_or(|before| before.t < stated.t) {
                first.push(stated);
            } else {
                self.keep_beside(series, stated.t, &stated.statement, 0)?;
            }
        }
        Ok(first)
    }

    fn packed_of(&self, id: i64, from: i64, to: i64) -> Result<Vec<Stated>, StoreError> {
        let names = self.names.borrow();
        names.series(id).map_or(Ok(Vec::new()), |series| self.packed(series, id, from, to))
    }

    /// Joins the blocks of one subject's ended day; false where no day needs it.
    fn join_day(&mut self, now: At) -> Result<bool, StoreError> {
        let ended = At(now.0 - LATE).floor(DAY).0;
        for month in self.months.unjoined(ended)? {
            let scattered = self.months.read(month, |month| months::scattered(month, ended))?.flatten();
            let Some((id, day)) = scattered else {
                self.months.joined(month, ended)?;
                continue;
            };
            let subject = self.names.borrow().series(id).map(|series| series.subject.clone());
            let Some(subject) = subject else { continue };
            let all = self.begin()?;
            let joined = self.repack(&subject, day, day + DAY, BTreeMap::new())?;
            self.replace(month, &[joined])?;
            all.commit().on(&self.path)?;
            return Ok(true);
        }
        Ok(false)
    }
}

/// Writes packed blocks.
pub(super) fn insert(month: &Connection, packed: &Packed) -> rusqlite::Result<()> {
    let clocks: Vec<i64> =
        packed.clocks.iter().map(|clock| months::insert_clock(month, clock)).collect::<rusqlite::Result<_>>()?;
    for block in &packed.blocks {
        months::insert_block(month, block.series, block.span, block.n, clocks[block.clock], &block.bytes)?;
    }
    Ok(())
}
