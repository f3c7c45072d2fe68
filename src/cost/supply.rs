//! What the supplier's meter shows, interval by interval, as a tariff looks at it.

use super::clock::within;
use super::{Measure, Tariff, Window};
use crate::attribute::by_quarter;
use crate::plant::Plant;
use crate::time::{At, HOUR, Period, QUARTER};
use crate::units::{Energy, divide_rounded};
use chrono::{NaiveDate, NaiveDateTime};

/// One interval of the supply.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Interval {
    /// When; within one local day.
    pub period: Period,
    /// Active energy, if known.
    pub energy: Option<Energy>,
    /// Inductive energy in milli-varhours, if known.
    pub lag: Option<Energy>,
    /// Capacitive energy in milli-varhours, if known.
    pub lead: Option<Energy>,
}

/// The intervals of a supply in order of time.
#[derive(Clone, Debug, PartialEq)]
pub struct Supply<'a> {
    plant: &'a Plant,
    intervals: Vec<(NaiveDateTime, Interval)>,
    /// Whether anything capacitive is known; where it is not, the inductive energy alone counts.
    has_lead: bool,
}

/// The highest mean of an interval.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Highest {
    /// In milliwatts or milli-volt-amperes.
    pub milli: i64,
    /// The interval; the first of equals.
    pub period: Period,
}

/// Energy of an interval or a longer time.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Total {
    /// Active energy.
    pub energy: Energy,
    /// Inductive energy.
    pub lag: Energy,
    /// Capacitive energy.
    pub lead: Energy,
}

impl Total {
    /// Inductive energy, or the larger one of both.
    pub fn reactive(&self, larger: bool) -> Energy {
        if larger { self.lag.max(self.lead) } else { self.lag }
    }

    /// The vector sum of active and the larger reactive energy.
    fn apparent(&self) -> i64 {
        vector(self.energy, self.reactive(true))
    }

    /// Power factor in millionths: active over apparent energy, inductive; `None` where there is neither.
    pub fn power_factor(&self) -> Option<i64> {
        let apparent = i128::from(vector(self.energy, self.lag));
        (apparent > 0).then(|| divide_rounded(i128::from(self.energy.mwh().max(0)) * 1_000_000, apparent) as i64)
    }
}

/// The vector sum, exact to a thousandth of a watt-hour.
fn vector(active: Energy, reactive: Energy) -> i64 {
    let square = |energy: Energy| u128::from(energy.mwh().unsigned_abs()).pow(2);
    (square(active) + square(reactive)).isqrt() as i64
}

impl<'a> Supply<'a> {
    /// The intervals of a plant's supply, in whichever order they come.
    pub fn new(plant: &'a Plant, mut intervals: Vec<Interval>) -> Self {
        intervals.sort_unstable();
        let has_lead = intervals.iter().any(|interval| interval.lead.is_some());
        let local = |interval: Interval| (plant.zone.local(interval.period.start).naive_local(), interval);
        Self { plant, intervals: intervals.into_iter().map(local).collect(), has_lead }
    }

