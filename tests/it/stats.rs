//! Statistics against certified values, reference libraries and published cases.

mod changepoint;
mod nist;
mod press;
mod robust;

use serde_json::Value;

/// A table of numbers with a heading line.
struct Table {
    heading: Vec<String>,
    rows: Vec<Vec<String>>,
}

impl Table {
    fn of(text: &str) -> Self {
        let cells = |line: &str| line.split(',').map(str::to_owned).collect();
        let mut lines = text.lines();
        Self { heading: cells(lines.next().expect("a heading")), rows: lines.map(cells).collect() }
    }

    fn text(&self, name: &str) -> Vec<&str> {
        let at = self.heading.iter().position(|heading| heading == name).unwrap_or_else(|| panic!("no column {name}"));
        self.rows.iter().map(|row| row[at].as_str()).collect()
    }

    fn column(&self, name: &str) -> Vec<f64> {
        self.text(name).iter().map(|text| text.parse().expect("a number")).collect()
    }
}

/// A number of a reference file, which writes those of many digits as text.
fn number(value: &Value) -> f64 {
    match value {
        Value::String(text) => text.parse().expect("a number"),
        other => other.as_f64().unwrap_or_else(|| panic!("a number, found {other}")),
    }
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().expect("a list").iter().map(number).collect()
}

/// Number of agreeing significant digits: log relative error, or log absolute error where nothing is expected.
fn digits(found: f64, expected: f64) -> f64 {
    let scale = if expected == 0.0 { 1.0 } else { expected.abs() };
    (-((found - expected).abs() / scale).log10()).min(17.0)
}

#[track_caller]
fn assert_digits(found: f64, expected: f64, at_least: f64, what: &str) {
    assert!(digits(found, expected) >= at_least, "{what}: {found:e} for {expected:e}");
}
