//! One line of InfluxDB's line protocol, checked before it leaves: whatever a thing is called, a line stays one line, means the same
//! to every server, and a field keeps its type.
//!
//! Source: <https://docs.influxdata.com/influxdb/v2/reference/syntax/line-protocol/>. Measurements and keys are words of this program; only
//! values come from people.

use crate::time::At;
use std::fmt::Write;

/// Letters of a text that are sent; nobody reads more in a database (own judgement).
const LONGEST: usize = 500;
/// The latest instant of InfluxDB on either side of 1970, in milliseconds: an i64 of nanoseconds.
const LATEST: i64 = i64::MAX / 1_000_000;

/// The value of a field. Its variant is its type in the database, where it cannot be changed any more.
#[derive(Clone, Debug, PartialEq)]
pub enum Field<'a> {
    /// A whole number.
    Whole(i64),
    /// A number; one that is none, or not finite, is left out.
    Number(f64),
    /// Yes or no.
    Flag(bool),
    /// A text.
    Text(&'a str),
}

/// A line on its way.
#[derive(Clone, Debug)]
pub struct Line {
    tags: String,
    fields: String,
}

impl Line {
    /// The beginning of a line of a measurement.
    pub fn of(measurement: &'static str) -> Self {
        debug_assert!(is_word(measurement), "{measurement}");
        Self { tags: measurement.into(), fields: String::new() }
    }

    /// Adds a tag; one that says nothing is left out, as servers refuse it.
    pub fn tag(mut self, key: &'static str, value: &str) -> Self {
        debug_assert!(is_word(key), "{key}");
        // A stroke before a comma, an equals sign or a space means something else to each server, so none is sent.
        let value = tame(value).replace('\\', "/");
        let value = value.trim();
        if !value.is_empty() {
            self.tags.extend([",", key, "="]);
            value.chars().for_each(|c| put(&mut self.tags, c, &[',', '=', ' ']));
        }
        self
    }

    /// Adds a field.
    pub fn field(mut self, key: &'static str, value: Field<'_>) -> Self {
        debug_assert!(is_word(key), "{key}");
        if matches!(value, Field::Number(number) if !number.is_finite()) {
            return self;
        }
        let comma = if self.fields.is_empty() { "" } else { "," };
        self.fields.extend([comma, key, "="]);
        // Writing to a string cannot fail.
        let _ = match value {
            Field::Whole(number) => write!(self.fields, "{number}i"),
            Field::Number(number) => write!(self.fields, "{number:?}"),
            Field::Flag(flag) => write!(self.fields, "{flag}"),
            Field::Text(text) => {
                self.fields.push('"');
                tame(text).chars().for_each(|c| put(&mut self.fields, c, &['"', '\\']));
                self.fields.push('"');
                Ok(())
            }
        };
        self
    }

    /// Adds a field where there is a value.
    pub fn maybe(self, key: &'static str, value: Option<Field<'_>>) -> Self {
        match value {
            Some(value) => self.field(key, value),
            None => self,
        }
    }

    /// The line at an instant, in milliseconds and without its end; `None` where no field says anything or the instant is beyond
    /// what the database can hold.
    pub fn at(self, at: At) -> Option<String> {
        let is_held = at.0.unsigned_abs() < LATEST.unsigned_abs();
        (is_held && !self.fields.is_empty()).then(|| format!("{} {} {}", self.tags, self.fields, at.0))
    }
}

fn put(out: &mut String, c: char, escaped: &[char]) {
    if escaped.contains(&c) {
        out.push('\\');
    }
    out.push(c);
}

/// A text of bearable length in one line.
fn tame(text: &str) -> String {
    text.chars().take(LONGEST).map(|c| if c.is_control() { ' ' } else { c }).collect()
}

/// Whether it needs no escape anywhere.
fn is_word(text: &str) -> bool {
    !text.is_empty() && text.bytes().all(|b| b.is_ascii_lowercase() || b == b'_')
}

