//! Whole history at once: it goes straight into the segments.

use super::commit::Counts;
use super::error::{On, StoreError};
use super::months::{DAY, month_of};
use super::pack::{self, Packed};
use super::read::Stated;
use super::{Store, seal};
use crate::readings::rank::Statement;
use crate::readings::{Rank, Reading, Series, Subject};
use crate::time::Month;
use std::collections::BTreeMap;
use std::num::NonZero;
use std::thread;

/// Values that are written in one transaction, as far as days may be parted.
const AT_ONCE: usize = 2_000_000;

/// What is to be packed together: the series of one subject in one UTC day.
type Day<'a> = BTreeMap<i64, &'a [Reading]>;

impl Store {
    /// Writes history of many values at once, as [`Store::commit`] would, but packed from the start. Each series' readings
    /// stand in order of time; give all series of a subject for a stretch of days in one call, best a month, as each call
    /// packs the days that it finds begun anew. Readings of a time in which the series has some already are committed one
    /// by one.
    ///
    /// # Errors
    /// Where the store cannot be written, or an instant lies outside 1970 to 2200. What was written by then can be written
    /// again without harm.
    pub fn write_sealed(
        &mut self,
        source: &str,
        rank: Rank,
        history: &[(Series, Vec<Reading>)],
        note: Option<&str>,
    ) -> Result<Counts, StoreError> {
        for (series, readings) in history {
            super::commit::check_instants(readings.iter().map(|r| (series, r)))?;
        }
        let mut total = Counts::default();
        for time in stretches(history) {
            let within = |readings: &'_ [Reading]| {
                let at = |t: i64| readings.partition_point(|r| r.at.0 < t);
                at(time.0)..at(time.1)
            };
            let part: Vec<(&Series, &[Reading])> = history
                .iter()
                .map(|(series, readings)| (series, &readings[within(readings)]))
                .filter(|(_, readings)| !readings.is_empty())
                .collect();
            self.announce(&part)?;
            let beside = self.write_stretch(source, rank, &part, note, &mut total)?;
            for (series, readings) in beside {
                let readings: Vec<(Series, Reading)> = readings.iter().map(|r| (series.clone(), *r)).collect();
                total += self.commit(source, rank, &readings, &[], note)?;
            }
        }
        Ok(total)
    }

    /// Numbers the series and touches the days before anything is packed: after a crash in between, a block never belongs
    /// to a series of another name, and no computed day passes for up to date.
    fn announce(&self, part: &[(&Series, &[Reading])]) -> Result<(), StoreError> {
        let all = self.begin()?;
        let mut touched = self.untouched()?;
        for (series, readings) in part {
            let id = self.names.borrow_mut().add(&self.facts, &self.path, series)?;
            let span = (readings[0].at, readings[readings.len() - 1].at);
            touched.add(&series.subject, self.reach(series, id, span, &touched)?);
        }
        self.write_touched(&touched)?;
        all.commit().on(&self.path)
    }

    /// Writes what is new in one transaction; gives back what lies in a time of which something is known.
    fn write_stretch<'a>(
        &mut self,
        source: &str,
        rank: Rank,
        part: &[(&'a Series, &'a [Reading])],
        note: Option<&str>,
        total: &mut Counts,
    ) -> Result<Vec<(&'a Series, &'a [Reading])>, StoreError> {
        let done = self.begin().and_then(|all| {
            let mut beside = Vec::new();
            let mut days: BTreeMap<(Month, i64, &Subject), Day> = BTreeMap::new();
            let mut counts = Counts::default();
            let mut touched = self.untouched()?;
            for &(series, readings) in part {
                let Some(id) = self.number(series)? else { continue };
                let (first, last) = (readings[0].at, readings[readings.len() - 1].at);
                if self.knows_between(series, id, first, last)? || !readings.is_sorted_by(|a, b| a.at < b.at) {
                    beside.push((series, readings));
                    continue;
                }
                touched.add(&series.subject, self.reach(series, id, (first, last), &touched)?);
                for day in readings.chunk_by(|a, b| a.at.floor(DAY) == b.at.floor(DAY)) {
                    let start = day[0].at.floor(DAY).0;
                    days.entry((month_of(start), start, &series.subject)).or_default().insert(id, day);
                }
                counts.fresh += readings.len() as u64;
            }
            let epoch = if rank == Rank::Live { self.epochs()?.newest() } else { 0 };
            self.write_touched(&touched)?;
            self.write_days(&days, rank, epoch)?;
            let batch = self.batch(source, rank, note.unwrap_or_default())?;
            self.count(batch, counts)?;
            all.commit().on(&self.path)?;
            *total += counts;
            Ok(beside)
        });
        self.known.borrow_mut().forget();
        if done.is_err() {
            self.names.borrow_mut().forget();
        }
        done
    }

    fn write_days(
        &self,
        days: &BTreeMap<(Month, i64, &Subject), Day>,
        rank: Rank,
        epoch: u32,
    ) -> Result<(), StoreError> {
        let stated = |readings: &[Reading]| -> Vec<Stated> {
            let said = |count| Statement { rank, epoch, revision: 0, count };
            readings.iter().map(|r| Stated { t: r.at.0, statement: said(r.count) }).collect()
        };
        let all: Vec<_> = days.iter().collect();
        for month in all.chunk_by(|a, b| a.0.0 == b.0.0) {
            let (mut empty, mut begun) = (Vec::new(), Vec::new());
            for entry @ ((month, start, subject), _) in month {
                let series = self.names.borrow().of(subject);
                let spans = self.months.spans(*month)?;
                let some = |id: &i64| spans.get(id).is_some_and(|s| s.0 < start + DAY && s.1 >= *start);
                if series.iter().any(some) { begun.push(entry) } else { empty.push(entry) }
            }
            let packed = in_parallel(&empty, |(_, day)| {
                pack::pack(&day.iter().map(|(id, readings)| (*id, stated(readings))).collect())
            });
            self.months.change(month[0].0.0, |file| packed.iter().try_for_each(|day| seal::insert(file, day)))?;
            for ((month, start, subject), day) in begun {
                let day = day.iter().map(|(id, readings)| (*id, stated(readings))).collect();
                let repacked = self.repack(subject, *start, start + DAY, day)?;
                self.replace(*month, &[repacked])?;
            }
        }
        Ok(())
    }
}

