//! Readings in force are read back.

use super::Store;
use super::error::{On, StoreError};
use super::months::{Block, DAY, month_of};
use crate::found::{Found, Issue, Remark};
use crate::readings::rank::{self, Epochs, Statement, Verdict};
use crate::readings::{Rank, Reading, Series};
use crate::time::{At, Period};
use crate::units::counted;
use rusqlite::{Row, params};
use std::collections::BTreeMap;

/// An instant of which statements of equal standing differ, and the counts that they state.
pub type Contested = (At, Vec<i64>);

/// A statement with its instant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Stated {
    /// When.
    pub t: i64,
    /// What.
    pub statement: Statement,
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

    pub(super) fn number(&self, series: &Series) -> Result<Option<i64>, StoreError> {
        let mut names = self.names.borrow_mut();
        if let Some(id) = names.number(series) {
            return Ok(Some(id));
        }
        names.refresh(&self.facts, &self.path)?;
        Ok(names.number(series))
    }

    /// The readings in force of a series within a period, of which the unpacked ones are given.
    pub(super) fn in_force(
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
        let (value, contested) = judge(&unite(packed, hot.to_vec()), &amended, &epochs);
        Ok(Found { value, issues: dispute(series, &contested).into_iter().collect() })
    }

    /// The instants within a period at which statements of equal standing differ, with what they say.
    ///
    /// # Errors
    /// Where the store cannot be read, or a packed day is damaged.
    pub fn contested(&self, series: &Series, period: Period) -> Result<Vec<Contested>, StoreError> {
        let (from, to) = (period.start.0, period.end.0);
        let Some(id) = self.number(series)? else { return Ok(Vec::new()) };
        let hot = self.hot(id, from, to)?;
        let (packed, amended) = (self.packed(series, id, from, to)?, self.amended(id, from, to)?);
        Ok(judge(&unite(packed, hot), &amended, &self.epochs()?).1)
    }

    /// Whether anything is stated between two instants, both included.
    pub(super) fn knows_between(&self, series: &Series, id: i64, first: At, last: At) -> Result<bool, StoreError> {
        let hot = self.hot_span(id)?.is_some_and(|(begin, end)| begin <= last.0 && first.0 <= end);
        Ok(hot && !self.hot(id, first.0, last.0 + 1)?.is_empty()
            || !self.packed(series, id, first.0, last.0 + 1)?.is_empty())
    }

    pub(super) fn hot(&self, id: i64, from: i64, to: i64) -> Result<Vec<Stated>, StoreError> {
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
        // What was read as unpacked just now was packed if it is missing there, maybe into a file of a month that is new since.
        self.check_version()?;
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

/// Judges each instant: the readings in force, and where there is none because statements differ. `all` and `amended`
/// are in order of time.
fn judge(all: &[Stated], amended: &[Stated], epochs: &Epochs) -> (Vec<Reading>, Vec<Contested>) {
    let mut further = amended.iter().peekable();
    let mut said: Vec<Statement> = Vec::new();
    let mut readings = Vec::with_capacity(all.len());
    let mut contested: Vec<Contested> = Vec::new();
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
    (readings, contested)
}

/// One issue for all contested instants of a series.
fn dispute(series: &Series, contested: &[Contested]) -> Option<Issue> {
    let ((first, counts), (last, _)) = (contested.first()?, contested.last()?);
    let counts: Vec<String> = counts.iter().map(i64::to_string).collect();
    let text = format!(
        "{}: sources of equal rank differ at {}, first at {first} ({} counts); none of these values is used",
        series.quantity,
        counted(contested.len(), "instant"),
        counts.join(" or "),
    );
    let period = Period::new(*first, *last + 1);
    Some(Issue { remark: Remark::Contested, about: series.subject.to_string(), period, text })
}

pub(super) const fn reading(t: i64, count: i64) -> Reading {
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

pub(super) fn rank_of(row: &Row, k: usize) -> rusqlite::Result<Rank> {
    match row.get(k)? {
        0 => Ok(Rank::Live),
        1 => Ok(Rank::Import),
        2 => Ok(Rank::Correction),
        other => Err(rusqlite::Error::IntegralValueOutOfRange(k, other)),
    }
}
