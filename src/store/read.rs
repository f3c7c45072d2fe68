//! What is in force is read back.

use super::Store;
use super::error::{On, StoreError};
use super::months::{self, Block, DAY, month_of};
use super::said;
use crate::found::{Found, Issue, Remark};
use crate::readings::rank::{self, Epochs, Statement, Verdict};
use crate::readings::{Event, Rank, Reading, Series};
use crate::time::{At, Period};
use rusqlite::types::Type;
use rusqlite::{Row, params};
use std::collections::BTreeMap;

/// A statement with its instant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Stated {
    /// When.
    pub t: i64,
    /// What.
    pub statement: Statement,
}

/// What was looked up once and holds until somebody writes.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Known {
    version: Option<i64>,
    epochs: Option<Epochs>,
    /// First and last instant of each series that has readings not yet packed.
    hot: Option<BTreeMap<i64, (i64, i64)>>,
    /// First and last instant of each series.
    all: Option<BTreeMap<i64, (i64, i64)>>,
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
    /// The readings of a series in force within a period, in order of time; with `around`, also the nearest before
    /// and the nearest after it. Contested instants are left out, with an issue.
    ///
    /// # Errors
    /// Where the store cannot be read, or a packed day is damaged.
    pub fn readings(&self, series: &Series, period: Period, around: bool) -> Result<Found<Vec<Reading>>, StoreError> {
        let Some(id) = self.number(series)? else { return Ok(Found::clean(Vec::new())) };
        // The unpacked ones first: see the head of the module.
        let hot = self.hot(id, period.start.0, period.end.0)?;
        self.read_series(series, id, period, around, &hot)
    }

    /// As [`Store::readings`] for several series at once, which costs one pass over what is not packed yet; series of
    /// which nothing is known are left out.
    ///
    /// # Errors
    /// Where the store cannot be read, or a packed day is damaged.
    pub fn readings_of(
        &self,
        series: &[Series],
        period: Period,
        around: bool,
    ) -> Result<Found<BTreeMap<Series, Vec<Reading>>>, StoreError> {
        let mut hot = self.hot_between(period.start.0, period.end.0)?;
        let mut all = Found::clean(BTreeMap::new());
        for series in series {
            let Some(id) = self.number(series)? else { continue };
            let hot = hot.remove(&id).unwrap_or_default();
            let found = self.read_series(series, id, period, around, &hot)?;
            all.issues.extend(found.issues);
            all.value.insert(series.clone(), found.value);
        }
        Ok(all)
    }

    fn read_series(
        &self,
        series: &Series,
        id: i64,
        period: Period,
        around: bool,
        hot: &[Stated],
    ) -> Result<Found<Vec<Reading>>, StoreError> {
        let mut found = self.in_force(series, id, period, hot)?;
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
        Ok(self.span(id)?.map(|(first, last)| (At(first), At(last))))
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

    /// Every version of every event as it was stated, in force or not.
    ///
    /// # Errors
    /// Where the store cannot be read.
    pub fn events_stated(&self) -> Result<Vec<Event>, StoreError> {
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

    /// The readings in force of a series within a period, of which the unpacked ones are given.
    fn in_force(
        &self,
        series: &Series,
        id: i64,
        period: Period,
        hot: &[Stated],
    ) -> Result<Found<Vec<Reading>>, StoreError> {
        let (from, to) = (period.start.0, period.end.0);
        let amended = self.amended(id, from, to)?;
        let blocks = self.blocks(series, id, from, to)?;
        let epochs = self.epochs()?;
        if amended.is_empty() && undisputed(&blocks, hot, &epochs) {
            return Ok(Found::clean(plain(&blocks, hot, from, to)));
        }
        let packed = blocks.iter().flat_map(|block| block.stated(from, to)).collect();
        Ok(judge(series, &unite(packed, hot.to_vec()), &amended, &epochs))
    }

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

    /// Whether anything is stated between two instants, both included.
    pub(super) fn knows_between(&self, series: &Series, id: i64, first: At, last: At) -> Result<bool, StoreError> {
        let hot = self.hot_span(id)?.is_some_and(|(begin, end)| begin <= last.0 && first.0 <= end);
        Ok(hot && !self.hot(id, first.0, last.0 + 1)?.is_empty()
            || !self.packed(series, id, first.0, last.0 + 1)?.is_empty())
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
    pub(super) fn packed(&self, series: &Series, id: i64, from: i64, to: i64) -> Result<Vec<Stated>, StoreError> {
        let blocks = self.blocks(series, id, from, to)?;
        Ok(unite(blocks.iter().flat_map(|block| block.stated(from, to)).collect(), Vec::new()))
    }

    /// The blocks of a series that may hold readings of a time.
    fn blocks(&self, series: &Series, id: i64, from: i64, to: i64) -> Result<Vec<Block>, StoreError> {
        let mut blocks = Vec::new();
        if from >= to {
            return Ok(blocks);
        }
        let begun = At(from).floor(DAY).0;
        let (first, last) = (month_of(begun), month_of(to - 1));
        for month in self.months.all()?.into_iter().filter(|month| (first..=last).contains(month)) {
            if self.months.spans(month)?.get(&id).is_some_and(|span| span.0 < to && span.1 >= from) {
                blocks.extend(self.months.blocks(series, id, month, (begun, to))?);
            }
        }
        Ok(blocks)
    }
}

impl Block {
    /// Its statements within a time.
    fn stated(&self, from: i64, to: i64) -> impl Iterator<Item = Stated> + '_ {
        let standings = self.values.standings.iter().flat_map(|s| std::iter::repeat_n(s, s.n));
        let values = self.values.counts.iter().zip(standings);
        self.times().zip(values).filter(move |(t, _)| (from..to).contains(t)).map(|(t, (count, standing))| {
            let (rank, epoch) = (standing.rank, standing.epoch);
            Stated { t, statement: Statement { rank, epoch, revision: 0, count: *count } }
        })
    }

    /// Its instants.
    fn times(&self) -> impl Iterator<Item = i64> + '_ {
        let runs = &self.values.presence;
        let whole = runs.is_empty().then_some((true, self.clock.len()));
        let runs = runs.iter().enumerate().map(|(k, n)| (k % 2 == 0, *n));
        let present = whole.into_iter().chain(runs).flat_map(|(has, n)| std::iter::repeat_n(has, n));
        self.clock.iter().zip(present).filter_map(|(t, has)| has.then_some(*t))
    }

    /// Adds its readings within a time.
    fn read(&self, from: i64, to: i64, readings: &mut Vec<Reading>) {
        let counts = &self.values.counts;
        if !self.values.presence.is_empty() {
            let all = self.times().zip(counts).filter(|(t, _)| (from..to).contains(t));
            return readings.extend(all.map(|(t, count)| reading(t, *count)));
        }
        let begin = self.clock.partition_point(|t| *t < from);
        let end = begin + self.clock[begin..].partition_point(|t| *t < to);
        let all = self.clock[begin..end].iter().zip(&counts[begin..end]);
        readings.extend(all.map(|(t, count)| reading(*t, *count)));
    }

    fn span(&self) -> (i64, i64) {
        (self.clock[0], self.clock[self.clock.len() - 1])
    }
}

