//! What is in force is read back.

use super::Store;
use super::error::{On, StoreError};
use super::said;
use crate::found::{Found, Issue, Remark};
use crate::readings::rank::{self, Epochs, Statement, Verdict};
use crate::readings::{Event, Rank, Reading, Series};
use crate::time::{At, Period};
use rusqlite::types::Type;
use rusqlite::{Row, params};
use std::collections::BTreeMap;

/// Milliseconds in a UTC day, the unit in which readings are packed.
pub(super) const DAY: i64 = 86_400_000;

/// A statement with its instant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Stated {
    /// When.
    pub t: i64,
    /// What.
    pub statement: Statement,
}

/// What was looked up once and holds until somebody writes.
#[derive(Debug, Default)]
pub(super) struct Known {
    version: Option<i64>,
    epochs: Option<Epochs>,
    /// First and last instant of each series that has readings not yet packed.
    hot: Option<BTreeMap<i64, (i64, i64)>>,
    events: Option<Found<Vec<Event>>>,
}

impl Known {
    /// Nothing of it holds any more.
    pub(super) fn forget(&mut self) {
        *self = Self::default();
    }

    /// Events were added.
    pub(super) fn forget_events(&mut self) {
        self.events = None;
    }

    /// Readings of a series were added that are not packed.
    pub(super) fn grow(&mut self, series: i64, first: i64, last: i64) {
        if let Some(hot) = &mut self.hot {
            let span = hot.entry(series).or_insert((first, last));
            *span = (span.0.min(first), span.1.max(last));
        }
    }
}

impl Store {
    /// The readings of a series in force within a period, in order of time; with `around`, also the nearest before
    /// and the nearest after it. Contested instants are left out, with an issue.
    ///
    /// # Errors
    /// Where the store cannot be read, or a packed day is damaged.
    pub fn readings(&self, series: &Series, period: Period, around: bool) -> Result<Found<Vec<Reading>>, StoreError> {
        let Some(id) = self.number(series)? else { return Ok(Found::clean(Vec::new())) };
        let mut found = self.in_force(series, id, period)?;
        if around {
            let before = self.nearest_before(id, period.start)?;
            let after = self.nearest_after(id, period.end)?;
            found.value.splice(0..0, before);
            found.value.extend(after);
        }
        Ok(found)
    }

    /// The first and the last instant of which a series has a statement; `None` where it has none.
    ///
    /// # Errors
    /// Where the store cannot be read.
    pub fn extent(&self, series: &Series) -> Result<Option<(At, At)>, StoreError> {
        let Some(id) = self.number(series)? else { return Ok(None) };
        Ok(self.hot_span(id)?.map(|(first, last)| (At(first), At(last))))
    }

    /// The events in force, sorted by kind, instant and identity. Contested ones are left out, with an issue.
    ///
    /// # Errors
    /// Where the store cannot be read.
    pub fn events(&self) -> Result<Found<Vec<Event>>, StoreError> {
        self.check_version()?;
        let known = self.known.borrow().events.clone();
        if let Some(events) = known {
            return Ok(events);
        }
        let events = rank::events(self.events_stated()?);
        self.known.borrow_mut().events = Some(events.clone());
        Ok(events)
    }

    fn events_stated(&self) -> Result<Vec<Event>, StoreError> {
        let mut query =
            self.facts.prepare_cached("SELECT id, rank, revision, at, note, payload FROM event").on(&self.path)?;
        query.query_map([], event).and_then(Iterator::collect).on(&self.path)
    }

    pub(super) fn number(&self, series: &Series) -> Result<Option<i64>, StoreError> {
        let mut names = self.names.borrow_mut();
        if let Some(id) = names.number(series) {
            return Ok(Some(id));
        }
        names.refresh(&self.facts, &self.path)?;
        Ok(names.number(series))
    }

