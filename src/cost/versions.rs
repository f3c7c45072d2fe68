//! Which tariff holds on which days of a billing period, and how much of a month they are.

use super::Tariff;
use crate::time::{Month, days};
use chrono::{Datelike, NaiveDate};
use std::fmt;

/// Days of a billing period on which one tariff holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Piece {
    /// Its place in the list.
    pub tariff: usize,
    /// The first and the last day.
    pub days: (NaiveDate, NaiveDate),
    /// How much of a month it is billed as.
    pub months: Part,
}

/// A part of a whole, such as 17 / 31 of a month.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Part {
    /// Above the line.
    pub num: i128,
    /// Below the line.
    pub den: i128,
}

/// Why a period cannot be billed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Unbilled {
    /// No tariff holds on these days.
    Gap(NaiveDate, NaiveDate),
    /// Two tariffs hold on the first day of these.
    Overlap(String, String, NaiveDate),
    /// The tariff is in another currency than the plant.
    Currency(String, String),
}

impl fmt::Display for Unbilled {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Gap(first, last) if first == last => write!(f, "no tariff holds on {first}; see config/tariffs/"),
            Self::Gap(first, last) => write!(f, "no tariff holds from {first} to {last}; see config/tariffs/"),
            Self::Overlap(one, other, day) => {
                write!(f, "\"{one}\" and \"{other}\" both hold on {day}; end one before the other begins")
            }
            Self::Currency(name, currency) => {
                write!(f, "\"{name}\" is in {currency}, which is not the plant's currency")
            }
        }
    }
}

impl std::error::Error for Unbilled {}

impl Tariff {
    /// The last day on which it holds among the tariffs of a plant: its own, else the eve of the next one's first day.
    pub fn last_day(&self, tariffs: &[Self]) -> Option<NaiveDate> {
        let next = tariffs.iter().map(|other| other.valid_from).filter(|from| *from > self.valid_from).min();
        self.valid_to.or_else(|| next.and_then(|next| next.pred_opt()))
    }
}

/// The first gap between two tariffs, or the first day on which two hold.
pub fn fault(tariffs: &[Tariff]) -> Option<Unbilled> {
    let mut order: Vec<&Tariff> = tariffs.iter().collect();
    order.sort_by_key(|tariff| tariff.valid_from);
    order.windows(2).find_map(|pair| {
        let (one, next) = (pair[0], pair[1]);
        let last = one.last_day(tariffs).filter(|_| one.valid_from < next.valid_from);
        let last = last.unwrap_or(next.valid_from);
        let eve = next.valid_from.pred_opt()?;
        match last {
            last if last >= next.valid_from => {
                Some(Unbilled::Overlap(one.name.clone(), next.name.clone(), next.valid_from))
            }
            last if last < eve => Some(Unbilled::Gap(last.succ_opt()?, eve)),
            _ => None,
        }
    })
}

/// The tariffs of a billing period, in order of time, without a gap.
pub fn pieces(tariffs: &[Tariff], currency: &str, first: NaiveDate, last: NaiveDate) -> Result<Vec<Piece>, Unbilled> {
    if let Some(overlap @ Unbilled::Overlap(..)) = fault(tariffs) {
        return Err(overlap);
    }
    let held: Vec<(NaiveDate, Option<usize>)> = days(first, last).map(|day| (day, Tariff::on(tariffs, day))).collect();
    let whole = months(first, last);
    let count = held.len() as i128;
    let pieces = held.chunk_by(|a, b| a.1 == b.1).map(|days| {
        let (first, last) = (days[0].0, days[days.len() - 1].0);
        let tariff = days[0].1.ok_or(Unbilled::Gap(first, last))?;
        if tariffs[tariff].currency != currency {
            return Err(Unbilled::Currency(tariffs[tariff].name.clone(), tariffs[tariff].currency.clone()));
        }
        let months = Part { num: whole.num * days.len() as i128, den: whole.den * count }.reduced();
        Ok(Piece { tariff, days: (first, last), months })
    });
    pieces.collect()
}

/// How many months a billing period is: whole calendar months count as such, and as one 26 to 35 days that do not keep to
/// them (reading days wander; common practice, no source); else days by the length of their months.
pub fn months(first: NaiveDate, last: NaiveDate) -> Part {
    let days = (last - first).num_days() + 1;
    let is_whole = first.day() == 1 && last.succ_opt().is_some_and(|next| next.day() == 1);
    if !is_whole && Month::of(first) != Month::of(last) && (26..=35).contains(&days) {
        return Part { num: 1, den: 1 };
    }
    let mut part = Part { num: 0, den: 1 };
    let mut month = Month::of(first);
    while month <= Month::of(last) {
        let length = (month.next().first() - month.first()).num_days();
        let end = month.next().first().min(last.succ_opt().unwrap_or(last));
        let inside = (end - month.first().max(first)).num_days();
        part = part.plus(Part { num: inside.into(), den: length.into() });
        month = month.next();
    }
    part
}

impl Part {
    fn plus(self, other: Self) -> Self {
        Self { num: self.num * other.den + other.num * self.den, den: self.den * other.den }.reduced()
    }

    /// The same in lowest terms.
    pub fn reduced(self) -> Self {
        let (mut a, mut b) = (self.num, self.den);
        while b != 0 {
            (a, b) = (b, a % b);
        }
        Self { num: self.num / a.max(1), den: self.den / a.max(1) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> NaiveDate {
        text.parse().expect("a date")
    }

    #[test]
    fn months_are_counted_by_the_calendar_and_parts_by_days() {
        let part = |first, last| {
            let part = months(day(first), day(last));
            (part.num, part.den)
        };
        assert_eq!(part("2026-02-01", "2026-02-28"), (1, 1));
        assert_eq!(part("2026-01-01", "2026-12-31"), (12, 1));
        assert_eq!(part("2026-03-01", "2026-03-17"), (17, 31));
        assert_eq!(part("2026-03-14", "2026-04-13"), (1, 1), "reading days wander");
        assert_eq!(part("2026-03-31", "2026-04-15"), (33, 62), "1/31 + 15/30");
    }
}
