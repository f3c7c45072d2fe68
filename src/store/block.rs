//! A packed block is read.

use super::months::Block;
use super::read::{Stated, reading};
use crate::readings::Reading;
use crate::readings::rank::Statement;

impl Block {
    /// Its statements within a time.
    pub(super) fn stated(&self, from: i64, to: i64) -> impl Iterator<Item = Stated> + '_ {
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
    pub(super) fn read(&self, from: i64, to: i64, readings: &mut Vec<Reading>) {
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

    pub(super) fn span(&self) -> (i64, i64) {
        (self.clock[0], self.clock[self.clock.len() - 1])
    }
}
