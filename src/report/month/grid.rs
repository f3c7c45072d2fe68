//! Tables of the page: quantities go in, and columns of one unit get one number of decimals.

use crate::report::number::{Figure, Millionths, UNKNOWN, fixed, places};
use serde::Serialize;

/// A table ready to print.
#[derive(Clone, Debug, Default, Serialize)]
pub struct Table {
    /// What it shows.
    pub caption: String,
    /// Its columns.
    pub heads: Vec<Head>,
    /// Its rows.
    pub rows: Vec<Row>,
}

/// The head of a column.
#[derive(Clone, Debug, Serialize)]
pub struct Head {
    /// What it holds.
    pub label: String,
    /// Its unit; empty where it has none.
    pub unit: String,
    /// Whether its cells are numbers, set flush right.
    pub number: bool,
}

/// A row.
#[derive(Clone, Debug, Serialize)]
pub struct Row {
    /// How it is set: `plain`, `group`, `part` of the group above, or `sum`.
    pub kind: &'static str,
    /// Its cells, one for each head.
    pub cells: Vec<Figure>,
    /// A drawing in its last column, if the table has one.
    pub bar: Option<String>,
}

/// A cell before it is printed.
#[derive(Clone, Debug)]
pub enum Cell {
    /// Words, or a number that is printed elsewhere, with its id; empty where it is not cited.
    Text(String, String),
    /// A quantity in millionths of the column's unit, with its id; `None` where it is not known.
    Number(Option<i64>, String),
}

impl Cell {
    /// A number that is printed elsewhere, with its id.
    pub const fn printed(text: String, id: String) -> Self {
        Self::Text(text, id)
    }

    /// A quantity with its id.
    pub fn of(quantity: impl Millionths, id: String) -> Self {
        Self::Number(Some(quantity.count()), id)
    }

    /// A quantity that may not be known, with its id.
    pub fn maybe(quantity: Option<impl Millionths>, id: String) -> Self {
        Self::Number(quantity.map(Millionths::count), id)
    }
}

impl From<&str> for Cell {
    fn from(text: &str) -> Self {
        Self::Text(text.into(), String::new())
    }
}

impl From<String> for Cell {
    fn from(text: String) -> Self {
        Self::Text(text, String::new())
    }
}

/// A table under construction.
#[derive(Debug)]
pub struct Grid {
    caption: String,
    heads: Vec<Head>,
    least: Vec<u32>,
    rows: Vec<(&'static str, Vec<Cell>, Option<String>)>,
}

impl Grid {
    /// A table without columns.
    pub fn new(caption: &str) -> Self {
        Self { caption: caption.into(), heads: Vec::new(), least: Vec::new(), rows: Vec::new() }
    }

    /// With a column of words.
    pub fn words(mut self, label: &str) -> Self {
        self.heads.push(Head { label: label.into(), unit: String::new(), number: false });
        self
    }

    /// With a column of numbers that has as many decimals as the largest of its unit needs.
    pub fn numbers(self, label: &str, unit: &str) -> Self {
        self.decimals(label, unit, 0)
    }

    /// With a column of numbers that has at least so many decimals.
    pub fn decimals(mut self, label: &str, unit: &str, least: u32) -> Self {
        self.heads.push(Head { label: label.into(), unit: unit.into(), number: true });
        self.least.resize(self.heads.len(), 0);
        self.least[self.heads.len() - 1] = least;
        self
    }

    /// Adds a row.
    pub fn row(&mut self, kind: &'static str, cells: Vec<Cell>) {
        self.rows.push((kind, cells, None));
    }

    /// Adds a row with a drawing.
    pub fn drawn(&mut self, kind: &'static str, cells: Vec<Cell>, bar: String) {
        self.rows.push((kind, cells, Some(bar)));
    }

    /// Prints it.
    pub fn finish(self) -> Table {
        let places: Vec<u32> = (0..self.heads.len()).map(|column| self.places(column)).collect();
        let print = |(kind, cells, bar): (&'static str, Vec<Cell>, Option<String>)| Row {
            kind,
            cells: cells.into_iter().zip(&places).map(|(cell, places)| cell.print(*places)).collect(),
            bar,
        };
        Table { rows: self.rows.into_iter().map(print).collect(), caption: self.caption, heads: self.heads }
    }

    /// Columns of one unit have the same number of decimals, so that they can be compared at a glance.
    fn places(&self, column: usize) -> u32 {
        let alike = |k: &usize| *k == column || self.heads[*k].unit == self.heads[column].unit;
        let columns: Vec<usize> = (0..self.heads.len()).filter(|k| self.heads[*k].number).filter(alike).collect();
        let cells = self.rows.iter().flat_map(|(_, cells, _)| columns.iter().filter_map(|k| cells.get(*k)));
        let largest = cells.filter_map(|cell| if let Cell::Number(number, _) = cell { *number } else { None });
        let least = columns.iter().filter_map(|k| self.least.get(*k)).max();
        places(largest).max(least.copied().unwrap_or(0))
    }
}

impl Cell {
    fn print(self, places: u32) -> Figure {
        match self {
            Self::Text(text, id) => Figure::plain(text, "").with(id),
            Self::Number(None, id) => Figure::plain(UNKNOWN, "").with(id),
            Self::Number(Some(0), id) => Figure::plain("0", "").with(id),
            Self::Number(Some(count), id) => Figure::plain(fixed(count, places), "").with(id),
        }
    }
}
