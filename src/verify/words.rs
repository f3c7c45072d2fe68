//! Estimates as sentences carry them: rounded to what they can bear. Tables round in the report.

use crate::units::grouped;

/// A number with its thousands grouped, that many decimals and a true minus.
pub fn number(value: f64, places: usize) -> String {
    let text = format!("{:.places$}", value.abs());
    let (whole, fraction) = text.split_once('.').map_or((text.as_str(), None), |(w, f)| (w, Some(f)));
    let whole = whole.parse().map_or_else(|_| whole.to_string(), grouped);
    let sign = if value < 0.0 && text.bytes().any(|b| (b'1'..=b'9').contains(&b)) { "−" } else { "" };
    fraction.map_or_else(|| format!("{sign}{whole}"), |fraction| format!("{sign}{whole}.{fraction}"))
}

/// A share in whole per cent: `62 %`.
pub fn percent(share: f64) -> String {
    format!("{} %", number(share * 100.0, 0))
}

/// Names in a row: `a`, `a and b`, `a, b and c`.
pub fn listed(names: &[String]) -> String {
    match names {
        [] => String::new(),
        [one] => one.clone(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_grouped_and_a_zero_has_no_sign() {
        assert_eq!(number(1_234_567.5, 1), "1,234,567.5");
        assert_eq!(number(-999.6, 0), "−1,000");
        assert_eq!(number(-0.04, 1), "0.0");
        assert_eq!((percent(0.621), percent(-0.05)), ("62 %".into(), "−5 %".into()));
    }
}
