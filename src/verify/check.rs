//! A promise held against itself, before anything is measured: whether its own numbers multiply out, and whether they
//! can be meant as they stand.
//!
//! Each remark is one sentence: what the promise says, what its own numbers give, what to ask the supplier.

mod group;
mod shared;
mod totals;

pub use totals::freed_kva;

use super::promise::Promise;
use super::words::number;
use crate::plant::Plant;

/// A stated figure may differ so far from its own arithmetic: proposals round.
const ROUNDING: f64 = 0.02;

/// Everything remarkable about a promise: group by group, then the shared loads, then its totals.
pub fn check(promise: &Promise, plant: &Plant) -> Vec<String> {
    let mut remarks = Vec::new();
    for (k, each) in promise.groups.iter().enumerate() {
        let about = format!("group {} ({})", k + 1, each.press);
        remarks.extend(group::check(each).into_iter().map(|remark| format!("{about} {remark}")));
    }
    remarks.extend(shared::check(promise, plant));
    remarks.extend(totals::check(promise).into_iter().map(|remark| format!("the promise {remark}")));
    remarks
}

/// Whether a stated figure is what its own arithmetic gives.
fn agrees(stated: f64, own: f64) -> bool {
    (stated - own).abs() <= ROUNDING * own.abs().max(stated.abs())
}

/// Kilowatt-hours a year.
fn a_year(kwh: f64) -> String {
    format!("{} kWh a year", number(kwh, 0))
}
