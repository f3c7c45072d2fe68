//! What the supplier's meters show, interval by interval: what a bill is reckoned from.

use super::{Books, BooksError};
use crate::attribute::{Reactive, Usage};
use crate::cost::Interval;
use crate::plant::{Flow, Meter};
use crate::readings::Series;
use crate::store::{Access, Store, StoreError};
use crate::time::{At, HOUR, Period, days};
use crate::units::Energy;
use chrono::NaiveDate;
use std::collections::BTreeMap;

/// The longest interval of a meter that is not taken as whole days.
const DAY: i64 = 24 * HOUR;

/// The intervals of days, both included: of the fiscal meters together, or, where none is fiscal, all energy of the plant.
///
/// # Errors
/// Where the store cannot be read.
pub fn supply(
    books: &Books,
    store: &Store,
    (first, last): (NaiveDate, NaiveDate),
) -> Result<Vec<Interval>, BooksError> {
    let dates: Vec<NaiveDate> = days(first, last).collect();
    let plant = books.plant();
    let fiscal: Vec<&Meter> = plant.meters.iter().filter(|meter| meter.fiscal && meter.flow == Flow::Import).collect();
    if fiscal.is_empty() {
        let sums = books.sums(&dates)?;
        let bare = |(period, energy)| Interval { period, energy, lag: None, lead: None };
        return Ok(sums.iter().flat_map(|day| day.used(plant.zone)).map(bare).collect());
    }
    let mut used: BTreeMap<&str, Vec<Usage>> = BTreeMap::new();
    for ledger in books.ledgers(&dates)? {
        for usage in ledger.value.usage {
            if let Some(meter) = fiscal.iter().find(|meter| meter.id == usage.meter) {
                used.entry(meter.id.as_str()).or_default().push(usage);
            }
        }
    }
    let period = plant.zone.days(first, last);
    let mut each = Vec::new();
    for meter in &fiscal {
        let used = used.remove(meter.id.as_str()).unwrap_or_default();
        each.push(with_reactive(books, store, meter, period, used)?);
    }
    if each.len() == 1 {
        return Ok(each.remove(0));
    }
    let step = fiscal.iter().map(|meter| meter.native).fold(crate::time::QUARTER, i64::max).min(DAY);
    Ok(dates.iter().flat_map(|day| together(plant.zone.day(*day), step, &each)).collect())
}

/// As [`supply`], of the store of the books.
///
/// # Errors
/// Where the store cannot be read.
pub fn supplied(books: &Books, days: (NaiveDate, NaiveDate)) -> Result<Vec<Interval>, BooksError> {
    let store = Store::open(books.folder(), books.plant().zone, Access::Read)?;
    supply(books, &store, days)
}

/// The usage of a meter with the reactive energy of the same intervals.
fn with_reactive(
    books: &Books,
    store: &Store,
    meter: &Meter,
    period: Period,
    used: Vec<Usage>,
) -> Result<Vec<Interval>, StoreError> {
    let series: Vec<Series> = Reactive::series(meter).collect();
    let mut is_read = false;
    for one in &series {
        is_read = is_read || store.extent(one)?.is_some();
    }
    let bare = |usage: Usage| Interval { period: usage.period, energy: usage.energy, lag: None, lead: None };
    let mut intervals: Vec<Interval> = used.into_iter().map(bare).collect();
    if !is_read {
        return Ok(intervals);
    }
    let readings = store.readings_of(&series, period, true)?.value;
    let reactive = Reactive::read(meter, books.plant().zone, &readings);
    for interval in &mut intervals {
        let sides = reactive.sides(&[interval.period.start, interval.period.end]);
        if let Some([lag, lead]) = sides.first() {
            (interval.lag, interval.lead) = (*lag, *lead);
        }
    }
    Ok(intervals)
}

/// Several meters added up by intervals of a day; what is not known of one of them is not known of the sum.
fn together(day: Period, step: i64, each: &[Vec<Interval>]) -> Vec<Interval> {
    let starts = (0..).map(|k| day.start + k * step).take_while(|start| *start < day.end);
    let bin = |start: At| {
        let period = Period::new(start, (start + step).min(day.end));
        let of = |value: fn(&Interval) -> Option<Energy>| -> Option<Energy> {
            each.iter().map(|intervals| sum(intervals, period, value)).sum()
        };
        Interval { period, energy: of(|i| i.energy), lag: of(|i| i.lag), lead: of(|i| i.lead) }
    };
    starts.map(bin).collect()
}

fn sum(intervals: &[Interval], period: Period, value: fn(&Interval) -> Option<Energy>) -> Option<Energy> {
    let first = intervals.partition_point(|interval| interval.period.start < period.start);
    let inside = intervals[first..].iter().take_while(|interval| interval.period.start < period.end);
    let known: Vec<(i64, Energy)> = inside.filter_map(|i| Some((i.period.millis(), value(i)?))).collect();
    (known.iter().map(|(millis, _)| millis).sum::<i64>() == period.millis())
        .then(|| known.iter().map(|(_, energy)| *energy).sum())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::time::QUARTER;

    fn interval(k: i64, energy: Option<i64>) -> Interval {
        let period = Period::new(At(k * QUARTER), At((k + 1) * QUARTER));
        Interval { period, energy: energy.map(Energy::from_mwh), lag: None, lead: None }
    }

    #[test]
    fn meters_add_up_by_their_longest_interval_and_what_one_lacks_is_unknown() {
        let fast: Vec<Interval> = (0..4).map(|k| interval(k, Some(1))).collect();
        let half = |k: i64| Interval {
            period: Period::new(At(k * 2 * QUARTER), At((k + 1) * 2 * QUARTER)),
            ..interval(0, Some(10))
        };
        let day = Period::new(At(0), At(4 * QUARTER));
        let sums = |each: &[Vec<Interval>]| -> Vec<Option<i64>> {
            together(day, 2 * QUARTER, each).iter().map(|sum| sum.energy.map(Energy::mwh)).collect()
        };
        assert_eq!(sums(&[fast.clone(), vec![half(0), half(1)]]), [Some(12), Some(12)]);
        assert_eq!(sums(&[fast, vec![half(0)]]), [Some(12), None]);
    }
}
