//! Tables whose columns have the same names everywhere.

use crate::sources::csv_table::{Column, Form};
use crate::sources::{CsvMapping, CsvRows, Refusal};
use crate::units::Decimal;
use chrono::NaiveDate;

impl CsvMapping {
    /// The mapping of a table of fixed columns, the day in `from`.
    pub(super) fn fixed(name: &str, separator: u8, rows: CsvRows) -> Self {
        Self {
            name: name.into(),
            separator,
            // Where a comma parts numbers, something else parts columns.
            decimal: if separator == b';' { ',' } else { '.' },
            time: "from".into(),
            format: "%Y-%m-%d".into(),
            clock: super::ClockRule::StandardTime,
            rows,
        }
    }
}

/// The columns of a table, found in its header.
#[derive(Clone, Debug)]
pub(super) struct FixedTable {
    names: &'static [&'static str],
    columns: Vec<Option<Column>>,
}

impl FixedTable {
    /// A table of these columns, of which so many of the first are needed.
    pub(super) fn new(names: &'static [&'static str], needed: usize, header: &[&str]) -> Result<Self, Refusal> {
        if let Some(unknown) = header.iter().find(|name| !names.contains(&name.trim())) {
            let expected = format!("columns of these names: {}", names.join(", "));
            return Err(Refusal::new("header", unknown, expected));
        }
        let find = |(k, name): (usize, &&str)| {
            let is_there = k < needed || header.iter().any(|cell| cell.trim() == *name);
            is_there.then(|| Column::find(header, name)).transpose()
        };
        Ok(Self { names, columns: names.iter().enumerate().map(find).collect::<Result<_, _>>()? })
    }

    /// A row of it.
    pub(super) const fn row<'a>(&'a self, form: &'a Form, cells: &'a [&'a str]) -> Row<'a> {
        Row { table: self, form, cells }
    }
}

/// A row of a table of fixed columns.
pub(super) struct Row<'a> {
    table: &'a FixedTable,
    pub(super) form: &'a Form,
    pub(super) cells: &'a [&'a str],
}

impl<'a> Row<'a> {
    pub(super) fn column(&self, name: &str) -> Option<&'a Column> {
        let place = self.table.names.iter().position(|other| *other == name)?;
        self.table.columns[place].as_ref()
    }

    pub(super) fn cell(&self, name: &str) -> &'a str {
        self.column(name).map_or("", |column| column.cell(self.cells))
    }

    pub(super) fn refuse(&self, name: &str, expected: impl Into<String>) -> Refusal {
        Refusal::new(name, self.cell(name), expected)
    }

    pub(super) fn text(&self, name: &str) -> Result<String, Refusal> {
        match self.cell(name) {
            "" => Err(self.refuse(name, "a text")),
            text => Ok(text.to_owned()),
        }
    }

    pub(super) fn day(&self, name: &str) -> Result<Option<NaiveDate>, Refusal> {
        match self.cell(name) {
            "" => Ok(None),
            text => text.parse().map(Some).map_err(|_| self.refuse(name, "a day, written 2026-03-31")),
        }
    }

    /// The first and the last day; `what` says of what.
    pub(super) fn days(&self, what: &str) -> Result<(NaiveDate, NaiveDate), Refusal> {
        let [from, to] = [self.day("from")?, self.day("to")?];
        let from = from.ok_or_else(|| self.refuse("from", format!("the first day of {what}, such as 2026-01-01")))?;
        let to = to.ok_or_else(|| self.refuse("to", format!("the last day of {what}, such as 2026-12-31")))?;
        if to < from {
            return Err(self.refuse("to", format!("a day from {from} on")));
        }
        Ok((from, to))
    }

    /// An exact number; `None` for an empty cell: unknown is not zero.
    pub(super) fn number(&self, name: &str, expected: &str) -> Result<Option<Decimal>, Refusal> {
        let text = self.cell(name);
        if text.is_empty() {
            return Ok(None);
        }
        self.form.exact(text).map(Some).ok_or_else(|| self.refuse(name, self.form.written(expected)))
    }

    /// Unknown is not no.
    pub(super) fn flag(&self, name: &str) -> Result<Option<bool>, Refusal> {
        match self.cell(name) {
            "" => Ok(None),
            "yes" => Ok(Some(true)),
            "no" => Ok(Some(false)),
            _ => Err(self.refuse(name, "yes, no, or nothing where it is not known")),
        }
    }
}
