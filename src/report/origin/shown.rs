//! A figure as the page and the tables of a month show it, found by its id.

use crate::report::csv::table::CsvTable;
use crate::report::month::MonthView;
use serde::Serialize;
use serde_json::Value;
use std::collections::BTreeSet;

/// A figure where it is shown.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub struct Shown {
    /// `report.html`, or the name of a table.
    pub file: String,
    /// The figure there with its unit; of a row of a table every number in it, with its column.
    pub text: String,
}

/// Where a figure of a month is shown, each place once.
pub fn of(view: &MonthView, id: &str) -> Vec<Shown> {
    on(("report.html", &laid_out(view)), &view.tables, id)
}

/// Where a figure is shown on a page, given by its name and what it is laid out from, and in its tables; each place once.
pub fn on((name, page): (&str, &Value), tables: &[CsvTable], id: &str) -> Vec<Shown> {
    let mut shown: Vec<Shown> = Vec::new();
    let mut add = |file: String, text: String| {
        let one = Shown { file, text };
        if !shown.contains(&one) {
            shown.push(one);
        }
    };
    every(page, &mut |other, text, unit| {
        if other == id {
            add(name.into(), format!("{text} {unit}").trim_end().to_owned());
        }
    });
    for table in tables {
        let mut reader = csv::Reader::from_reader(table.bytes.as_slice());
        let columns = reader.headers().cloned().unwrap_or_default();
        let Some(place) = columns.iter().position(|column| column == "id") else { continue };
        for row in reader.records().flatten().filter(|row| row.get(place) == Some(id)) {
            let is_number = |(_, cell): &(&str, &str)| cell.parse::<f64>().is_ok();
            let cells = columns.iter().zip(row.iter()).filter(is_number);
            let cells: Vec<String> = cells.map(|(column, cell)| format!("{column} {cell}")).collect();
            add(format!("{}.csv", table.name), cells.join(", "));
        }
    }
    shown
}

/// A cell of the row of a table that has an id; `None` where it is empty.
pub fn cell(view: &MonthView, table: &str, id: &str, column: &str) -> Option<String> {
    let table = view.tables.iter().find(|other| other.name == table)?;
    let mut reader = csv::Reader::from_reader(table.bytes.as_slice());
    let columns = reader.headers().ok()?.clone();
    let place = |name: &str| columns.iter().position(|column| column == name);
    let (of_id, wanted) = (place("id")?, place(column)?);
    let row = reader.records().flatten().find(|row| row.get(of_id) == Some(id))?;
    row.get(wanted).filter(|cell| !cell.is_empty()).map(str::to_owned)
}

/// Every id on the page and in the tables of a month.
pub fn ids(view: &MonthView) -> BTreeSet<String> {
    ids_on(&laid_out(view), &view.tables)
}

/// Every id on a page, given by what it is laid out from, and in its tables.
pub fn ids_on(page: &Value, tables: &[CsvTable]) -> BTreeSet<String> {
    let mut all = BTreeSet::new();
    every(page, &mut |id, _, _| {
        all.insert(id.to_owned());
    });
    for table in tables {
        let mut reader = csv::Reader::from_reader(table.bytes.as_slice());
        let place = reader.headers().ok().and_then(|columns| columns.iter().position(|column| column == "id"));
        let cells = |row: csv::StringRecord| row.get(place?).map(str::to_owned);
        all.extend(reader.records().flatten().filter_map(cells));
    }
    all
}

/// What a page is laid out from.
pub fn laid_out(view: &impl Serialize) -> Value {
    serde_json::to_value(view).unwrap_or_default()
}

/// Hands on every figure with an id below a value: its id, text and unit.
fn every(value: &Value, of: &mut dyn FnMut(&str, &str, &str)) {
    match value {
        Value::Array(values) => values.iter().for_each(|value| every(value, of)),
        Value::Object(fields) => {
            let text = |name: &str| fields.get(name).and_then(Value::as_str);
            if let (Some(id), Some(shown), Some(unit)) = (text("id"), text("text"), text("unit"))
                && !id.is_empty()
            {
                of(id, shown, unit);
            }
            fields.values().for_each(|value| every(value, of));
        }
        _ => {}
    }
}
