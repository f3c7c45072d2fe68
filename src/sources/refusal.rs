//! A message or a line that is not taken, in words for the person who set it up.

use std::fmt;

/// Why something was not taken.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Refusal {
    /// Where: a topic, or a column.
    pub place: String,
    /// What stood there.
    pub found: String,
    /// What should stand there.
    pub expected: String,
}

impl Refusal {
    /// Builds a refusal; `found` is quoted and shortened.
    pub fn new(place: &str, found: &str, expected: impl Into<String>) -> Self {
        Self { place: place.to_owned(), found: quoted(found), expected: expected.into() }
    }

    /// Builds a refusal whose `found` is said in our own words, such as `1 cell`.
    pub fn told(place: &str, found: impl Into<String>, expected: impl Into<String>) -> Self {
        Self { place: place.to_owned(), found: found.into(), expected: expected.into() }
    }
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: found {}, expected {}", self.place, self.found, self.expected)
    }
}

/// A text in quotation marks with its control characters escaped, cut where it is long: it comes from outside and
/// goes into logs.
fn quoted(text: &str) -> String {
    const SHOWN: usize = 60;
    match text.char_indices().nth(SHOWN) {
        None => format!("{text:?}"),
        Some((end, _)) => format!("{:?} and more ({} bytes)", &text[..end], text.len()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_refusal_names_place_found_and_expected() {
        let refusal = Refusal::new("hall/p1/power", "12,5\n", "a decimal number");
        assert_eq!(refusal.to_string(), r#"hall/p1/power: found "12,5\n", expected a decimal number"#);
    }

    #[test]
    fn long_finds_are_cut() {
        let refusal = Refusal::new("t", &"é".repeat(100), "less");
        assert_eq!(refusal.found, format!("\"{}\" and more (200 bytes)", "é".repeat(60)));
    }
}
