//! A fact that changes: each value holds from its instant until the next.

use crate::time::{At, Period};

/// Values with the instants from which they hold, in order of time.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Dated<T>(Vec<(At, T)>);

impl<T> Default for Dated<T> {
    fn default() -> Self {
        Self(Vec::new())
    }
}

impl<T> Dated<T> {
    /// Orders the values by time; of two for the same instant the later one in the list holds.
    pub fn new(mut values: Vec<(At, T)>) -> Self {
        values.reverse();
        values.sort_by_key(|(since, _)| *since);
        values.dedup_by_key(|(since, _)| *since);
        Self(values)
    }

    /// A value that has always held.
    pub fn always(value: T) -> Self {
        Self(vec![(At(i64::MIN), value)])
    }

    /// The value in force at an instant; `None` before the first.
    pub fn at(&self, at: At) -> Option<&T> {
        let after = self.0.partition_point(|(since, _)| *since <= at);
        after.checked_sub(1).map(|k| &self.0[k].1)
    }

    /// Adds a value; one for the same instant is replaced.
    pub fn set(&mut self, since: At, value: T) {
        match self.0.binary_search_by_key(&since, |(s, _)| *s) {
            Ok(k) => self.0[k].1 = value,
            Err(k) => self.0.insert(k, (since, value)),
        }
    }

    /// The instants strictly inside a period at which the value changes.
    pub fn changes(&self, period: Period) -> impl Iterator<Item = At> + '_ {
        self.0.iter().map(|(since, _)| *since).filter(move |at| period.start < *at && *at < period.end)
    }

    /// The values in force within a period with the part of it for which each holds, in order of time; what lies
    /// before the first value is left out.
    pub fn spans(&self, period: Period) -> impl Iterator<Item = (Period, &T)> {
        let first = self.0.partition_point(|(since, _)| *since <= period.start).saturating_sub(1);
        let ends = self.0.iter().skip(first + 1).map(|(since, _)| *since).chain([period.end]);
        self.0
            .iter()
            .skip(first)
            .zip(ends)
            .filter_map(move |((since, value), end)| Some((Period::new(*since, end).overlap(period)?, value)))
    }

    /// Every value with its instant, in order of time.
    pub fn iter(&self) -> impl DoubleEndedIterator<Item = &(At, T)> {
        self.0.iter()
    }

    /// The values with their instants, in order of time.
    pub fn into_values(self) -> Vec<(At, T)> {
        self.0
    }

    /// Whether no value is known.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_value_holds_from_its_instant_until_the_next() {
        let fact = Dated::new(vec![(At(20), 'c'), (At(10), 'a'), (At(10), 'b')]);
        assert_eq!([9, 10, 19, 20].map(|t| fact.at(At(t)).copied()), [None, Some('b'), Some('b'), Some('c')]);
        assert_eq!(fact.changes(Period::new(At(10), At(21))).collect::<Vec<_>>(), [At(20)]);
    }

    #[test]
    fn the_spans_of_a_period_fill_it_from_the_first_value_on() {
        let fact = Dated::new(vec![(At(10), 'a'), (At(20), 'b')]);
        let spans = |start, end| {
            fact.spans(Period::new(At(start), At(end))).map(|(p, v)| (p.start.0, p.end.0, *v)).collect::<Vec<_>>()
        };
        assert_eq!(spans(0, 30), [(10, 20, 'a'), (20, 30, 'b')]);
        assert_eq!(spans(12, 15), [(12, 15, 'a')]);
        assert_eq!(spans(25, 30), [(25, 30, 'b')]);
        assert_eq!(spans(0, 10), []);
    }
}
