//! Whether the web of a press moves, and how far.

use crate::attribute::length::Length;
use crate::attribute::track::{Changes, steady};
use crate::plant::Dated;
use crate::readings::Reading;
use crate::time::{MINUTE, Zone};
use chrono::NaiveDate;

/// A moving web is believed for so long without a further value; a standing one until something else is said, since
/// many sources publish changes only.
const BELIEVED: i64 = 30 * MINUTE;
/// The web starts or stops only if it does so for as long as this.
const FLICKER: i64 = MINUTE / 2;

/// A web on its way through the day: where its speed or, from reading to reading, its length says that it moves.
#[derive(Clone, Debug)]
pub struct Web {
    /// From this speed on it moves, in millimetres a minute.
    least: i64,
    speed: Said,
    counter: Said,
    length: Length,
}

/// What one quantity says, and its last reading.
#[derive(Clone, Debug, Default)]
struct Said {
    moves: Changes<Option<bool>>,
    last: Option<Reading>,
}

impl Web {
    /// A web of which nothing is known yet; it moves from so many millimetres a minute on, and days are those of the zone.
    pub fn new(least: i64, zone: Zone) -> Self {
        Self { least, speed: Said::default(), counter: Said::default(), length: Length::new(zone) }
    }

    /// Whether this is a web that moves from so many millimetres a minute on.
    pub const fn moves_from(&self, least: i64) -> bool {
        self.least == least
    }

    /// Takes the next readings of each.
    pub fn push(&mut self, speed: &[Reading], counter: &[Reading]) {
        self.length.push(counter, speed);
        for reading in speed {
            self.speed.doubt(Some(reading));
            self.speed.moves.push(reading.at, Some(reading.count >= self.least));
            self.speed.last = Some(*reading);
        }
        for reading in counter {
            if let Some(last) = self.counter.last.replace(*reading) {
                self.counter.moves.push(last.at, between(&last, reading, self.least));
            }
        }
    }

    /// Millimetres run on a local day; `None` where that is not known.
    pub fn run_on(&self, date: NaiveDate) -> Option<i64> {
        self.length.by_day().get(&date).copied()
    }

    /// Whether it moves, from its speed, else from its length; `None` inside where neither tells.
    pub fn moving(&self) -> Dated<Option<bool>> {
        let (mut speed, mut counter) = (self.speed.clone(), self.counter.clone());
        speed.doubt(None);
        counter.last.into_iter().for_each(|last| counter.moves.push(last.at, None));
        let said = if speed.moves.is_empty() { counter } else { speed };
        steady(said.moves.values(), FLICKER)
    }
}

impl Said {
    /// A moving web is believed only for a while after the last reading; `next` is the one after it.
    fn doubt(&mut self, next: Option<&Reading>) {
        let moves = self.moves.last() == Some(&Some(true));
        let believed = self.last.filter(|_| moves).map(|last| last.at + BELIEVED);
        if let Some(believed) = believed.filter(|believed| next.is_none_or(|next| next.at > *believed)) {
            self.moves.push(believed, None);
        }
    }
}

/// Whether the web moved between two readings of its length.
fn between(from: &Reading, to: &Reading, least: i64) -> Option<bool> {
    let (run, millis) = (to.count.checked_sub(from.count)?, to.at - from.at);
    match run {
        0 => Some(false),
        1.. if millis <= BELIEVED => {
            Some(i128::from(run) * i128::from(MINUTE) >= i128::from(least) * i128::from(millis))
        }
        _ => None,
    }
}