    /// The plant that is supplied.
    pub const fn plant(&self) -> &'a Plant {
        self.plant
    }

    /// Whether capacitive energy is measured.
    pub const fn has_lead(&self) -> bool {
        self.has_lead
    }

    /// The first and the last local day with known energy.
    pub fn days(&self) -> Option<(NaiveDate, NaiveDate)> {
        let mut known = self.intervals.iter().filter(|(_, i)| i.energy.is_some()).map(|(local, _)| local.date());
        let first = known.next()?;
        Some((first, known.next_back().unwrap_or(first)))
    }

    /// The longest interval, in milliseconds.
    pub fn step(&self) -> i64 {
        self.intervals.iter().map(|(_, interval)| interval.period.millis()).max().unwrap_or(0)
    }

    /// The intervals of days, both included, each with its local clock time.
    pub fn of(&self, first: NaiveDate, last: NaiveDate) -> &[(NaiveDateTime, Interval)] {
        // By instants, not by the local clock, which goes back once a year.
        let days = self.plant.zone.days(first, last);
        let place = |at: At| self.intervals.partition_point(|(_, interval)| interval.period.start < at);
        &self.intervals[place(days.start)..place(days.end)]
    }

    /// Milliseconds of days for which the energy is not known.
    pub fn unknown(&self, first: NaiveDate, last: NaiveDate) -> i64 {
        let known = self.of(first, last).iter().filter(|(_, interval)| interval.energy.is_some());
        self.plant.zone.days(first, last).millis() - known.map(|(_, interval)| interval.period.millis()).sum::<i64>()
    }

    /// Milliseconds of days for which active energy is known and reactive energy is not.
    pub fn without_reactive(&self, first: NaiveDate, last: NaiveDate) -> i64 {
        let lacks =
            |(_, interval): &&(NaiveDateTime, Interval)| interval.energy.is_some() && !self.is_reactive(interval);
        self.of(first, last).iter().filter(lacks).map(|(_, interval)| interval.period.millis()).sum()
    }

    const fn is_reactive(&self, interval: &Interval) -> bool {
        interval.lag.is_some() && (interval.lead.is_some() || !self.has_lead)
    }

    /// What days add up to within windows, as far as it is known.
    pub fn total(&self, days: (NaiveDate, NaiveDate), windows: &[Window]) -> Total {
        let inside = self.quarters(days).filter(|(local, _)| within(windows, *local, &self.plant.calendar));
        inside.fold(Total::default(), |sum, (_, quarter)| sum.and(&quarter))
    }

    /// Energy of days in each band of a tariff, as far as it is known; last that of hours that no band holds.
    pub fn by_band(&self, days: (NaiveDate, NaiveDate), tariff: &Tariff) -> Vec<Energy> {
        let mut sums = vec![Energy::ZERO; tariff.bands.len() + 1];
        for (local, quarter) in self.quarters(days) {
            let band = tariff.band(local, &self.plant.calendar).unwrap_or(tariff.bands.len());
            sums[band] += quarter.energy.unwrap_or_default();
        }
        sums
    }

    /// The intervals of days; what is longer than a quarter hour is taken as even over its quarter hours, as everywhere.
    fn quarters(&self, (first, last): (NaiveDate, NaiveDate)) -> impl Iterator<Item = (NaiveDateTime, Interval)> + '_ {
        self.of(first, last).iter().flat_map(|(local, interval)| match interval.period.millis() > QUARTER {
            true => self.parts(interval),
            false => vec![(*local, *interval)],
        })
    }

    fn parts(&self, interval: &Interval) -> Vec<(NaiveDateTime, Interval)> {
        let of = |energy: Option<Energy>| -> Vec<(At, Option<Energy>)> {
            let parts = by_quarter(interval.period, energy.unwrap_or_default());
            parts.map(|(at, part)| (at, energy.map(|_| part))).collect()
        };
        let (energies, lags, leads) = (of(interval.energy), of(interval.lag), of(interval.lead));
        let part = |k: usize| {
            let (at, energy) = energies[k];
            let period = Period::new(at.max(interval.period.start), (at + QUARTER).min(interval.period.end));
            let local = self.plant.zone.local(period.start).naive_local();
            (local, Interval { period, energy, lag: lags[k].1, lead: leads[k].1 })
        };
        (0..energies.len()).map(part).collect()
    }

    /// Energy of each interval of so many milliseconds, counted from midnight, whose beginning lies within windows; with
    /// `reactive` only those for which that is known too. What is known in part is left out.
    pub fn sums(
        &self,
        (first, last): (NaiveDate, NaiveDate),
        step: i64,
        windows: &[Window],
        reactive: bool,
    ) -> Vec<(Period, Total)> {
        let mut sums: Vec<(Period, Total, i64)> = Vec::new();
        let (mut date, mut midnight) = (None, At(0));
        for (local, interval) in self.of(first, last) {
            if date != Some(local.date()) {
                date = Some(local.date());
                midnight = self.plant.zone.day(local.date()).start;
            }
            let start = midnight + (interval.period.start - midnight).div_euclid(step) * step;
            let known = interval.energy.is_some() && (!reactive || self.is_reactive(interval));
            let known = if known { interval.period.millis() } else { 0 };
            match sums.last_mut().filter(|(period, ..)| period.start == start) {
                Some((_, total, covered)) => (*total, *covered) = (total.and(interval), *covered + known),
                None => sums.push((Period::new(start, start + step), Total::default().and(interval), known)),
            }
        }
        let clock = |at: At| self.plant.zone.local(at).naive_local();
        let whole = sums.into_iter().filter(|(period, _, covered)| *covered == period.millis());
        whole
            .filter(|(period, ..)| within(windows, clock(period.start), &self.plant.calendar))
            .map(|(period, total, _)| (period, total))
            .collect()
    }

    /// The highest mean of days; `None` where no interval is known.
    pub fn highest(
        &self,
        days: (NaiveDate, NaiveDate),
        unit: Measure,
        step: i64,
        windows: &[Window],
    ) -> Option<Highest> {
        let means = self.sums(days, step, windows, unit == Measure::Kva).into_iter().map(|(period, total)| {
            let energy = if unit == Measure::Kva { total.apparent() } else { total.energy.mwh() };
            Highest { milli: (i128::from(energy) * i128::from(HOUR) / i128::from(step)) as i64, period }
        });
        means.max_by_key(|highest| (highest.milli, std::cmp::Reverse(highest.period.start)))
    }
}

impl Total {
    fn and(self, interval: &Interval) -> Self {
        let add = |sum: Energy, part: Option<Energy>| sum + part.unwrap_or_default();
        Self {
            energy: add(self.energy, interval.energy),
            lag: add(self.lag, interval.lag),
            lead: add(self.lead, interval.lead),
        }
    }
}
