//! Chance from a fixed seed: the same numbers on every machine.

use rand_pcg::Pcg32;
use rand_pcg::rand_core::{Rng, SeedableRng};

/// The seed of the invented plant.
const SEED: u64 = 0x1A_4B5A_7700;

/// A stream of numbers that a key chooses, such as a press and a day: the plan of one day never hangs on another's.
#[derive(Clone, Debug)]
pub struct Chance(Pcg32);

impl Chance {
    /// The stream of a key.
    pub fn of(key: u64) -> Self {
        Self(Pcg32::seed_from_u64(SEED.wrapping_add(key)))
    }

    /// A whole number from `low` to `high`, both included.
    pub fn between(&mut self, low: i64, high: i64) -> i64 {
        let span = (high - low + 1) as u64;
        low + ((u64::from(self.0.next_u32()) * span) >> 32) as i64
    }

    /// True once in `n` times on average.
    pub fn one_in(&mut self, n: i64) -> bool {
        self.between(1, n) == 1
    }

    /// The value with noise of up to `permille` thousandths to either side.
    pub fn about(&mut self, value: i64, permille: i64) -> i64 {
        value + value * self.between(-permille, permille) / 1_000
    }
}
