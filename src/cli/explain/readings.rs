//! The readings behind slices, as raw counts and what they mean.

use crate::agent::{self, Behind, Books, BooksError};
use crate::attribute::{energy_of, milliwatts};
use crate::plant::Device;
use crate::readings::{Kind, Quantity, Reading, Subject};
use crate::report::origin::Origin;
use crate::time::Period;
use crate::units::{decimal, fixed};
use serde::Serialize;

/// As many readings of a series as are told, at the beginning and at the end of the period each.
const TOLD: usize = 2;

/// The readings of a series behind a period.
#[derive(Debug, Serialize)]
pub struct Reads {
    /// Of what.
    pub series: String,
    /// The device that counted, with what a count of it is worth; `None` of a signal.
    pub device: Option<String>,
    /// How many readings lie within the period.
    pub within: usize,
    /// What a register of energy rose by over the period; `None` of anything else, and where another device came between.
    pub rose: Option<Rose>,
    /// The first and the last of them, with the nearest outside.
    pub told: Vec<Read>,
}

/// What a register rose by.
#[derive(Debug, Serialize)]
pub struct Rose {
    /// The last reading before or at the beginning of the period.
    pub from: String,
    /// The first at or after its end.
    pub to: String,
    /// Their difference in kWh.
    pub kwh: String,
}

/// A reading.
#[derive(Debug, Serialize)]
pub struct Read {
    /// When, with the plant's offset, to the second.
    pub at: String,
    /// The raw count.
    pub count: i64,
    /// What it means, with its unit.
    pub value: String,
    /// Who corrected it by hand, and why.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub corrected: Option<String>,
}

/// The readings behind the slices of a figure; none where no period is asked for. Of a day the meters', of an instant also the
/// signals of its press and station.
pub fn behind(books: &Books, origin: &Origin, period: Option<Period>) -> Result<Vec<Reads>, BooksError> {
    let Some(period) = period else { return Ok(Vec::new()) };
    let plant = books.plant();
    let mut subjects: Vec<Subject> = Vec::new();
    for slice in &origin.slices {
        subjects.push(Subject::Meter(slice.meter.as_str().into()));
        if period.millis() < crate::time::HOUR {
            subjects.extend((!slice.press.is_empty()).then(|| Subject::Press(slice.press.as_str().into())));
            let station = plant.presses.iter().filter(|press| press.id.as_str() == slice.press);
            let station = station.flat_map(|press| &press.stations).find(|station| station.id.short() == slice.station);
            subjects.extend(station.map(|station| Subject::Station(station.id.clone())));
        }
    }
    subjects.sort();
    subjects.dedup();
    let found = agent::behind(books, &subjects, period)?;
    Ok(found.iter().map(|behind| reads(books, behind, period)).collect())
}

fn reads(books: &Books, behind: &Behind, period: Period) -> Reads {
    let (series, readings) = (&behind.series, &behind.readings);
    let meter = match &series.subject {
        Subject::Meter(id) => books.plant().meter(id),
        _ => None,
    };
    let at = |reading: &Reading| meter.and_then(|meter| meter.device.at(reading.at));
    let energy = |reading: &Reading| energy_of(at(reading)?, reading.count);
    let from = readings.iter().rfind(|reading| reading.at <= period.start);
    let to = readings.iter().find(|reading| reading.at >= period.end);
    let is_register = matches!(series.quantity, Quantity::Import | Quantity::Export);
    let rose = from.zip(to).filter(|(from, to)| is_register && at(from) == at(to)).and_then(|(from, to)| {
        let stamp = |reading: &Reading| books.plant().zone.stamp(reading.at);
        Some(Rose { from: stamp(from), to: stamp(to), kwh: (energy(to)? - energy(from)?).to_string() })
    });
    let read = |reading: &Reading| Read {
        at: books.plant().zone.stamp(reading.at),
        count: reading.count,
        value: value(series.quantity, at(reading), reading.count),
        corrected: behind.corrected.iter().find(|(other, _)| other == reading).map(|(_, note)| note.clone()),
    };
    Reads {
        series: series.to_string(),
        device: readings.first().and_then(at).map(|device| worth(device, series.quantity)),
        within: readings.iter().filter(|reading| period.contains(reading.at)).count(),
        rose,
        told: ends(readings).map(read).collect(),
    }
}

/// The first few and the last few.
fn ends(readings: &[Reading]) -> impl Iterator<Item = &Reading> {
    let head = readings.len().min(TOLD);
    let tail = readings.len().saturating_sub(TOLD).max(head);
    readings[..head].iter().chain(&readings[tail..])
}

/// What a count of a device is worth.
fn worth(device: &Device, quantity: Quantity) -> String {
    let (ratio, unit) = match quantity.kind() {
        Kind::Gauge => (device.mw_per_count.times(device.transformers), "mW"),
        _ => (device.mwh_per_count.times(device.transformers), "mWh"),
    };
    let divided = if ratio.den == 1 { String::new() } else { format!(" / {}", ratio.den) };
    format!("device {}, a count is {}{divided} {unit}, transformers included", device.serial, ratio.num)
}

/// What a count means, in the unit of its quantity.
fn value(quantity: Quantity, device: Option<&Device>, count: i64) -> String {
    let (unit, per, places) = quantity.unit();
    let shown = match (quantity, device) {
        (Quantity::LampState, _) => word(&["off", "warming-up", "standby", "curing"], count),
        (Quantity::LampKind, _) => word(&["none", "arc", "led"], count),
        (Quantity::Power | Quantity::PowerPhase(_), Some(device)) => {
            milliwatts(device, count).map(|mw| fixed(mw, 6, 3)).unwrap_or_default()
        }
        (_, Some(device)) if unit == "kWh" => {
            energy_of(device, count).map(|energy| energy.to_string()).unwrap_or_default()
        }
        _ => {
            let exact = i128::from(count) * 1_000_000 / i128::from(per);
            i64::try_from(exact).map_or_else(
                |_| count.to_string(),
                |exact| match places {
                    0 => count.to_string(),
                    places => fixed(exact.into(), 6, places as u32),
                },
            )
        }
    };
    let shown = if shown.is_empty() { decimal(count, 0) } else { shown };
    format!("{shown} {unit}").trim_end().to_owned()
}

/// What a count stands for; empty where it is none of those.
fn word(words: &[&str], count: i64) -> String {
    usize::try_from(count).ok().and_then(|place| words.get(place)).map_or_else(String::new, ToString::to_string)
}
