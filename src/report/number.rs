//! Numbers as people read them: how each kind of figure is rounded is decided here, once; the digits come from `units`.
//!
//! Energy, money and carbon are all counted in millionths of their printed unit, so one rule prints them all.

use crate::time::Month;
use crate::units::{self, Co2e, Energy, Money, divide_rounded, split};
pub use crate::units::{grouped, significant};
use serde::Serialize;

/// What a figure shows where nothing is known.
pub const UNKNOWN: &str = "–";

/// A number ready to print, with the id by which it can be cited.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Figure {
    /// Such as `2026-03/energy/p1/s3`; empty where the figure is not cited.
    pub id: String,
    /// The number, or a dash where it is not known.
    pub text: String,
    /// Its unit.
    pub unit: String,
}

impl Figure {
    /// A figure without an id.
    pub fn plain(text: impl Into<String>, unit: &str) -> Self {
        Self { id: String::new(), text: text.into(), unit: unit.into() }
    }

    /// The figure with its id.
    pub fn with(self, id: String) -> Self {
        Self { id, ..self }
    }
}

/// Builds the ids of one month's figures.
#[derive(Clone, Copy, Debug)]
pub struct Ids(pub Month);

impl Ids {
    /// The id of a figure by its path: `["energy", "p1/s3"]` gives `2026-03/energy/p1/s3`.
    pub fn of(self, path: &[&str]) -> String {
        format!("{}/{}", self.0, path.join("/"))
    }
}

/// Anything that is counted in millionths of its printed unit.
pub trait Millionths: Copy {
    /// The count.
    fn count(self) -> i64;
}

impl Millionths for Energy {
    fn count(self) -> i64 {
        self.mwh()
    }
}

impl Millionths for Co2e {
    fn count(self) -> i64 {
        self.mg()
    }
}

/// A count of millionths as it stands, such as microwatts of a column in kilowatts.
impl Millionths for i64 {
    fn count(self) -> i64 {
        self
    }
}

impl Millionths for Money {
    fn count(self) -> i64 {
        self.micros()
    }
}

/// A quantity with that many decimals, at most six, and its thousands grouped.
pub fn fixed(quantity: impl Millionths, places: u32) -> String {
    units::fixed(i128::from(quantity.count()), 6, places)
}

/// A quantity in thousands of its unit (MWh, t) with three significant digits.
pub fn thousands(quantity: impl Millionths) -> String {
    significant(i128::from(quantity.count()), 9)
}

/// How many decimals give the largest of a column three significant digits; at most two, so that small values
/// still line up. The column is in millionths.
pub fn places(column: impl IntoIterator<Item = i64>) -> u32 {
    let largest = column.into_iter().map(|count| i128::from(count).abs()).max().unwrap_or(0);
    units::places(largest, 6).min(2)
}

/// Part of whole in per cent with one decimal; `None` where the whole is not above zero. Only the whole is 100.0.
pub fn percent(part: i64, whole: i64) -> Option<String> {
    let thousandths = |whole: i64| divide_rounded(i128::from(part) * 1_000, i128::from(whole));
    (whole > 0)
        .then(|| thousandths(whole).min(if part < whole { 999 } else { i128::MAX }))
        .map(|t| units::fixed(t, 1, 1))
}

/// The shares of parts that make up a whole, in per cent with one decimal: they add up to 100.0. Where a part is below
/// zero there are no such shares, and each is told by itself.
pub fn shares(parts: &[i64]) -> Vec<String> {
    let weights: Vec<i128> = parts.iter().map(|part| i128::from(*part)).collect();
    match split(1_000, &weights).filter(|_| parts.iter().all(|part| *part >= 0)) {
        Some(shares) => shares.into_iter().map(|share| units::fixed(share.into(), 1, 1)).collect(),
        None => parts.iter().map(|part| percent(*part, parts.iter().sum()).unwrap_or_default()).collect(),
    }
}

/// `amount` x `unit` / `size` in the millionths of `amount`; `None` where there is no size.
pub fn per(amount: i64, unit: i128, size: i64) -> Option<i64> {
    let scaled = || divide_rounded(i128::from(amount) * unit * 1_000_000, i128::from(size));
    (size > 0).then(scaled).and_then(|n| i64::try_from(n).ok())
}

/// From `before` to `now` in per cent, signed; `None` where there is nothing to compare with.
pub fn change(now: i128, before: i128) -> Option<String> {
    if before <= 0 {
        return None;
    }
    let thousandths = divide_rounded((now - before) * 1_000, before);
    let sign = if thousandths > 0 { "+" } else { "" };
    Some(format!("{sign}{}", units::fixed(thousandths, 1, 1)))
}

/// Watts of `energy` over `millis`, in kW with three significant digits.
pub fn kilowatts(energy: Energy, millis: i64) -> Option<String> {
    (millis > 0).then(|| significant(divide_rounded(i128::from(energy.mwh()) * 3_600_000, i128::from(millis)), 6))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn thousands_are_grouped_and_a_minus_is_a_minus() {
        assert_eq!(fixed(Energy::from_wh(1_234_567_890), 0), "1,234,568");
        assert_eq!(fixed(Energy::from_wh(-999_500), 0), "−1,000");
        assert_eq!(fixed(Money::from_micros(12_345_678), 2), "12.35");
        assert_eq!([0, 7, 1_000, 12_345].map(grouped), ["0", "7", "1,000", "12,345"]);
    }

    #[test]
    fn three_digits_are_kept_where_they_are_significant() {
        assert_eq!(thousands(Co2e::from_mg(9_731_400_000)), "9.73");
        assert_eq!(thousands(Co2e::from_mg(97_314_000_000)), "97.3");
        assert_eq!(thousands(Co2e::from_mg(973_140_000_000)), "973");
        assert_eq!(thousands(Co2e::from_mg(9_731_400_000_000)), "9,731");
        assert_eq!(significant(0, 6), "0");
    }

    #[test]
    fn a_column_has_as_many_decimals_as_its_largest_needs() {
        assert_eq!(places([250_000_000, 10]), 0);
        assert_eq!(places([25_000_000]), 1);
        assert_eq!(places([12_000]), 2);
        assert_eq!(places([]), 0);
    }

    #[test]
    fn shares_and_changes_are_told_in_per_cent() {
        assert_eq!(percent(1, 3).as_deref(), Some("33.3"));
        assert_eq!(percent(5, 0), None);
        assert_eq!([9_999, 10_000].map(|part| percent(part, 10_000)), [Some("99.9".into()), Some("100.0".into())]);
        assert_eq!(change(80, 100).as_deref(), Some("−20.0"));
        assert_eq!(change(103, 100).as_deref(), Some("+3.0"));
        assert_eq!(change(1, 0), None);
    }

    #[test]
    fn shares_of_a_whole_add_up_to_it() {
        assert_eq!(shares(&[1, 1, 1]), ["33.3", "33.3", "33.4"]);
        assert_eq!(shares(&[0, 22]), ["0.0", "100.0"]);
        assert_eq!(shares(&[110, -10]), ["110.0", "−10.0"]);
    }

    #[test]
    fn power_is_energy_over_time() {
        assert_eq!(kilowatts(Energy::from_wh(45_300), 900_000).as_deref(), Some("181"));
        assert_eq!(kilowatts(Energy::from_wh(500), 900_000).as_deref(), Some("2.00"));
    }
}
