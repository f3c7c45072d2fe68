//! Readings that are due: of each series what follows the part that was sent, or its whole day where that part is another by now.

use super::round::{Ended, Round, SEED, Step, mixed};
use super::worth::Worth;
use crate::forward::influx::reading_line;
use crate::readings::{Reading, Series};
use crate::store::Sent;
use crate::time::{At, HOUR, Period};
use chrono::NaiveDate;
use std::collections::BTreeMap;
use std::sync::Arc;

/// So many lines are sent before it is noted how far it went, where a day has more.
const NOTED: usize = 1_000;

/// How far a series was sent on a day.
struct Way {
    part: Arc<str>,
    revision: i64,
    until: At,
    hash: u64,
    has_moved: bool,
}

impl Round {
    /// Sends the readings of every day that changed; whether one before today did.
    pub(super) fn all_readings(&mut self, today: NaiveDate, is_checked: bool) -> Result<bool, Ended> {
        let seen = self.book.seen()?;
        let newest = self.store.changed_until(NaiveDate::from_ymd_opt(9_999, 12, 31).unwrap_or(today))?;
        // Facts that were put back from a backup count from where they stood.
        let seen = if seen > newest { 0 } else { seen };
        let mut has_past_changed = false;
        for (day, subjects) in self.touched(seen)? {
            has_past_changed |= self.readings(day, &subjects, day != today || is_checked)? && day < today;
        }
        if is_checked && newest != seen {
            self.step(Step::Seen(newest))?;
        }
        Ok(has_past_changed)
    }

    /// Sends what is due of a day; whether anything was. Where it is not checked, what was sent of it is taken to stand.
    fn readings(&mut self, date: NaiveDate, subjects: &BTreeMap<String, i64>, is_checked: bool) -> Result<bool, Ended> {
        let (key, day) = (date.to_string(), self.store.zone().day(date));
        let mut ways = self.ways(&key, day, subjects)?;
        if is_checked {
            self.check(&key, day, &mut ways)?;
        }
        let has_moved = self.send(&key, day, &mut ways)?;
        let revision = |way: &Way| if is_checked { way.revision } else { 0 };
        let done = ways.values().filter(|way| is_checked || way.has_moved);
        let marks = done.map(|way| way.mark(revision(way))).collect();
        self.mark(&key, marks)?;
        Ok(has_moved)
    }

    /// The series that are due, with how far they were sent.
    fn ways(&self, key: &str, day: Period, subjects: &BTreeMap<String, i64>) -> Result<BTreeMap<Series, Way>, Ended> {
        let sent = self.book.sent(key)?;
        let mut ways = BTreeMap::new();
        for series in self.store.series()? {
            let Some(revision) = subjects.get(&series.subject.to_string()).copied() else { continue };
            let part = series.to_string();
            let before = sent.get(&part);
            if before.is_some_and(|sent| sent.revision == revision) {
                continue;
            }
            let hash = before.and_then(|sent| <[u8; 8]>::try_from(&*sent.hash).ok()).map_or(SEED, u64::from_le_bytes);
            let until = before.map_or(day.start, |sent| sent.until);
            ways.insert(series, Way { part: part.into(), revision, until, hash, has_moved: false });
        }
        Ok(ways)
    }

    /// Begins the day of those series anew of which the part that was sent is another by now.
    fn check(&mut self, key: &str, day: Period, ways: &mut BTreeMap<Series, Way>) -> Result<(), Ended> {
        let sent: Vec<Series> = ways.iter().filter(|(_, way)| way.until > day.start).map(|(s, _)| s.clone()).collect();
        let mut hashes: BTreeMap<&Series, u64> = sent.iter().map(|series| (series, SEED)).collect();
        let last = ways.values().map(|way| way.until).max().unwrap_or(day.start);
        for window in hours(day.start, last.min(day.end)) {
            self.go_on()?;
            let found = self.store.readings_of(&sent, window, false)?.value;
            for (series, hash) in &mut hashes {
                let (Some(readings), Some(way)) = (found.get(series), ways.get(series)) else { continue };
                let readings = readings.iter().take_while(|reading| reading.at < way.until);
                *hash = readings.fold(*hash, |hash, reading| hashed(hash, *reading));
            }
        }
        for (series, hash) in hashes {
            let Some(way) = ways.get_mut(series).filter(|way| way.hash != hash) else { continue };
            (way.until, way.hash) = (day.start, SEED);
            let part = way.part.to_string();
            self.step(Step::Anew(key.into(), part))?;
        }
        Ok(())
    }

    /// Sends what follows, hour by hour; whether there was anything.
    fn send(&mut self, key: &str, day: Period, ways: &mut BTreeMap<Series, Way>) -> Result<bool, Ended> {
        let (date, series): (Arc<str>, Vec<Series>) = (key.into(), ways.keys().cloned().collect());
        let (plant, recorded) = (self.configuration.plant.name.clone(), self.recorded.clone());
        let Some(first) = ways.values().map(|way| way.until).min() else { return Ok(false) };
        let mut lines = 0;
        let mut has_moved = false;
        // What is stamped further ahead waits for its time.
        for window in hours(first, day.end.min(self.now + HOUR)) {
            self.go_on()?;
            for (series, readings) in self.store.readings_of(&series, window, false)?.value {
                let Some(way) = ways.get_mut(&series) else { continue };
                let worth = Worth::of(&recorded, &series, window);
                let from = way.until;
                for reading in readings.into_iter().filter(|reading| reading.at >= from) {
                    (way.until, way.hash, way.has_moved) = (reading.at + 1, hashed(way.hash, reading), true);
                    if let Some(line) = reading_line(&plant, &series, reading, worth.at(reading.at)) {
                        self.line(&date, &way.part, line)?;
                        lines += 1;
                    }
                }
                has_moved |= way.has_moved;
            }
            if lines >= NOTED {
                let marks = ways.values().filter(|way| way.has_moved).map(|way| way.mark(0)).collect();
                self.mark(key, marks)?;
                lines = 0;
            }
        }
        Ok(has_moved)
    }
}

impl Way {
    fn mark(&self, revision: i64) -> (String, Sent) {
        let hash = self.hash.to_le_bytes().to_vec();
        (self.part.to_string(), Sent { revision, until: self.until, hash })
    }
}

/// The time between two instants in parts of at most an hour, so that never more is in memory.
fn hours(from: At, to: At) -> impl Iterator<Item = Period> {
    let starts = std::iter::successors(Some(from), move |start| Some((*start + 1).ceil(HOUR)));
    starts.take_while(move |start| *start < to).map(move |start| Period::new(start, (start + 1).ceil(HOUR).min(to)))
}

/// The hash of readings with one more.
fn hashed(hash: u64, reading: Reading) -> u64 {
    let bytes = reading.at.0.to_le_bytes().into_iter().chain(reading.count.to_le_bytes());
    bytes.fold(hash, mixed)
}
