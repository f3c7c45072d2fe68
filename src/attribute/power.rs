//! Power between the edges of a register: it says when the energy between them was drawn.

use crate::attribute::grain::joins;
use crate::readings::Reading;
use crate::time::{At, Period};
use crate::units::Energy;
use std::collections::VecDeque;

/// The latest readings of power. Each holds until the next, for as long as no gap lies between.
#[derive(Clone, Debug)]
pub struct Power {
    spans: VecDeque<Span>,
    last: Option<Reading>,
    gap: i64,
}

/// A period for which power is known.
#[derive(Clone, Copy, Debug)]
struct Span {
    period: Period,
    /// Power times time; power given back weighs nothing.
    weight: i128,
}

impl Power {
    /// No power yet; readings further apart than `gap` milliseconds say nothing about the time between.
    pub const fn new(gap: i64) -> Self {
        Self { spans: VecDeque::new(), last: None, gap }
    }

    /// Takes the next reading.
    pub fn push(&mut self, reading: Reading) {
        if self.last.is_some_and(|last| last.at >= reading.at) {
            return;
        }
        if let Some(next) = self.open(reading.at) {
            match self.spans.back_mut().filter(|span| joins(span.period, next.period)) {
                Some(span) => {
                    span.period.end = next.period.end;
                    span.weight += next.weight;
                }
                None => self.spans.push_back(next),
            }
        }
        self.last = Some(reading);
    }

    /// Forgets what ends before an instant.
    pub fn forget(&mut self, before: At) {
        while self.spans.front().is_some_and(|span| span.period.end <= before) {
            self.spans.pop_front();
        }
    }

    /// Energy shared over a period by the power within; `None` where power says no more than an even share does.
    pub fn shares(&self, period: Period, energy: Energy) -> Option<Vec<(Period, Energy)>> {
        // Without power, as most meters are read, this is asked for each of their readings.
        self.last.filter(|last| last.at > period.start)?;
        let spans = self.spans(period).filter(|spans| spans.len() > 1)?;
        let weights: Vec<i128> = spans.iter().map(|span| span.weight).collect();
        let energies = energy.split(&weights)?;
        Some(spans.into_iter().map(|span| span.period).zip(energies).collect())
    }

    /// The weights of two neighbouring periods: their integrated power where it is known and above zero, else their
    /// lengths.
    pub fn weigh(&self, one: Period, other: Period) -> (i128, i128) {
        let sum = |period| self.spans(period).map(|spans| spans.iter().map(|span| span.weight).sum::<i128>());
        match (sum(one), sum(other)) {
            (Some(a), Some(b)) if a + b > 0 => (a, b),
            _ => (one.millis().into(), other.millis().into()),
        }
    }

    /// What is known within a period; `None` where not all of it is.
    fn spans(&self, period: Period) -> Option<Vec<Span>> {
        let first = self.spans.partition_point(|span| span.period.end <= period.start);
        let known = self.spans.range(first..).copied().chain(self.open(period.end));
        let mut known_to = period.start;
        let mut spans = Vec::new();
        for inside in known.map_while(|span| span.clip(period)) {
            if inside.period.start != known_to {
                return None;
            }
            known_to = inside.period.end;
            spans.push(inside);
        }
        (known_to == period.end).then_some(spans)
    }

    /// The last reading holds up to an instant, if no gap lies between.
    fn open(&self, until: At) -> Option<Span> {
        let Reading { at, count } = self.last.filter(|last| (1..=self.gap).contains(&(until - last.at)))?;
        let weight = i128::from(count).max(0) * i128::from(until - at);
        Some(Span { period: Period::new(at, until), weight })
    }
}

impl Span {
    /// The part inside a period that it has something in common with.
    fn clip(self, period: Period) -> Option<Self> {
        let common = self.period.overlap(period)?;
        let weight = self.weight * i128::from(common.millis()) / i128::from(self.period.millis());
        Some(Self { period: common, weight })
    }
}
