//! Tracks: what something was doing, from each change to the next; `None` inside where nobody knows.

use crate::plant::Dated;
use crate::time::{At, Period};

/// All time that a plant can have seen, short enough to be measured in milliseconds.
pub const ALWAYS: Period = Period::new(At(i64::MIN / 4), At(i64::MAX / 4));

/// Values with the instants from which they hold become a track with the changes only.
pub fn track<T: PartialEq>(values: Vec<(At, T)>) -> Dated<T> {
    let mut values = Dated::new(values).into_values();
    values.dedup_by(|later, earlier| later.1 == earlier.1);
    Dated::new(values)
}

/// Values on their way to a track, taken in order of time: only the changes are kept.
#[derive(Clone, Debug, PartialEq)]
pub struct Changes<T>(Vec<(At, T)>);

impl<T> Default for Changes<T> {
    fn default() -> Self {
        Self(Vec::new())
    }
}

impl<T: Clone + PartialEq> Changes<T> {
    /// A value holds from an instant on.
    pub fn push(&mut self, at: At, value: T) {
        if self.0.last().is_none_or(|(_, last)| *last != value) {
            self.0.push((at, value));
        }
    }

    /// The value that was taken last.
    pub fn last(&self) -> Option<&T> {
        self.0.last().map(|(_, value)| value)
    }

    /// Whether no value was taken.
    pub const fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// The values with the instants from which they hold.
    pub fn values(&self) -> Vec<(At, T)> {
        self.0.clone()
    }

    /// The track of them.
    pub fn track(&self) -> Dated<T> {
        track(self.values())
    }
}

/// A track without flicker: what lasts less than `shortest` milliseconds is passed over.
pub fn steady<T: PartialEq>(values: Vec<(At, T)>, shortest: i64) -> Dated<T> {
    let values = track(values).into_values();
    let ends: Vec<At> = values.iter().skip(1).map(|(at, _)| *at).collect();
    let first_or_long = |k: usize, at: At| k == 0 || ends.get(k).is_none_or(|end| *end - at >= shortest);
    let kept = values.into_iter().enumerate().filter(|(k, (at, _))| first_or_long(*k, *at));
    track(kept.map(|(_, value)| value).collect())
}

/// Two tracks read together: `join` says what holds at each change of either.
pub fn joined<A, B, C: PartialEq>(
    one: &Dated<A>,
    other: &Dated<B>,
    join: impl Fn(Option<&A>, Option<&B>) -> C,
) -> Dated<C> {
    let mut changes: Vec<At> = one.iter().map(|(at, _)| *at).chain(other.iter().map(|(at, _)| *at)).collect();
    changes.sort_unstable();
    changes.dedup();
    track(changes.into_iter().map(|at| (at, join(one.at(at), other.at(at)))).collect())
}

/// For how many milliseconds of a period a track says something that `counts`.
pub fn time_of<T>(track: &Dated<T>, period: Period, counts: impl Fn(&T) -> bool) -> i64 {
    track.spans(period).filter(|(_, value)| counts(value)).map(|(span, _)| span.millis()).sum()
}
