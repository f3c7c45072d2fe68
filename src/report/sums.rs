//! Sums of lines, and accounts added up by what they have in common.

use super::accounts::Account;
use super::lines::Line;
use crate::attribute::Slice;
use crate::units::{Co2e, Energy, Money};
use std::collections::BTreeMap;
use std::ops::Add;

/// What lines add up to, and how much of it is not known.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Sums {
    /// Energy that is known.
    pub energy: Energy,
    /// Milliseconds of meters whose energy is not known.
    pub unknown: i64,
    priced: Energy,
    cost: Money,
    factored: Energy,
    co2e: Co2e,
}

impl Sums {
    /// Adds a line.
    pub fn post(&mut self, line: &Line) {
        match line.slice.usage.energy {
            Some(energy) => self.energy += energy,
            None => self.unknown += line.slice.usage.period.millis(),
        }
        self.priced += line.priced;
        self.cost += line.cost;
        self.factored += line.factored;
        self.co2e += line.co2e;
    }

    /// What the energy costs; `None` where there is energy and no price for any of it.
    pub fn cost(&self) -> Option<Money> {
        (self.priced != Energy::ZERO || self.energy == Energy::ZERO).then_some(self.cost)
    }

    /// Its carbon; `None` where there is energy and no factor for any of it.
    pub fn co2e(&self) -> Option<Co2e> {
        (self.factored != Energy::ZERO || self.energy == Energy::ZERO).then_some(self.co2e)
    }

    /// Energy without a price.
    pub fn unpriced(&self) -> Energy {
        self.energy - self.priced
    }

    /// Energy without a factor.
    pub fn unfactored(&self) -> Energy {
        self.energy - self.factored
    }
}

impl Add for Sums {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self {
            energy: self.energy + other.energy,
            unknown: self.unknown + other.unknown,
            priced: self.priced + other.priced,
            cost: self.cost + other.cost,
            factored: self.factored + other.factored,
            co2e: self.co2e + other.co2e,
        }
    }
}

/// What all of the accounts add up to.
pub fn total<'l, 'a: 'l>(accounts: impl IntoIterator<Item = &'l Account<'a>>) -> Sums {
    accounts.into_iter().fold(Sums::default(), |sums, account| sums + account.sums)
}

/// The accounts added up by a key; those without one are left out.
pub fn by<'l, 'a: 'l, K: Ord>(
    accounts: impl IntoIterator<Item = &'l Account<'a>>,
    key: impl Fn(&'a Slice) -> Option<K>,
) -> BTreeMap<K, Sums> {
    let mut groups: BTreeMap<K, Sums> = BTreeMap::new();
    for account in accounts {
        let Some(key) = key(account.slice) else { continue };
        let sums = groups.entry(key).or_default();
        *sums = *sums + account.sums;
    }
    groups
}
