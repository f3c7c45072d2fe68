//! Values and times as texts: numbers by their factor, words of lamp signals by their code.

use crate::plant::{LampKind, Ratio};
use crate::readings::Quantity;
use crate::sources::Number;
use crate::time::At;

/// States of a lamp in the order of their codes (see [`Quantity::LampState`]).
const STATES: [&str; 4] = ["off", "warming-up", "standby", "curing"];

/// What was expected in place of a text.
pub type Expected = String;

/// The count of a value: a number times its factor, or the code of a lamp's kind or state.
///
/// # Errors
/// What was expected instead.
pub fn count(quantity: Quantity, text: &str, factor: Ratio) -> Result<i64, Expected> {
    let text = text.trim();
    match quantity {
        Quantity::LampKind => code(text, kind_code(text), 2, "arc, led or none"),
        Quantity::LampState => code(text, state_code(text), 3, "off, warming-up, standby or curing"),
        _ => {
            let number = Number::parse(text).ok_or_else(|| "a decimal number".to_owned())?;
            number_count(number, factor)
        }
    }
}

/// The count of a number.
///
/// # Errors
/// What was expected instead.
pub fn number_count(number: Number, factor: Ratio) -> Result<i64, Expected> {
    number.count(factor).ok_or_else(|| "a number whose count fits 64 bits".to_owned())
}

/// The code of a word, or the word's code itself.
fn code(text: &str, word: Option<i64>, most: i64, words: &str) -> Result<i64, Expected> {
    let number = || Number::parse(text).and_then(|n| n.count(Ratio::ONE)).filter(|n| (0..=most).contains(n));
    word.or_else(number).ok_or_else(|| format!("{words}, or its code from 0 to {most}"))
}

fn kind_code(word: &str) -> Option<i64> {
    match LampKind::parse(word) {
        Some(LampKind::Arc) => Some(1),
        Some(LampKind::Led) => Some(2),
        None => (word == "none").then_some(0),
    }
}

fn state_code(word: &str) -> Option<i64> {
    STATES.iter().position(|state| *state == word).map(|code| code as i64)
}

/// Instants before this one are not taken for measured ones: 2000-01-01.
const EARLIEST: At = At(946_684_800_000);
/// How far a sender's clock may run ahead, in milliseconds: a day, so that only what is plainly wrong is refused.
const AHEAD: i64 = 24 * 3_600_000;

/// The instant that a text states: RFC 3339, or milliseconds since 1970.
///
/// # Errors
/// What was expected instead.
pub fn instant(text: &str, arrived: At) -> Result<At, Expected> {
    let millis = || Number::parse(text.trim()).and_then(|n| n.count(Ratio::ONE)).map(At);
    let at = At::parse(text.trim()).or_else(millis);
    plausible(at.ok_or("a time as RFC 3339 or in milliseconds since 1970")?, arrived)
}

/// An instant that a measurement may have.
///
/// # Errors
/// What was expected instead.
pub fn plausible(at: At, arrived: At) -> Result<At, Expected> {
    match at {
        _ if at < EARLIEST => Err("a time after the year 2000; a number counts milliseconds, not seconds".to_owned()),
        _ if at - arrived > AHEAD => Err(format!("a time at most a day after {arrived}")),
        _ => Ok(at),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const NOON: At = At(1_771_416_000_000);

    #[test]
    fn lamp_signals_are_words_or_codes() {
        let code = |quantity, text| count(quantity, text, Ratio::ONE);
        assert_eq!(["none", "arc", "led", "1"].map(|t| code(Quantity::LampKind, t)), [Ok(0), Ok(1), Ok(2), Ok(1)]);
        assert_eq!(["off", "curing", "2"].map(|t| code(Quantity::LampState, t)), [Ok(0), Ok(3), Ok(2)]);
        assert_eq!(code(Quantity::LampKind, "uv"), Err("arc, led or none, or its code from 0 to 2".into()));
        let states = "off, warming-up, standby or curing, or its code from 0 to 3";
        assert_eq!(code(Quantity::LampState, "4"), Err(states.into()));
        assert_eq!(code(Quantity::Speed, "on"), Err("a decimal number".into()));
    }

    #[test]
    fn times_are_read_in_both_forms() {
        assert_eq!(instant("2026-02-18T13:00:00+01:00", NOON), Ok(NOON));
        assert_eq!(instant("1771416000000", NOON), Ok(NOON));
        assert_eq!(instant("12:00", NOON), Err("a time as RFC 3339 or in milliseconds since 1970".into()));
    }

    #[test]
    fn seconds_are_not_taken_for_milliseconds() {
        let told = "a time after the year 2000; a number counts milliseconds, not seconds";
        assert_eq!(instant("1771416000", NOON), Err(told.into()));
        let told = "a time at most a day after 2026-02-18T12:00:00Z";
        assert_eq!(instant("2027-01-01T00:00:00Z", NOON), Err(told.into()));
    }
}
