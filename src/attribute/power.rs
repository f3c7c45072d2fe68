//! Power between the edges of a register: it says when the energy between them was drawn.

use crate::readings::Reading;
use crate::time::{At, Period};
use crate::units::Energy;
use std::collections::VecDeque;

/// The latest readings of power. Each holds until the next, for as long as no gap lies between.
#[derive(Clone, Debug)]
pub struct Power {
    readings: VecDeque<Reading>,
    gap: i64,
}

impl Power {
    /// No power yet; readings further apart than `gap` milliseconds say nothing about the time between.
    pub const fn new(gap: i64) -> Self {
        Self { readings: VecDeque::new(), gap }
    }

    /// Takes the next reading.
    pub fn push(&mut self, reading: Reading) {
        if self.readings.back().is_none_or(|last| last.at < reading.at) {
            self.readings.push_back(reading);
        }
    }

    /// Forgets what ends before an instant.
    pub fn forget(&mut self, before: At) {
        while self.readings.get(1).is_some_and(|second| second.at <= before) {
            self.readings.pop_front();
        }
    }

    /// Energy shared over a period by the power within; `None` where power says no more than an even share does.
    pub fn shares(&self, period: Period, energy: Energy) -> Option<Vec<(Period, Energy)>> {
        let first = self.readings.partition_point(|r| r.at <= period.start);
        self.readings.get(first).filter(|next| next.at < period.end)?;
        let spans = self.spans(period)?;
        let weights: Vec<i128> = spans.iter().map(weight).collect();
        let energies = energy.split(&weights)?;
        Some(spans.into_iter().map(|(span, _)| span).zip(energies).collect())
    }

    /// The weights of two neighbouring periods: their integrated power where it is known and above zero, else their
    /// lengths.
    pub fn weigh(&self, one: Period, other: Period) -> (i128, i128) {
        let sum = |period| self.spans(period).map(|spans| spans.iter().map(weight).sum::<i128>());
        match (sum(one), sum(other)) {
            (Some(a), Some(b)) if a + b > 0 => (a, b),
            _ => (one.millis().into(), other.millis().into()),
        }
    }

    /// The readings that hold within a period, each with its part of it; `None` where not all of it is known.
    fn spans(&self, period: Period) -> Option<Vec<(Period, i64)>> {
        let first = self.readings.partition_point(|r| r.at <= period.start).checked_sub(1)?;
        let mut spans = Vec::new();
        for (k, reading) in self.readings.iter().enumerate().skip(first).take_while(|(_, r)| r.at < period.end) {
            let end = self.readings.get(k + 1).map_or(period.end, |next| next.at);
            if end - reading.at > self.gap {
                return None;
            }
            spans.push((Period::new(reading.at, end).overlap(period)?, reading.count));
        }
        Some(spans)
    }
}

/// Power times time; power given back weighs nothing.
fn weight((period, count): &(Period, i64)) -> i128 {
    i128::from(*count).max(0) * i128::from(period.millis())
}
