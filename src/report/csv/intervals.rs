//! `intervals.csv`: what each meter showed, interval by interval.

use super::table::{CsvTable, Kind, Writer, column, measured};
use crate::attribute::Usage;
use crate::names::MeterId;
use crate::report::input::MonthInput;
use crate::report::lines::Ledger;
use crate::report::words;
use crate::time::{At, Period, QUARTER};
use std::collections::{BTreeMap, HashMap};

/// One row for each meter and interval: the meter's native one, or a quarter hour for a meter that is read more often.
pub fn table(input: &MonthInput, ledger: &Ledger) -> CsvTable {
    let mut table = Writer::new(
        "intervals",
        "Energy of each meter by its native interval, at least a quarter hour",
        vec![
            column("meter", Kind::Words, "Measuring point"),
            column("start", Kind::Instant, "First instant of the interval"),
            column("end", Kind::Instant, "First instant after it"),
            measured("energy_kwh", Kind::Number, "kWh", "Energy; empty where it is not known"),
            column("how_known", Kind::Words, words::HOW_KNOWN),
            column("how_placed", Kind::Words, words::HOW_PLACED),
        ],
    );
    let native: HashMap<&MeterId, i64> = input.plant.meters.iter().map(|m| (&m.id, m.native.max(QUARTER))).collect();
    let days = input.facts.days.iter().filter(|day| ledger.days.contains(&day.value.date));
    // Each day is sorted by meter and time already.
    let mut usage: BTreeMap<&MeterId, Vec<&Usage>> = BTreeMap::new();
    for of_meter in days.flat_map(|day| day.value.usage.chunk_by(|a, b| a.meter == b.meter)) {
        usage.entry(&of_meter[0].meter).or_default().extend(of_meter);
    }
    let mut stamps: HashMap<At, String> = HashMap::new();
    for row in usage.iter().flat_map(|(meter, usage)| merged(usage, native.get(meter).copied().unwrap_or(QUARTER))) {
        for at in [row.period.start, row.period.end] {
            stamps.entry(at).or_insert_with(|| input.plant.zone.stamp(at));
        }
        let energy = row.energy.map_or_else(String::new, |e| e.to_string());
        table.row([
            row.meter.as_str(),
            &stamps[&row.period.start],
            &stamps[&row.period.end],
            &energy,
            words::amount(row.amount),
            words::placed(row.placed),
        ]);
    }
    table.finish()
}

/// Neighbours within one interval of a meter become one row, unless they are differently known.
fn merged(usage: &[&Usage], step: i64) -> Vec<Usage> {
    let mut rows: Vec<Usage> = Vec::with_capacity(usage.len());
    for next in usage {
        let joins = |last: &&mut Usage| {
            last.period.end == next.period.start
                && last.period.start.floor(step) == next.period.start.floor(step)
                && (last.amount, last.placed) == (next.amount, next.placed)
        };
        match rows.last_mut().filter(joins) {
            Some(last) => {
                last.period = Period::new(last.period.start, next.period.end);
                last.energy = last.energy.zip(next.energy).map(|(a, b)| a + b);
            }
            None => rows.push((*next).clone()),
        }
    }
    rows
}
