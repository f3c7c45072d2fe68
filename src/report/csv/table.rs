//! A table with its metadata.

use serde_json::{Value, json};

/// How the cells of a column are to be read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Words. A cell that a spreadsheet would take for a formula is preceded by an apostrophe.
    Words,
    /// A decimal number with a point.
    Number,
    /// A calendar day.
    Day,
    /// An instant with its offset.
    Instant,
    /// `true` or `false`.
    Flag,
}

/// A column.
#[derive(Clone, Debug)]
pub struct Column {
    name: String,
    kind: Kind,
    unit: String,
    about: &'static str,
}

/// A finished table.
#[derive(Clone, Debug)]
pub struct CsvTable {
    /// Its name without an extension.
    pub name: &'static str,
    /// The file.
    pub bytes: Vec<u8>,
    /// Its metadata after the W3C recommendation CSV on the Web (Metadata Vocabulary for Tabular Data, 2015).
    pub metadata: Vec<u8>,
}

/// A table under construction.
#[derive(Debug)]
pub struct Writer {
    name: &'static str,
    about: &'static str,
    columns: Vec<Column>,
    csv: csv::Writer<Vec<u8>>,
}

/// A column without a unit.
pub fn column(name: &str, kind: Kind, about: &'static str) -> Column {
    measured(name, kind, "", about)
}

/// A column with the unit that its name ends in.
pub fn measured(name: &str, kind: Kind, unit: &str, about: &'static str) -> Column {
    Column { name: name.into(), kind, unit: unit.into(), about }
}

impl Writer {
    /// A table with its header row.
    pub fn new(name: &'static str, about: &'static str, columns: Vec<Column>) -> Self {
        let mut csv = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
        let header: Vec<&str> = columns.iter().map(|c| c.name.as_str()).collect();
        csv.write_record(header).expect("memory takes every row of the same length");
        Self { name, about, columns, csv }
    }

    /// Adds a row: one cell for each column; an empty cell is a value that is not known or does not apply.
    pub fn row<'c>(&mut self, cells: impl IntoIterator<Item = &'c str>) {
        let mut written = 0;
        for (cell, column) in cells.into_iter().zip(&self.columns) {
            let cell = if column.kind == Kind::Words { tame(cell) } else { cell.into() };
            self.csv.write_field(cell.as_bytes()).expect("memory takes every cell");
            written += 1;
        }
        debug_assert_eq!(written, self.columns.len(), "table {}", self.name);
        self.csv.write_record(None::<&[u8]>).expect("memory takes every row of the same length");
    }

    /// The finished table.
    pub fn finish(self) -> CsvTable {
        let metadata = json!({
            "@context": "http://www.w3.org/ns/csvw",
            "url": format!("{}.csv", self.name),
            "dc:title": self.about,
            "dialect": { "encoding": "utf-8", "lineTerminators": ["\r\n"], "header": true },
            "tableSchema": { "columns": self.columns.iter().map(described).collect::<Vec<_>>() },
        });
        let bytes = self.csv.into_inner().expect("memory takes what is left");
        CsvTable { name: self.name, bytes, metadata: format!("{metadata:#}\n").into_bytes() }
    }
}

fn described(column: &Column) -> Value {
    let datatype = match column.kind {
        Kind::Words => "string",
        Kind::Number => "decimal",
        Kind::Day => "date",
        // XML Schema 1.1: a time whose offset must be stated.
        Kind::Instant => "dateTimeStamp",
        Kind::Flag => "boolean",
    };
    let mut value = json!({
        "name": column.name,
        "titles": column.name,
        "datatype": datatype,
        "dc:description": column.about,
    });
    if !column.unit.is_empty() {
        value["schema:unitText"] = json!(column.unit);
    }
    value
}

/// A cell that no spreadsheet takes for a formula: OWASP, "CSV Injection".
pub fn tame(cell: &str) -> std::borrow::Cow<'_, str> {
    match cell.chars().next() {
        Some('=' | '+' | '-' | '@' | '\t' | '\r' | '\n' | '＝' | '＋' | '－' | '＠') => format!("'{cell}").into(),
        _ => cell.into(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cell_that_looks_like_a_formula_is_tamed_and_a_number_below_zero_is_not() {
        let columns = vec![column("job", Kind::Words, ""), column("energy_kwh", Kind::Number, "")];
        let mut table = Writer::new("t", "", columns);
        table.row(["=1+1", "-1.5"]);
        table.row(["a \"b\", c", ""]);
        let text = String::from_utf8(table.finish().bytes).expect("UTF-8");
        assert_eq!(text, "job,energy_kwh\r\n'=1+1,-1.5\r\n\"a \"\"b\"\", c\",\r\n");
    }
}
