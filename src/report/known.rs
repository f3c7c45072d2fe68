//! How much of the time is known: hours of meters, and whole days of the plant.

use super::input::Facts;
use super::lines::Ledger;
use super::number::{percent, significant};
use crate::attribute::{Amount, Placed, Usage};
use crate::names::MeterId;
use crate::plant::Plant;
use crate::time::HOUR;
use crate::units::{Energy, divide_rounded};
use std::collections::BTreeMap;

/// The time of one meter by how its energy is known, in milliseconds.
#[derive(Clone, Copy, Debug, Default)]
pub struct Time {
    /// Its energy.
    pub energy: Energy,
    /// Differences of a register, or interval values.
    pub metered: i64,
    /// Power readings added up, where there is no register.
    pub from_power: i64,
    /// By a stated rule.
    pub estimated: i64,
    /// Of all these, the amount was spread over a gap.
    pub spread: i64,
}

impl Time {
    fn add(&mut self, usage: &Usage) {
        let millis = usage.period.millis();
        self.energy += usage.energy.unwrap_or(Energy::ZERO);
        match usage.amount {
            Amount::Metered => self.metered += millis,
            Amount::Integrated => self.from_power += millis,
            Amount::Estimated => self.estimated += millis,
            Amount::Missing => {}
        }
        if usage.energy.is_some() && usage.placed != Placed::Measured {
            self.spread += millis;
        }
    }

    /// All of which the energy is known.
    pub const fn known(&self) -> i64 {
        self.metered + self.from_power + self.estimated
    }
}

/// How much of the days of a ledger is known.
#[derive(Clone, Debug, Default)]
pub struct Known<'a> {
    /// The time of each meter; one that was never read has no entry.
    pub meters: BTreeMap<&'a MeterId, Time>,
    /// Length of the days.
    pub span: i64,
    /// How many meters the plant has.
    pub count: i64,
    /// Days on which the plant's energy is known from midnight to midnight.
    pub whole: usize,
    /// Days on which something is known, though not that.
    pub part: usize,
}

impl<'a> Known<'a> {
    /// Looks through the usage of every meter. A day is whole where every meter that stands below no other is known
    /// throughout: together they show what the plant draws.
    pub fn of(plant: &Plant, facts: &Facts<'a>, ledger: &Ledger) -> Self {
        let mut known = Self { count: plant.meters.len() as i64, ..Self::default() };
        let tops: Vec<&MeterId> = plant.meters.iter().filter(|m| m.below.is_none()).map(|m| &m.id).collect();
        for day in facts.days.iter().filter(|day| ledger.days.contains(&day.value.date)) {
            let length = plant.zone.day(day.value.date).millis();
            let (mut throughout, mut anything) = (0, false);
            for of_meter in day.value.usage.chunk_by(|a, b| a.meter == b.meter) {
                let time = known.meters.entry(&of_meter[0].meter).or_default();
                let before = time.known();
                of_meter.iter().for_each(|usage| time.add(usage));
                let today = time.known() - before;
                anything |= today > 0;
                throughout += usize::from(today >= length && tops.contains(&&of_meter[0].meter));
            }
            let whole = throughout == tops.len() && anything;
            known.whole += usize::from(whole);
            known.part += usize::from(anything && !whole);
            known.span += length;
        }
        known
    }

    /// Time of all meters.
    pub const fn all(&self) -> i64 {
        self.span * self.count
    }

    /// Of this, how much is not known.
    pub fn missing(&self) -> i64 {
        self.all() - self.meters.values().map(Time::known).sum::<i64>()
    }

    /// Share of the meter hours that are known, in per cent.
    pub fn share(&self) -> String {
        percent(self.all() - self.missing(), self.all()).unwrap_or_default()
    }

    /// Said where not all of so many days are known whole.
    pub fn said(&self, days: usize) -> Option<String> {
        let part = if self.part > 0 { format!(", {} in part", self.part) } else { String::new() };
        (self.whole < days).then(|| format!("{} of {days} days known{part}", self.whole))
    }
}

/// Hours as a count of millionths.
pub fn hours(millis: i64) -> i64 {
    divide_rounded(i128::from(millis) * 1_000_000, i128::from(HOUR)) as i64
}

/// Hours in running text, with three significant digits.
pub fn told_hours(millis: i64) -> String {
    significant(hours(millis).into(), 6)
}