/// Cuts the time of a history so that no stretch has many more values than are written at once. The cuts lie on UTC
/// days.
fn stretches(history: &[(Series, Vec<Reading>)]) -> Vec<(i64, i64)> {
    let mut of_day: BTreeMap<i64, usize> = BTreeMap::new();
    for (_, readings) in history {
        for day in readings.chunk_by(|a, b| a.at.floor(DAY) == b.at.floor(DAY)) {
            *of_day.entry(day[0].at.floor(DAY).0).or_default() += day.len();
        }
    }
    let mut stretches: Vec<(i64, i64)> = Vec::new();
    let mut so_far = 0;
    for (day, n) in of_day {
        match stretches.last_mut() {
            Some(last) if so_far + n <= AT_ONCE => last.1 = day + DAY,
            _ => {
                stretches.push((day, day + DAY));
                so_far = 0;
            }
        }
        so_far += n;
    }
    stretches
}

/// Packs on all cores; in the order of the items.
fn in_parallel<T: Sync>(items: &[T], pack: impl Fn(&T) -> Packed + Sync) -> Vec<Packed> {
    let cores = thread::available_parallelism().map_or(1, NonZero::get);
    let share = items.len().div_ceil(cores).max(1);
    thread::scope(|scope| {
        let pack = &pack;
        let parts: Vec<_> =
            items.chunks(share).map(|part| scope.spawn(move || part.iter().map(pack).collect::<Vec<_>>())).collect();
        parts.into_iter().flat_map(|part| part.join().expect("packing does not panic")).collect()
    })
}
