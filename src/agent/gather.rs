//! The readings of a day are handed on to its fold in parts, so that never more of them are in memory than a day of one
//! subject or some minutes of all.

use crate::attribute::DayFold;
use crate::found::{Found, Issue};
use crate::readings::{Reading, Series};
use crate::store::{Store, StoreError};
use crate::time::{At, MINUTE, Period};
use std::collections::BTreeMap;

/// What is not packed yet lies in order of time: so much of it is read at once, of all series. What is packed is read
/// fastest series by series.
const STEP: i64 = 10 * MINUTE;

/// Hands on the readings of series within a period, and the nearest one before it; where the period is over, the nearest
/// one after it as well. The series stand in order. Gives the remarks of the store.
pub(super) fn gather(
    store: &Store,
    fold: &mut DayFold,
    series: &[Series],
    period: Period,
    is_over: bool,
) -> Result<Vec<Issue>, StoreError> {
    let unpacked = store.unpacked_since(period.start)?.filter(|at| *at < period.end);
    let packed = Period::new(period.start, unpacked.unwrap_or(period.end));
    let mut issues = Vec::new();
    let at_once = is_over && unpacked.is_none();
    if !at_once {
        let found = nearest(store, series, period.start, |at| at < period.start)?;
        fold.push(&found.value);
        issues.extend(found.issues);
    }
    issues.extend(one_by_one(store, fold, series, packed, at_once)?);
    issues.extend(step(store, fold, series, Period::new(packed.end, period.end))?);
    if is_over && !at_once {
        fold.push(&nearest(store, series, period.end, |at| at >= period.end)?.value);
    }
    Ok(issues)
}

/// Hands on the readings of series within a period that is not packed yet.
pub(super) fn step(
    store: &Store,
    fold: &mut DayFold,
    series: &[Series],
    period: Period,
) -> Result<Vec<Issue>, StoreError> {
    let mut issues = Vec::new();
    let mut from = period.start;
    while from < period.end {
        let unpacked = store.unpacked_since(from)?.unwrap_or(period.end).min(period.end);
        if unpacked - from > STEP {
            // Daily figures lie far apart: between them there is at most what is packed.
            issues.extend(one_by_one(store, fold, series, Period::new(from, unpacked), false)?);
            from = unpacked;
            continue;
        }
        let to = (from + STEP).min(period.end);
        let found = store.readings_of(series, Period::new(from, to), false)?;
        fold.push(&found.value);
        issues.extend(found.issues);
        from = to;
    }
    Ok(issues)
}

/// Hands on the readings of series within a period, one subject after the other; with `around` also the nearest ones
/// before and after it.
fn one_by_one(
    store: &Store,
    fold: &mut DayFold,
    series: &[Series],
    period: Period,
    around: bool,
) -> Result<Vec<Issue>, StoreError> {
    let mut issues = Vec::new();
    for same in series.chunk_by(|a, b| a.subject == b.subject) {
        let found = store.readings_of(same, period, around)?;
        fold.push(&found.value);
        issues.extend(found.issues);
    }
    Ok(issues)
}

/// The readings nearest to an instant that lie on the wanted side of it.
fn nearest(
    store: &Store,
    series: &[Series],
    at: At,
    wanted: impl Fn(At) -> bool,
) -> Result<Found<BTreeMap<Series, Vec<Reading>>>, StoreError> {
    let mut found = store.readings_of(series, Period::new(at, at), true)?;
    found.value.values_mut().for_each(|readings| readings.retain(|reading| wanted(reading.at)));
    Ok(found)
}
