//! CSV files of every kind of table: the first byte chooses the mapping.

#![no_main]

use inkwatt::acquire::files::read_csv;
use inkwatt::plant::{Plant, Ratio};
use inkwatt::readings::{Quantity, Series, Subject};
use inkwatt::sources::{ClockRule, CsvColumn, CsvMapping, CsvRows, JobColumns, Stamp};
use inkwatt::time::{At, QUARTER};
use libfuzzer_sys::fuzz_target;
use std::sync::LazyLock;

#[path = "../example.rs"]
mod example;

const NOW: At = At(1_830_000_000_000);
static PLANT: LazyLock<Plant> = LazyLock::new(|| example::configuration().plant);

fuzz_target!(|bytes: &[u8]| {
    let [kind, form, file @ ..] = bytes else { return };
    let mapping = mapping(*kind, *form);
    if let Ok(lines) = read_csv(file, &mapping, &PLANT, NOW) {
        for line in lines {
            if let Err(refusal) = line.expect("a slice can be read").says {
                let _ = refusal.to_string();
            }
        }
    }
});

fn mapping(kind: u8, form: u8) -> CsvMapping {
    let clock = match form & 3 {
        0 => ClockRule::InOrder,
        1 => ClockRule::StandardTime,
        2 => ClockRule::UtcOffset(330),
        _ => ClockRule::Stated,
    };
    let comma = form & 4 != 0;
    let format = if clock == ClockRule::Stated { "%Y-%m-%dT%H:%M:%S%z" } else { "%Y-%m-%d %H:%M" };
    let stamp = [Stamp::Start, Stamp::End, Stamp::EndOldDate][usize::from(form >> 4) % 3];
    let (time, rows) = match kind {
        b'b' => ("from", CsvRows::Bills),
        b'i' => ("from", CsvRows::Instruments),
        b'j' => ("start", jobs()),
        b'q' => ("time", readings(Quantity::IntervalEnergy, Some((QUARTER, stamp)))),
        _ => ("time", readings(Quantity::Import, None)),
    };
    CsvMapping {
        name: "table".into(),
        separator: if comma { b';' } else { b',' },
        decimal: if comma { ',' } else { '.' },
        time: time.into(),
        format: format.into(),
        clock,
        rows,
    }
}

fn readings(quantity: Quantity, interval: Option<(i64, Stamp)>) -> CsvRows {
    let series = Series::new(Subject::Meter("m1".into()), quantity);
    let column = CsvColumn { column: "kWh".into(), series, factor: Ratio { num: 1_000_000, den: 3 } };
    CsvRows::Readings { columns: vec![column], interval }
}

fn jobs() -> CsvRows {
    let named = |name: &str| Some(name.to_owned());
    let columns = JobColumns {
        press: named("press"),
        job: "job".into(),
        id: named("id"),
        product: named("product"),
        ready: named("ready"),
        end: named("end"),
        width: named("width"),
        planned: named("planned"),
        good: named("good"),
    };
    CsvRows::Jobs { press: None, columns: Box::new(columns), length_mm: Ratio { num: 1_524, den: 5 } }
}
