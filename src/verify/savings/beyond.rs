//! Days outside what the baseline has seen: there the model is extrapolated, and its uncertainty says too little.

use crate::verify::baseline::{Frozen, Points, Refused};
use chrono::NaiveDate;

/// A point outside the range of the baseline.
#[derive(Clone, Debug, PartialEq)]
pub struct Beyond {
    /// The point.
    pub date: NaiveDate,
    /// The drivers that lie beyond their own range, with their values; empty where each is inside and only their
    /// combination is new.
    pub drivers: Vec<(String, f64)>,
    /// Leverage of the point over the largest of the baseline.
    pub leverage: f64,
}

/// The points beyond the baseline, in order.
///
/// # Errors
/// Points of another form.
pub fn of(frozen: &Frozen, points: &Points) -> Result<Vec<Beyond>, Refused> {
    let leverage = frozen.model.leverage(&points.design()?)?;
    let mut all = Vec::new();
    for (k, date) in points.dates.iter().enumerate() {
        let outside = points.columns.iter().filter_map(|column| {
            let (low, high) = frozen.range(&column.name)?;
            let value = column.values[k];
            (value < low || value > high).then(|| (column.name.clone(), value))
        });
        let drivers: Vec<(String, f64)> = outside.collect();
        let leverage = leverage[k] / frozen.leverage;
        if !drivers.is_empty() || leverage > 1.0 {
            all.push(Beyond { date: *date, drivers, leverage });
        }
    }
    Ok(all)
}