/// Whether what is packed and what is not follow each other in time, and no clock epoch that was overtaken says
/// anything.
fn undisputed(blocks: &[Block], hot: &[Stated], epochs: &Epochs) -> bool {
    let counts = |rank: Rank, epoch, t| rank != Rank::Live || epochs.counts(epoch, At(t));
    let packed_until = blocks.last().map_or(i64::MIN, |block| block.span().1);
    blocks.windows(2).all(|two| two[0].span().1 < two[1].span().0)
        && hot.first().is_none_or(|first| first.t > packed_until)
        && hot.iter().all(|s| counts(s.statement.rank, s.statement.epoch, s.t))
        && blocks.iter().all(|b| b.values.standings.iter().all(|s| counts(s.rank, s.epoch, b.span().1)))
}

fn plain(blocks: &[Block], hot: &[Stated], from: i64, to: i64) -> Vec<Reading> {
    let most = blocks.iter().map(|block| block.values.counts.len()).sum::<usize>() + hot.len();
    let mut readings = Vec::with_capacity(most);
    for block in blocks {
        block.read(from, to, &mut readings);
    }
    readings.extend(hot.iter().map(|s| reading(s.t, s.statement.count)));
    readings
}

/// Statements from both, in order of time; what stands in both alike stands once.
pub(super) fn unite(mut packed: Vec<Stated>, mut hot: Vec<Stated>) -> Vec<Stated> {
    packed.append(&mut hot);
    if !packed.is_sorted_by(|a, b| a.t < b.t) {
        packed.sort_by_key(|s| (s.t, s.statement));
        packed.dedup();
    }
    packed
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
pub(super) fn stated(row: &Row) -> rusqlite::Result<Stated> {
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
