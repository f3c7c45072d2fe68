//! Sums of lines, and lines grouped by what they have in common.

use super::lines::Line;
use crate::units::{Co2e, Energy, Money};
use std::collections::BTreeMap;

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
    pub fn add(&mut self, line: &Line) {
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

/// What all of the lines add up to.
pub fn total<'l, 'a: 'l>(lines: impl IntoIterator<Item = &'l Line<'a>>) -> Sums {
    let mut sums = Sums::default();
    lines.into_iter().for_each(|line| sums.add(line));
    sums
}

/// The lines added up by a key; lines without one are left out. Neighbours mostly have the same key, so the group of
/// the last line is tried first.
pub fn by<'l, 'a: 'l, K: Ord>(
    lines: impl IntoIterator<Item = &'l Line<'a>>,
    key: impl Fn(&'l Line<'a>) -> Option<K>,
) -> BTreeMap<K, Sums> {
    let mut groups: BTreeMap<K, Sums> = BTreeMap::new();
    let mut open: Option<(K, Sums)> = None;
    for line in lines {
        let Some(key) = key(line) else { continue };
        if open.as_ref().is_none_or(|(last, _)| *last != key) {
            let begun = groups.remove(&key).unwrap_or_default();
            groups.extend(open.replace((key, begun)));
        }
        if let Some((_, sums)) = &mut open {
            sums.add(line);
        }
    }
    groups.extend(open);
    groups
}
