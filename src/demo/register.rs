//! The energy register of a simulated meter.

use super::dates;
use super::hall::{MAIN, SITE};
use super::trouble;

/// Milliseconds in an hour.
const HOUR_MS: i64 = 3_600_000;

/// Where a register returns to zero: eight digits.
pub const MODULUS: i64 = 100_000_000;

/// An energy register: it counts the energy that its device believes in.
#[derive(Clone, Debug)]
pub struct Register {
    /// Watt-hours for each count.
    wh: i64,
    modulus: i64,
    start: i64,
    /// Watt-milliseconds since the start count.
    energy: i64,
    /// What the device shows of the true energy: above and below the line.
    shows: (i64, i64),
}

impl Register {
    /// The register of the meter at a position, at the start of the history.
    pub fn of(position: usize) -> Self {
        let start = match position {
            SITE => 0,
            trouble::ROLLS_OVER => MODULUS - 2_400_000,
            _ => 1_204_311 + 137_411 * position as i64,
        };
        Self { wh: wh_per_count(position), modulus: modulus(position), start, energy: 0, shows: (1, 1) }
    }

    /// Its count, `more` watt-milliseconds after its last step.
    pub fn count(&self, more: i64) -> i64 {
        (self.start + (self.energy + self.shown(more)) / (HOUR_MS * self.wh)) % self.modulus
    }

    /// Counts so many watt-milliseconds.
    pub fn add(&mut self, more: i64) {
        self.energy += self.shown(more);
    }

    /// What the device makes of a true amount.
    pub fn shown(&self, amount: i64) -> i64 {
        amount * self.shows.0 / self.shows.1
    }

    /// The device is taken out and another put in, which has counted so much already.
    pub fn exchange(&mut self, start: i64) {
        (self.start, self.energy) = (start, 0);
    }

    /// From now on its transformers have another ratio than it believes.
    pub fn mistake(&mut self) {
        self.shows = (trouble::RATIO.1, trouble::RATIO.0);
    }
}

/// Watt-hours for each count of the register at a position.
pub const fn wh_per_count(position: usize) -> i64 {
    match position {
        SITE => 100,
        _ if position >= MAIN => 10,
        _ => 1,
    }
}

/// Where the register at a position returns to zero.
pub const fn modulus(position: usize) -> i64 {
    if position == SITE { i64::MAX } else { MODULUS }
}

/// The first count of the device that an exchange puts in.
pub fn first_count(position: usize) -> i64 {
    if position == trouble::EXCHANGED.0 { 12 } else { 3 }
}

/// The minute in which the meter at a position is exchanged.
pub fn exchange_minute(position: usize) -> Option<i64> {
    trouble::exchange(position).map(|away| (away.start.0 + away.millis() / 2) / crate::time::MINUTE)
}

/// The minute from which the transformers of the wrong ratio are in.
pub fn mistake_minute() -> i64 {
    dates::minute(dates::date(trouble::WRONG_RATIO.1), 13, 30)
}
