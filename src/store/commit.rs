//! Statements are written down: whatever is new is added, nothing is ever replaced.

use super::error::{On, StoreError};
use super::touched::Touched;
use super::{Access, Store, said};
use crate::readings::rank::{self, Statement, Verdict};
use crate::readings::{Event, Happening, Rank, Reading, Series};
use crate::time::At;
use rusqlite::{OptionalExtension, Transaction, TransactionBehavior, params};
use std::ops::AddAssign;

/// Rows that a command writes before it lets another writer in.
const ROWS: usize = 5_000;

/// Readings are from 1970 to 2200; anything else is a broken clock or a wrong date format.
const INSTANTS: std::ops::Range<i64> = 0..7_258_118_400_000;

/// What became of the statements of a commit.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Readings of instants of which nothing was known.
    pub fresh: u64,
    /// Readings that say what was known already.
    pub same: u64,
    /// Readings that replace the value in force.
    pub corrected: u64,
    /// Readings that are kept beside a value of higher standing.
    pub kept: u64,
    /// Readings that contradict one of equal standing: both are kept, none is used.
    pub contested: u64,
    /// Events, or versions of events, that were not known.
    pub events: u64,
}

impl AddAssign for Counts {
    fn add_assign(&mut self, other: Self) {
        self.fresh += other.fresh;
        self.same += other.same;
        self.corrected += other.corrected;
        self.kept += other.kept;
        self.contested += other.contested;
        self.events += other.events;
    }
}

/// Where the statements of a transaction come from.
#[derive(Clone, Copy, Debug)]
struct Origin<'a> {
    source: &'a str,
    rank: Rank,
    /// The clock epoch of live readings; the newest where it is not told.
    epoch: Option<u32>,
    note: &'a str,
}

/// One statement on its way into the store.
#[derive(Clone, Copy, Debug)]
struct Row {
    t: i64,
    v: i64,
}

impl Store {
    /// Writes down what a source says; on return it is on disk. The agent's commit is one transaction, whole or not at
    /// all; a command's is split, so that the agent is not kept waiting. Events are written before readings.
    ///
    /// A correction of a value that was corrected before gets the next revision. `note` says which file or why.
    ///
    /// # Errors
    /// Where the store cannot be written, or an instant lies outside 1970 to 2200: nothing of the transaction is stored.
    pub fn commit(
        &mut self,
        source: &str,
        rank: Rank,
        readings: &[(Series, Reading)],
        events: &[Event],
        note: Option<&str>,
    ) -> Result<Counts, StoreError> {
        let rows = if self.access == Access::Agent { usize::MAX } else { ROWS };
        let origin = Origin { source, rank, epoch: None, note: note.unwrap_or_default() };
        let mut parts = readings.chunks(rows);
        let mut total = self.transact(origin, parts.next().unwrap_or_default(), events)?;
        for part in parts {
            total += self.transact(origin, part, &[])?;
        }
        Ok(total)
    }

    /// Writes down in one transaction what the agent itself read in a clock epoch, which may be over by now or may not
    /// have been told of yet. Epoch 0 has no beginning; each [`Happening::ClockEpoch`] begins the next.
    ///
    /// # Errors
    /// As [`Store::commit`].
    pub fn commit_read(
        &mut self,
        source: &str,
        epoch: u32,
        readings: &[(Series, Reading)],
        events: &[Event],
    ) -> Result<Counts, StoreError> {
        self.transact(Origin { source, rank: Rank::Live, epoch: Some(epoch), note: "" }, readings, events)
    }

    /// The newest clock epoch that was told of.
    ///
    /// # Errors
    /// Where the store cannot be read.
    pub fn newest_epoch(&self) -> Result<u32, StoreError> {
        self.epochs().map(|epochs| epochs.newest())
    }

    fn transact(
        &mut self,
        origin: Origin,
        readings: &[(Series, Reading)],
        events: &[Event],
    ) -> Result<Counts, StoreError> {
        check_instants(readings.iter().map(|(series, reading)| (series, reading)))?;
        let done = self.begin().and_then(|all| {
            let counts = self.add(origin, readings, events)?;
            all.commit().on(&self.path)?;
            Ok(counts)
        });
        if done.is_err() {
            self.names.borrow_mut().forget();
            self.known.borrow_mut().forget();
        }
        done
    }

