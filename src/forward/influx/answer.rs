//! What an answer of the database means for the lines that were sent.

use crate::time::{doubled, spread};
use std::time::Duration;

/// Letters of a server's reason that are kept.
const REASON: usize = 300;
/// The first pause after lines were not taken, in milliseconds; each further one is twice as long.
const FIRST: i64 = 1_000;
/// The longest pause, in milliseconds.
const LONGEST: i64 = 60_000;

/// What an answer means.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Answer {
    /// All lines are kept.
    Taken,
    /// Not now: the same lines are sent again.
    Later(String),
    /// They are too many at once.
    TooMany(String),
    /// At least one of them is refused for good.
    Refused(String),
    /// None will be taken until a person has done something.
    Barred(String),
}

impl Answer {
    /// What a status of HTTP with its text means (<https://docs.influxdata.com/influxdb/v2/write-data/troubleshoot/>). A server that
    /// says how long to wait is not believed: the pauses are our own.
    pub fn of(status: u16, text: &str) -> Self {
        let told = format!("answered {status}{}", reason(text));
        let barred = |help: &str| Self::Barred(format!("{told}: {help}"));
        match status {
            204 => Self::Taken,
            400 | 422 => Self::Refused(told),
            413 => Self::TooMany(told),
            401 => barred(
                "the token is not known there; make one that may write to the bucket, and name it by token_file or token_env",
            ),
            403 => barred("the token may not write to the bucket; give it the right to"),
            404 => barred(
                "the bucket or the organisation is not known there; compare them with [influx], letter by letter",
            ),
            408 | 425 | 429 | 500.. => Self::Later(told),
            200..300 => barred("only 204 says that lines are kept; check that url is that of InfluxDB itself"),
            _ => barred("this is no answer of InfluxDB; check url"),
        }
    }
}

/// The reason of a server in one line: the message of its JSON, or its text.
fn reason(text: &str) -> String {
    let json: Option<serde_json::Value> = serde_json::from_str(text).ok();
    let told = json.as_ref().and_then(|json| json.get("message").or(json.get("error"))).and_then(|told| told.as_str());
    let plain: String =
        told.unwrap_or(text).chars().take(REASON).map(|c| if c.is_control() { ' ' } else { c }).collect();
    match plain.trim() {
        "" => String::new(),
        plain => format!(" ({plain})"),
    }
}

/// The pause after so many attempts in a row; `chance` spreads plants whose database comes back over the second half of it.
pub fn pause(tries: u32, chance: u64) -> Duration {
    Duration::from_millis(spread(doubled(FIRST, LONGEST, tries), chance).unsigned_abs())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_answer_says_what_becomes_of_the_lines() {
        assert_eq!(Answer::of(204, ""), Answer::Taken);
        assert_eq!(
            Answer::of(400, r#"{"code":"invalid","message":"partial write: field type conflict\n"}"#),
            Answer::Refused("answered 400 (partial write: field type conflict)".into())
        );
        assert_eq!(Answer::of(413, "too large"), Answer::TooMany("answered 413 (too large)".into()));
        for status in [408, 429, 500, 502, 503, 504, 599] {
            assert_eq!(Answer::of(status, ""), Answer::Later(format!("answered {status}")));
        }
        for (status, part) in
            [(401, "make one"), (403, "may not write"), (404, "letter by letter"), (200, "204"), (302, "check url")]
        {
            assert!(matches!(Answer::of(status, ""), Answer::Barred(told) if told.contains(part)), "{status}");
        }
    }

    #[test]
    fn a_reason_is_short_and_stands_in_a_line() {
        let told = reason(&format!("a\u{1b}b\n{}", "x".repeat(10_000)));
        assert!(told.len() <= REASON + 3 && !told.contains(char::is_control), "{told}");
    }

    #[test]
    fn pauses_double_up_to_a_minute_and_are_spread_over_half_of_themselves() {
        let least: Vec<u128> = (1..9).map(|tries| pause(tries, 0).as_millis()).collect();
        assert_eq!(least, [500, 1_000, 2_000, 4_000, 8_000, 16_000, 30_000, 30_000]);
        let most: Vec<u128> = (1..9).map(|tries| pause(tries, 999).as_millis()).collect();
        assert!(
            most.iter()
                .zip([1_000, 2_000, 4_000, 8_000, 16_000, 32_000, 60_000, 60_000])
                .all(|(a, b)| *a < b && *a > b * 99 / 100),
            "{most:?}"
        );
    }
}