#[cfg(test)]
mod tests {
    use super::*;
    use influxdb_line_protocol::{FieldValue, parse_lines};
    use proptest::prelude::*;

    /// Texts as people write them, and as nobody should.
    fn text() -> impl Strategy<Value = String> {
        prop_oneof![
            any::<String>(),
            "[ ,=\"\\\\'#\n\r\t\u{0}\u{7f}\u{85}a-c\u{e9}\u{1f4a1}]{0,12}",
            "[a-z]{1,4}\\\\",
            "\\\\{1,5}[,= \"]?",
        ]
    }

    #[test]
    fn a_line_is_written_as_the_reference_writes_it() {
        let line = Line::of("reading")
            .tag("plant", "Hall 1, north")
            .tag("nothing", " \n")
            .field("count", Field::Whole(-3))
            .field("value", Field::Number(0.5))
            .field("none", Field::Number(f64::NAN))
            .field("is_on", Field::Flag(true))
            .field("text", Field::Text("a \"b\" \\"));
        assert_eq!(
            line.at(At(1_776_643_200_000)).expect("a line"),
            "reading,plant=Hall\\ 1\\,\\ north count=-3i,value=0.5,is_on=true,text=\"a \\\"b\\\" \\\\\" 1776643200000"
        );
    }

    #[test]
    fn a_line_that_says_nothing_or_of_another_age_is_none() {
        assert_eq!(Line::of("reading").tag("plant", "a").field("value", Field::Number(f64::INFINITY)).at(At(0)), None);
        let line = Line::of("reading").field("count", Field::Whole(1));
        assert_eq!(line.clone().at(At(i64::MAX)), None);
        assert_eq!(line.clone().at(At(i64::MIN)), None);
        assert!(line.at(At(LATEST - 1)).is_some());
    }

    proptest! {
        /// Read by the parser of InfluxDB IOx (crate influxdb-line-protocol).
        #[test]
        fn whatever_things_are_called_a_line_says_what_was_meant(
            names in prop::collection::vec(text(), 3),
            texts in prop::collection::vec(text(), 2),
            count in any::<i64>(),
            value in any::<f64>(),
            flag in any::<bool>(),
            at in -LATEST + 1..LATEST,
        ) {
            let tags = ["plant", "meter", "quantity"];
            let mut line = Line::of("reading");
            for (key, name) in tags.iter().zip(&names) {
                line = line.tag(key, name);
            }
            let written = line
                .field("count", Field::Whole(count))
                .field("text", Field::Text(&texts[0]))
                .field("value", Field::Number(value))
                .field("is_on", Field::Flag(flag))
                .field("last", Field::Text(&texts[1]))
                .at(At(at))
                .expect("a line");
            prop_assert!(!written.contains(char::is_control));
            let read: Vec<_> = parse_lines(&written).collect::<Result<_, _>>().expect("it is read");
            prop_assert_eq!(read.len(), 1);
            let read = &read[0];
            prop_assert_eq!(read.series.measurement.as_str(), "reading");
            prop_assert_eq!(read.timestamp, Some(at));
            for (key, name) in tags.iter().zip(&names) {
                let meant = plain(name).replace('\\', "/").trim().to_owned();
                prop_assert_eq!(read.tag_value(key).map_or("", |value| value.as_str()), meant);
            }
            prop_assert_eq!(read.field_value("count"), Some(&FieldValue::I64(count)));
            prop_assert_eq!(read.field_value("is_on"), Some(&FieldValue::Boolean(flag)));
            for (key, text) in ["text", "last"].iter().zip(&texts) {
                let Some(FieldValue::String(found)) = read.field_value(key) else { panic!("{key} in {written}") };
                prop_assert_eq!(found.as_str(), plain(text));
            }
            match read.field_value("value") {
                Some(FieldValue::F64(found)) => prop_assert_eq!(*found, value),
                found => prop_assert!(!value.is_finite() && found.is_none()),
            }
        }
    }

    fn plain(text: &str) -> String {
        text.chars().take(500).map(|c| if c.is_control() { ' ' } else { c }).collect()
    }
}
