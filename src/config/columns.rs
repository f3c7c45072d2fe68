//! How CSV files are read.

use super::counts::Counts;
use super::known::Known;
use super::legal;
use super::mqtt::meter_quantity;
use super::section::Section;
use super::value::Value;
use crate::names::{MeterId, PressId};
use crate::plant::Ratio;
use crate::readings::{Kind, Quantity, Series, Subject};
use crate::sources::{ClockRule, CsvColumn, CsvMapping, CsvRows, JobColumns, Stamp};
use chrono::format::{Item, StrftimeItems};

/// The temperature outside.
const OUTSIDE: Series = Series::new(Subject::Site, Quantity::Temperature);
const CSV: [&str; 8] = ["name", "separator", "decimal", "time", "format", "clock", "readings", "jobs"];
const READINGS: [&str; 3] = ["interval", "stamped", "columns"];
const COLUMN: [&str; 5] = ["column", "meter", "press", "is", "unit"];
const JOBS: [&str; 3] = ["press", "length_unit", "columns"];
const JOB_COLUMNS: [&str; 9] = ["press", "job", "id", "product", "ready", "end", "width_mm", "planned", "good"];

/// The mappings, in the order of the file.
pub fn read(root: &Section<'_>, known: &Known, counts: Counts<'_, '_>) -> Option<Vec<CsvMapping>> {
    let sections = root.each("csv", "csv", "name", &CSV);
    for (k, section) in sections.iter().enumerate() {
        let same = |other: &&Section<'_>| other.label("name").is_some() && other.label("name") == section.label("name");
        if let Some(other) = sections[..k].iter().find(same) {
            section.say("name", &format!("the name is taken by the mapping on line {}", other.line()));
        }
    }
    let read: Vec<Option<CsvMapping>> = sections.iter().map(|section| mapping(section, known, counts)).collect();
    read.into_iter().collect()
}

fn mapping(section: &Section<'_>, known: &Known, counts: Counts<'_, '_>) -> Option<CsvMapping> {
    let name = section.need("name").and_then(|v| v.name());
    let separator = section.get("separator").map_or(Some(','), |v| separator(&v));
    let decimal = section.get("decimal").map_or(Some('.'), |v| v.one_of(&[(".", '.'), (",", ',')]));
    let time = section.need("time").and_then(|v| v.text());
    let format = section.need("format").and_then(|v| format(&v));
    let clock = section.need("clock").and_then(|v| clock(&v));
    let rows = match (section.get("readings"), section.get("jobs")) {
        (Some(v), None) => v.section(&READINGS).and_then(|s| readings(&s, known, counts)),
        (None, Some(v)) => v.section(&JOBS).and_then(|s| jobs(&s, known)),
        _ => {
            section.say("name", "one of [csv.readings] and [csv.jobs] must say what the rows are");
            None
        }
    };
    if separator.is_some() && separator == decimal {
        section.say_help(
            "separator",
            "separator and decimal are the same sign",
            "files with a decimal comma mostly part their columns with \";\"",
        );
    }
    if clock == Some(ClockRule::Stated)
        && format.is_some_and(|format| !format.contains("%z") && !format.contains("%:z"))
    {
        section.say_help(
            "clock",
            "clock is \"stated\", but format has no %z for the offset",
            "add %z, or say how the clock runs",
        );
    }
    Some(CsvMapping {
        name: name?.into(),
        separator: separator? as u8,
        decimal: decimal?,
        time: time?.into(),
        format: format?.into(),
        clock: clock?,
        rows: rows?,
    })
}

fn separator(value: &Value<'_>) -> Option<char> {
    value.one_of(&[(",", ','), (";", ';'), ("\t", '\t'), ("|", '|')])
}

/// A format of chrono.
fn format<'a>(value: &Value<'a>) -> Option<&'a str> {
    let text = value.text()?;
    let sound = StrftimeItems::new(text).all(|item| item != Item::Error);
    if sound { Some(text) } else { value.wrong("a format of the time, such as \"%d/%m/%Y %H:%M\"") }
}

fn clock(value: &Value<'_>) -> Option<ClockRule> {
    if let Some(offset) = value.text()?.strip_prefix("utc") {
        return offset_minutes(offset)
            .map(ClockRule::UtcOffset)
            .or_else(|| value.wrong("an offset such as \"utc+01:00\""));
    }
    value.one_of(&[
        ("stated", ClockRule::Stated),
        ("standard-time", ClockRule::StandardTime),
        ("in-order", ClockRule::InOrder),
    ])
}

/// Minutes east of UTC of `+01:00`; none of an empty text.
fn offset_minutes(text: &str) -> Option<i32> {
    if text.is_empty() {
        return Some(0);
    }
    let (sign, rest) = match text.split_at_checked(1)? {
        ("+", rest) => (1, rest),
        ("-", rest) => (-1, rest),
        _ => return None,
    };
    let (hours, minutes) = rest.split_once(':')?;
    let (hours, minutes): (i32, i32) = (hours.parse().ok()?, minutes.parse().ok()?);
    ((0..=14).contains(&hours) && (0..60).contains(&minutes)).then_some(sign * (hours * 60 + minutes))
}

