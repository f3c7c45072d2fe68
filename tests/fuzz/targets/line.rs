//! Lines for InfluxDB with names and texts of any kind: what is written is one line, and another's parser reads it.

#![no_main]

use influxdb_line_protocol::{FieldValue, parse_lines};
use inkwatt::forward::influx::{Field, Line};
use inkwatt::time::At;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|given: (&str, &str, &str, i64, f64, i64)| {
    let (plant, meter, text, count, value, at) = given;
    let line = Line::of("reading").tag("plant", plant).tag("meter", meter);
    let line = line.field("text", Field::Text(text)).field("value", Field::Number(value));
    let Some(written) = line.field("count", Field::Whole(count)).at(At(at)) else { return };
    assert!(!written.contains(char::is_control), "{written:?}");
    let read: Vec<_> = parse_lines(&written).collect::<Result<_, _>>().expect("it is read");
    let [read] = &read[..] else { panic!("{} lines of {written:?}", read.len()) };
    assert_eq!(read.series.measurement.as_str(), "reading");
    assert_eq!(read.timestamp, Some(at));
    let plain =
        |text: &str| -> String { text.chars().take(500).map(|c| if c.is_control() { ' ' } else { c }).collect() };
    for (key, name) in [("plant", plant), ("meter", meter)] {
        let meant = plain(name).replace('\\', "/").trim().to_owned();
        assert_eq!(read.tag_value(key).map_or("", |value| value.as_str()), meant, "{written:?}");
    }
    let Some(FieldValue::String(found)) = read.field_value("text") else { panic!("no text in {written:?}") };
    assert_eq!(found.as_str(), plain(text));
    assert_eq!(read.field_value("count"), Some(&FieldValue::I64(count)));
    match read.field_value("value") {
        Some(FieldValue::F64(found)) => assert_eq!(*found, value),
        found => assert!(!value.is_finite() && found.is_none()),
    }
});