    /// Forgets what was looked up if another connection has written since.
    pub(super) fn check_version(&self) -> Result<(), StoreError> {
        let version = self.data_version()?;
        let mut known = self.known.borrow_mut();
        if known.version != Some(version) {
            known.forget();
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

    /// The readings in force of a series within a period.
    fn in_force(&self, series: &Series, id: i64, period: Period) -> Result<Found<Vec<Reading>>, StoreError> {
        let (from, to) = (period.start.0, period.end.0);
        // The unpacked ones first: see the head of the module.
        let hot = self.hot(id, from, to)?;
        let amended = self.amended(id, from, to)?;
        let packed = self.packed(id, from, to)?;
        let epochs = self.epochs()?;
        let all = unite(packed, hot);
        if amended.is_empty() && epochs.is_single() {
            return Ok(Found::clean(all.iter().map(|s| reading(s.t, s.statement.count)).collect()));
        }
        Ok(judge(series, &all, &amended, &epochs))
    }

    /// The nearest reading in force before an instant.
    pub(super) fn nearest_before(&self, id: i64, at: At) -> Result<Option<Reading>, StoreError> {
        let mut end = at.0;
        while let Some(t) = self.last_stated_before(id, end)? {
            let day = At(t).floor(DAY).0;
            let found = self.in_force_unnamed(id, day, end)?;
            if let Some(last) = found.last() {
                return Ok(Some(*last));
            }
            end = day;
        }
        Ok(None)
    }

    /// The nearest reading in force at or after an instant.
    pub(super) fn nearest_after(&self, id: i64, at: At) -> Result<Option<Reading>, StoreError> {
        let mut start = at.0;
        while let Some(t) = self.first_stated_after(id, start)? {
            let end = At(t).floor(DAY).0 + DAY;
            let found = self.in_force_unnamed(id, start, end)?;
            if let Some(first) = found.first() {
                return Ok(Some(*first));
            }
            start = end;
        }
        Ok(None)
    }

    fn in_force_unnamed(&self, id: i64, from: i64, to: i64) -> Result<Vec<Reading>, StoreError> {
        let names = self.names.borrow();
        let Some(series) = names.series(id) else { return Ok(Vec::new()) };
        Ok(self.in_force(series, id, Period::new(At(from), At(to)))?.value)
    }

    fn last_stated_before(&self, id: i64, end: i64) -> Result<Option<i64>, StoreError> {
        match self.hot_span(id)? {
            Some((_, last)) if last < end => Ok(Some(last)),
            Some((first, _)) if first < end => {
                self.seek("SELECT t FROM hot WHERE t < ?1 AND series = ?2 ORDER BY t DESC LIMIT 1", end, id)
            }
            _ => Ok(None),
        }
    }

    fn first_stated_after(&self, id: i64, start: i64) -> Result<Option<i64>, StoreError> {
        match self.hot_span(id)? {
            Some((first, _)) if first >= start => Ok(Some(first)),
            Some((_, last)) if last >= start => {
                self.seek("SELECT t FROM hot WHERE t >= ?1 AND series = ?2 ORDER BY t LIMIT 1", start, id)
            }
            _ => Ok(None),
        }
    }

    fn seek(&self, sql: &str, t: i64, id: i64) -> Result<Option<i64>, StoreError> {
        use rusqlite::OptionalExtension;
        self.facts
            .prepare_cached(sql)
            .and_then(|mut query| query.query_row([t, id], |row| row.get(0)).optional())
            .on(&self.path)
    }

    /// First and last instant of the readings of a series that are not packed.
    fn hot_span(&self, id: i64) -> Result<Option<(i64, i64)>, StoreError> {
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

    fn hot(&self, id: i64, from: i64, to: i64) -> Result<Vec<Stated>, StoreError> {
        let mut query = self
            .facts
            .prepare_cached("SELECT t, rank, epoch, 0, v FROM hot WHERE t >= ?1 AND t < ?2 AND series = ?3 ORDER BY t")
            .on(&self.path)?;
        query.query_map([from, to, id], stated).and_then(Iterator::collect).on(&self.path)
    }

    /// Further statements about a series within a time, in order of time.
    pub(super) fn amended(&self, id: i64, from: i64, to: i64) -> Result<Vec<Stated>, StoreError> {
        let mut query = self
            .facts
            .prepare_cached(
                "SELECT t, rank, epoch, revision, v FROM amend WHERE series = ?1 AND t >= ?2 AND t < ?3 ORDER BY t",
            )
            .on(&self.path)?;
        query.query_map(params![id, from, to], stated).and_then(Iterator::collect).on(&self.path)
    }

    /// Statements about a series within a time that are packed, in order of time.
    pub(super) fn packed(&self, _id: i64, _from: i64, _to: i64) -> Result<Vec<Stated>, StoreError> {
        Ok(Vec::new())
    }
}

/// Both in order of time; what stands in both alike stands once.
fn unite(packed: Vec<Stated>, hot: Vec<Stated>) -> Vec<Stated> {
    if packed.is_empty() || hot.is_empty() {
        return if packed.is_empty() { hot } else { packed };
    }
    let mut all = packed;
    all.extend(hot);
    all.sort_by_key(|s| (s.t, s.statement));
    all.dedup();
    all
}

/// Judges each instant. `all` and `amended` are in order of time.
fn judge(series: &Series, all: &[Stated], amended: &[Stated], epochs: &Epochs) -> Found<Vec<Reading>> {
    let mut further = amended.iter().peekable();
    let mut said: Vec<Statement> = Vec::new();
    let mut readings = Vec::with_capacity(all.len());
    let mut contested: Vec<(At, Vec<i64>)> = Vec::new();
    for same in all.chunk_by(|a, b| a.t == b.t) {
        let t = same[0].t;
        said.clear();
        said.extend(same.iter().map(|s| s.statement));
        while let Some(next) = further.next_if(|s| s.t <= t) {
            if next.t == t {
                said.push(next.statement);
            }
        }
        match rank::verdict(At(t), &said, epochs) {
            Verdict::InForce(count) => readings.push(reading(t, count)),
            Verdict::Contested(counts) => contested.push((At(t), counts)),
            Verdict::Superseded => {}
        }
    }
    Found { value: readings, issues: dispute(series, &contested).into_iter().collect() }
}

/// One issue for all contested instants of a series.
fn dispute(series: &Series, contested: &[(At, Vec<i64>)]) -> Option<Issue> {
    let ((first, counts), (last, _)) = (contested.first()?, contested.last()?);
    let counts: Vec<String> = counts.iter().map(i64::to_string).collect();
    let text = format!(
        "{}: sources of equal rank differ at {} instants, first at {first} ({}); none of these values is used",
        series.quantity,
        contested.len(),
        counts.join(" or "),
    );
    let period = Period::new(*first, *last + 1);
    Some(Issue { remark: Remark::Contested, about: series.subject.to_string(), period, text })
}

const fn reading(t: i64, count: i64) -> Reading {
    Reading { at: At(t), count }
}

/// A row of instant, rank, epoch, revision and count.
fn stated(row: &Row) -> rusqlite::Result<Stated> {
    Ok(Stated { t: row.get(0)?, statement: statement(row, 1)? })
}

/// Rank, epoch, revision and count from a column on.
pub(super) fn statement(row: &Row, k: usize) -> rusqlite::Result<Statement> {
    Ok(Statement { rank: rank_of(row, k)?, epoch: row.get(k + 1)?, revision: row.get(k + 2)?, count: row.get(k + 3)? })
}

fn rank_of(row: &Row, k: usize) -> rusqlite::Result<Rank> {
    match row.get(k)? {
        0 => Ok(Rank::Live),
        1 => Ok(Rank::Import),
        2 => Ok(Rank::Correction),
        other => Err(rusqlite::Error::IntegralValueOutOfRange(k, other)),
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