fn readings(section: &Section<'_>, known: &Known, counts: Counts<'_, '_>) -> Option<CsvRows> {
    let entries = section.need("columns").map(|v| v.list()).unwrap_or_default();
    let columns: Vec<Option<CsvColumn>> =
        entries.iter().map(|v| v.section(&COLUMN).and_then(|s| column(&s, known, counts))).collect();
    let interval = section.get("interval").map(|v| v.duration(legal::INTERVAL));
    let stamps = [("start", Stamp::Start), ("end", Stamp::End), ("end-old-date", Stamp::EndOldDate)];
    let stamped = section.get("stamped").map(|v| v.one_of(&stamps));
    let columns: Vec<CsvColumn> = columns.into_iter().collect::<Option<_>>()?;
    let any_interval = columns.iter().any(|column| column.series.quantity.kind() == Kind::Interval);
    let interval = match (interval, stamped) {
        (Some(interval), Some(stamped)) => Some((interval?, stamped?)),
        (None, None) if !any_interval => None,
        _ => {
            section.say(
                "columns",
                "values of intervals need both interval (how long) and stamped (which instant is written)",
            );
            return None;
        }
    };
    Some(CsvRows::Readings { columns, interval })
}

/// A column: a quantity of a meter, what a press ran in an interval, or the temperature outside, which is the site's.
fn column(section: &Section<'_>, known: &Known, counts: Counts<'_, '_>) -> Option<CsvColumn> {
    let column = section.need("column").and_then(|v| v.text());
    let is = section.need("is");
    let outside = is.as_ref().is_some_and(|v| v.text() == Some("temperature")) && section.get("meter").is_none();
    if outside {
        let factor = section.need("unit").and_then(|v| v.unit(Quantity::Temperature))?;
        return Some(CsvColumn { column: column?.into(), series: OUTSIDE, factor });
    }
    if let Some(press) = section.get("press") {
        return of_press(section, column?, &press, &is?, known);
    }
    let at = section.need("meter");
    let meter = at.as_ref().and_then(|v| v.known("meter", &known.meters)).map(MeterId::from);
    let quantity = is.and_then(|v| meter_quantity(&v));
    let unit = section.need("unit").zip(quantity).and_then(|(v, quantity)| v.unit(quantity));
    let (meter, quantity) = (meter?, quantity?);
    let factor = counts.of_meter(unit?, quantity, &meter, &at?)?;
    Some(CsvColumn { column: column?.into(), series: Series::new(Subject::Meter(meter), quantity), factor })
}

/// A column of a press: what it ran in each interval, as daily reports state it.
fn of_press(
    section: &Section<'_>,
    column: &str,
    press: &Value<'_>,
    is: &Value<'_>,
    known: &Known,
) -> Option<CsvColumn> {
    let press = press.known("press", &known.presses).map(PressId::from);
    let quantities = [("interval-length", Quantity::IntervalLength), ("interval-running", Quantity::IntervalRunning)];
    let quantity = is.one_of(&quantities);
    if section.get("meter").is_some() {
        section.say("meter", "a column is of a meter or of a press, not of both");
        return None;
    }
    let unit = section.need("unit").zip(quantity).and_then(|(v, quantity)| v.unit(quantity));
    let series = Series::new(Subject::Press(press?), quantity?);
    Some(CsvColumn { column: column.into(), series, factor: unit? })
}

fn jobs(section: &Section<'_>, known: &Known) -> Option<CsvRows> {
    let press = match section.get("press") {
        Some(v) => v.known("press", &known.presses).map(|press| Some(PressId::from(press))),
        None => Some(None),
    };
    let length_mm = section.get("length_unit").map_or(Some(Ratio { num: 1_000, den: 1 }), |v| {
        // A foot is 304.8 mm exactly.
        v.one_of(&[("m", Ratio { num: 1_000, den: 1 }), ("ft", Ratio { num: 1_524, den: 5 }), ("mm", Ratio::ONE)])
    });
    let table = section.need("columns").and_then(|v| v.section(&JOB_COLUMNS));
    let (press, table) = (press?, table?);
    let job = table.need("job").and_then(|v| v.text());
    let columns = JobColumns {
        press: table.label("press"),
        job: job?.into(),
        id: table.label("id"),
        product: table.label("product"),
        ready: table.label("ready"),
        end: table.label("end"),
        width: table.label("width_mm"),
        planned: table.label("planned"),
        good: table.label("good"),
    };
    if press.is_some() == columns.press.is_some() {
        section.say("columns", "one of press (for every row) and columns.press (a column) must say which press it is");
    }
    Some(CsvRows::Jobs { press, columns: Box::new(columns), length_mm: length_mm? })
}