    /// Takes the write lock.
    pub(super) fn begin(&self) -> Result<Transaction<'_>, StoreError> {
        Transaction::new_unchecked(&self.facts, TransactionBehavior::Immediate).on(&self.path)
    }

    fn add(&self, origin: Origin, readings: &[(Series, Reading)], events: &[Event]) -> Result<Counts, StoreError> {
        let batch = self.batch(origin.source, origin.rank, origin.note)?;
        let mut counts = Counts::default();
        for event in events {
            counts.events += u64::from(self.add_event(event, batch)?);
        }
        // By series, then by time: what belongs together is looked up together.
        let mut touched = self.untouched()?;
        let mut order: Vec<&(Series, Reading)> = readings.iter().collect();
        order.sort_by(|a, b| (&a.0, a.1.at).cmp(&(&b.0, b.1.at)));
        for same in order.chunk_by(|a, b| a.0 == b.0) {
            let rows: Vec<Row> = same.iter().map(|(_, r)| Row { t: r.at.0, v: r.count }).collect();
            counts += self.add_series(&same[0].0, origin, &rows, batch, &mut touched)?;
        }
        self.write_touched(&touched)?;
        self.count(batch, counts)?;
        Ok(counts)
    }

    fn add_series<'a>(
        &self,
        series: &'a Series,
        origin: Origin,
        rows: &[Row],
        batch: i64,
        touched: &mut Touched<'a>,
    ) -> Result<Counts, StoreError> {
        let id = self.names.borrow_mut().add(&self.facts, &self.path, series)?;
        let (first, last) = (rows[0].t, rows[rows.len() - 1].t);
        let reach = self.reach(series, id, (At(first), At(last)), touched)?;
        let packed = self.packed(series, id, first, last + 1)?;
        let epoch = match (origin.rank, origin.epoch) {
            (Rank::Live, Some(epoch)) => epoch,
            (Rank::Live, None) => self.newest_epoch()?,
            _ => 0,
        };
        let mut counts = Counts::default();
        for row in rows {
            let statement = Statement { rank: origin.rank, epoch, revision: 0, count: row.v };
            let base = packed.binary_search_by_key(&row.t, |base| base.t).ok().map(|k| packed[k].statement);
            let count = match base {
                None if self.insert(id, row.t, &statement)? => {
                    if origin.rank == Rank::Correction {
                        // What a person stated keeps its reason, also where nothing was stated before.
                        self.keep_beside(id, row.t, &statement, batch)?;
                    }
                    &mut counts.fresh
                }
                base => match self.amend(id, row.t, base, statement, batch)? {
                    Amended::Same => &mut counts.same,
                    Amended::Kept => &mut counts.kept,
                    Amended::Corrected => &mut counts.corrected,
                    Amended::Contested => &mut counts.contested,
                },
            };
            *count += 1;
        }
        if counts.fresh + counts.corrected + counts.contested > 0 {
            self.known.borrow_mut().grow(id, first, last);
            touched.add(&series.subject, reach);
        }
        Ok(counts)
    }

    /// Adds the first statement about an instant; false where there is one.
    fn insert(&self, series: i64, t: i64, said: &Statement) -> Result<bool, StoreError> {
        self.facts
            .prepare_cached(
                "INSERT INTO hot (t, series, v, rank, epoch) VALUES (?1, ?2, ?3, ?4, ?5) ON CONFLICT DO NOTHING",
            )
            .and_then(|mut add| add.execute(params![t, series, said.count, said.rank as u8, said.epoch]))
            .map(|rows| rows == 1)
            .on(&self.path)
    }

    /// Adds a further statement about an instant. `packed` is the first one, where that is in a segment.
    fn amend(
        &self,
        series: i64,
        t: i64,
        packed: Option<Statement>,
        mut said: Statement,
        batch: i64,
    ) -> Result<Amended, StoreError> {
        let mut all: Vec<Statement> = packed.into_iter().chain(self.hot_at(series, t)?).collect();
        all.extend(self.amended(series, t, t + 1)?.into_iter().map(|row| row.statement));
        let epochs = self.epochs()?;
        let before = rank::verdict(At(t), &all, &epochs);
        if said.rank == Rank::Correction {
            let revisions = all.iter().filter(|s| s.rank == Rank::Correction).map(|s| s.revision);
            match revisions.max() {
                Some(_) if before == Verdict::InForce(said.count) => return Ok(Amended::Same),
                Some(last) => said.revision = last + 1,
                None => {}
            }
        }
        if all.contains(&said) {
            return Ok(Amended::Same);
        }
        self.keep_beside(series, t, &said, batch)?;
        all.push(said);
        let after = rank::verdict(At(t), &all, &epochs);
        Ok(match after {
            Verdict::InForce(count) if before == after && count == said.count => Amended::Same,
            _ if before == after => Amended::Kept,
            Verdict::Contested(_) => Amended::Contested,
            Verdict::InForce(_) | Verdict::Superseded => Amended::Corrected,
        })
    }

    /// Writes a further statement about an instant.
    pub(super) fn keep_beside(&self, series: i64, t: i64, said: &Statement, batch: i64) -> Result<(), StoreError> {
        self.facts
            .prepare_cached(
                "INSERT INTO amend (series, t, rank, epoch, revision, v, batch) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7) \
                 ON CONFLICT DO NOTHING",
            )
            .and_then(|mut add| {
                add.execute(params![series, t, said.rank as u8, said.epoch, said.revision, said.count, batch])
            })
            .map(drop)
            .on(&self.path)
    }

    fn hot_at(&self, series: i64, t: i64) -> Result<Option<Statement>, StoreError> {
        self.facts
            .prepare_cached("SELECT rank, epoch, 0, v FROM hot WHERE t = ?1 AND series = ?2")
            .and_then(|mut query| query.query_row([t, series], |row| super::read::statement(row, 0)).optional())
            .on(&self.path)
    }

    /// Adds a version of an event; false where it is known.
    fn add_event(&self, event: &Event, batch: i64) -> Result<bool, StoreError> {
        let payload = said::write(&event.what).map_err(|e| StoreError::Strange {
            path: self.path.clone(),
            what: format!("event {:?} cannot be written: {e}", event.id),
        })?;
        let kind = rank::kind(event);
        let note = event.note.as_deref().unwrap_or_default();
        let added = self
            .facts
            .prepare_cached(
                "INSERT INTO event (kind, id, rank, revision, at, payload, note, batch) \
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8) ON CONFLICT DO NOTHING",
            )
            .and_then(|mut add| {
                let of = (event.rank as u8, event.revision);
                add.execute(params![kind, event.id, of.0, of.1, event.at.0, payload, note, batch])
            })
            .on(&self.path)?
            == 1;
        if added && let Happening::ClockEpoch { .. } = event.what {
            self.begin_epoch(event)?;
        }
        Ok(added)
    }

    /// Readings of the epoch before that lie after the new beginning no longer count: their days are touched.
    fn begin_epoch(&self, event: &Event) -> Result<(), StoreError> {
        self.facts
            .execute("INSERT INTO epoch (id, at) VALUES (?1, ?2) ON CONFLICT DO NOTHING", params![event.id, event.at.0])
            .on(&self.path)?;
        self.known.borrow_mut().forget();
        self.touch_all_since(event.at)
    }

    /// The batch that a source's statements belong to.
    pub(super) fn batch(&self, source: &str, rank: Rank, note: &str) -> Result<i64, StoreError> {
        self.facts
            .prepare_cached(
                "INSERT INTO batch (source, rank, note, fresh, same, other, events) VALUES (?1, ?2, ?3, 0, 0, 0, 0) \
                 ON CONFLICT DO UPDATE SET fresh = fresh RETURNING id",
            )
            .and_then(|mut add| add.query_row(params![source, rank as u8, note], |row| row.get(0)))
            .on(&self.path)
    }

    pub(super) fn count(&self, batch: i64, counts: Counts) -> Result<(), StoreError> {
        let other = counts.corrected + counts.kept + counts.contested;
        self.facts
            .prepare_cached(
                "UPDATE batch SET fresh = fresh + ?2, same = same + ?3, other = other + ?4, events = events + ?5 \
                 WHERE id = ?1",
            )
            .and_then(|mut add| {
                let [fresh, same, other, events] = [counts.fresh, counts.same, other, counts.events].map(|n| n as i64);
                add.execute(params![batch, fresh, same, other, events])
            })
            .map(drop)
            .on(&self.path)
    }
}

/// Refuses readings of instants that no plant has seen.
pub(super) fn check_instants<'a>(
    mut readings: impl Iterator<Item = (&'a Series, &'a Reading)>,
) -> Result<(), StoreError> {
    match readings.find(|(_, reading)| !INSTANTS.contains(&reading.at.0)) {
        Some((series, reading)) => Err(StoreError::Instant { series: Box::new(series.clone()), millis: reading.at.0 }),
        None => Ok(()),
    }
}

/// What a further statement did.
enum Amended {
    Same,
    Kept,
    Corrected,
    Contested,
}
