//! How much of the time is known: hours of meters, and whole days of the plant.

use super::input::Facts;
use super::number::{percent, significant};
use crate::attribute::{Amount, Placed, Usage};
use crate::names::MeterId;
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
    /// Not known.
    pub missing: i64,
}

impl Time {
    fn add(&mut self, usage: &Usage) {
        let millis = usage.period.millis();
        self.energy += usage.energy.unwrap_or(Energy::ZERO);
        match usage.amount {
            Amount::Metered => self.metered += millis,
            Amount::Integrated => self.from_power += millis,
            Amount::Estimated => self.estimated += millis,
            Amount::Missing => self.missing += millis,
        }
        if usage.energy.is_some() && is_spread(usage.placed) {
            self.spread += millis;
        }
    }

    /// All of which the energy is known.
    pub const fn known(&self) -> i64 {
        self.metered + self.from_power + self.estimated
    }

    /// All for which the meter stood there: from when it was fitted on, and no later than now.
    pub const fn all(&self) -> i64 {
        self.known() + self.missing
    }
}

/// Whether the place of energy was found by spreading it over a gap: the one rule for meters and for sums of energy.
pub fn is_spread(placed: Placed) -> bool {
    placed >= Placed::Interpolated
}

/// How much of a month is known; a month that still runs up to now.
#[derive(Clone, Debug, Default)]
pub struct Known<'a> {
    /// The time of each meter; one that was fitted later has no entry.
    pub meters: BTreeMap<&'a MeterId, Time>,
    /// Days on which the plant's energy is known from midnight to midnight.
    pub whole: usize,
    /// Days on which something is known, though not that.
    pub part: usize,
}

impl<'a> Known<'a> {
    /// Looks through the usage of every meter, on days without any reading as well.
    pub fn of(facts: &Facts<'a>) -> Self {
        let mut meters: BTreeMap<&MeterId, Time> = BTreeMap::new();
        for of_meter in facts.days.iter().flat_map(|day| day.value.usage.chunk_by(|a, b| a.meter == b.meter)) {
            let time = meters.entry(&of_meter[0].meter).or_default();
            of_meter.iter().for_each(|usage| time.add(usage));
        }
        let (whole, other): (Vec<_>, Vec<_>) = facts.sums.iter().partition(|day| day.whole);
        Self { meters, whole: whole.len(), part: other.iter().filter(|day| day.is_known()).count() }
    }

    /// Time of all meters.
    pub fn all(&self) -> i64 {
        self.meters.values().map(Time::all).sum()
    }

    /// Of this, how much is not known.
    pub fn missing(&self) -> i64 {
        self.meters.values().map(|time| time.missing).sum()
    }

    /// Share of the meter hours that are known, in per cent; what is nearly all is not rounded up to it.
    pub fn share(&self) -> String {
        let share = percent(self.all() - self.missing(), self.all()).unwrap_or_default();
        if self.missing() > 0 && share == "100.0" { "over 99.9".to_owned() } else { share }
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
