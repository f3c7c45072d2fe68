//! Estimates as the page prints them: a value with half of its interval at 90 %.

use crate::report::number::{UNKNOWN, fixed};
use crate::units::{Energy, Money};
use crate::verify::{Confidence, Estimate, Whole};

/// A number with that many decimals, its thousands grouped and a true minus.
pub fn plain(value: f64, places: u32) -> String {
    // A count of millionths prints any number up to nine million millions.
    if value.is_finite() { fixed(Energy::nearest(value), places) } else { UNKNOWN.into() }
}

/// The same with its sign, as a change has it.
pub fn signed(value: f64, places: u32) -> String {
    let text = plain(value, places);
    if value > 0.0 && text.bytes().any(|b| (b'1'..=b'9').contains(&b)) { format!("+{text}") } else { text }
}

/// Value and half-width at 90 %: `12,345 ± 678`.
pub fn with_half(estimate: Estimate, places: u32) -> String {
    format!("{} ± {}", plain(estimate.value, places), plain(estimate.half_width(Confidence::P90), places))
}

/// A share in per cent with its half-width: `91 ± 5`.
pub fn rate(estimate: Option<Estimate>) -> String {
    estimate.map_or(UNKNOWN.into(), |rate| with_half(rate.times(100.0), 0))
}

/// A text as a sentence or a head begins.
pub fn capitalised(text: &str) -> String {
    let first: String = text.chars().take(1).flat_map(char::to_uppercase).collect();
    first + text.char_indices().nth(1).map_or("", |(second, _)| &text[second..])
}

/// Money with two decimals, or a dash.
pub fn money(money: Option<Money>, places: u32) -> String {
    money.map_or(UNKNOWN.into(), |money| fixed(money, places))
}

/// Years with one decimal, or that there is none.
pub fn years(years: Option<f64>, none: &str) -> String {
    years.map_or(none.into(), |years| plain(years, 1))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_change_carries_its_sign_and_nothing_carries_none() {
        assert_eq!([1_234.4, -1_234.5, 0.2, f64::INFINITY].map(|v| signed(v, 0)), ["+1,234", "−1,235", "0", UNKNOWN]);
    }

    /// Two-sided 90 %, normal: 1.6449 standard errors.
    #[test]
    fn an_estimate_is_printed_with_half_of_its_interval() {
        let estimate = Estimate { value: 0.914, se: 0.03, df: f64::INFINITY };
        assert_eq!((rate(Some(estimate)), rate(None)), ("91 ± 5".into(), UNKNOWN.into()));
    }
}
