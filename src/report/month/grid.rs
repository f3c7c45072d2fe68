//! Tables of the page: quantities go in, and each column gets one number of decimals.

use crate::report::number::{Figure, UNKNOWN, fixed, places};
use crate::units::{Co2e, Energy, Money};
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
    /// Words, or a number that is printed elsewhere.
    Text(String),
    /// Energy in kWh.
    Energy(Option<Energy>, String),
    /// Money, to the hundredth.
    Money(Option<Money>, String),
    /// Carbon in kg.
    Co2e(Option<Co2e>, String),
}

impl From<&str> for Cell {
    fn from(text: &str) -> Self {
        Self::Text(text.into())
    }
}

impl From<String> for Cell {
    fn from(text: String) -> Self {
        Self::Text(text)
    }
}

/// A table under construction.
#[derive(Debug)]
pub struct Grid {
    caption: String,
    heads: Vec<Head>,
    rows: Vec<(&'static str, Vec<Cell>, Option<String>)>,
}

impl Grid {
    /// A table without columns.
    pub fn new(caption: &str) -> Self {
        Self { caption: caption.into(), heads: Vec::new(), rows: Vec::new() }
    }

    /// With a column of words.
    pub fn words(mut self, label: &str) -> Self {
        self.heads.push(Head { label: label.into(), unit: String::new(), number: false });
        self
    }

    /// With a column of numbers.
    pub fn numbers(mut self, label: &str, unit: &str) -> Self {
        self.heads.push(Head { label: label.into(), unit: unit.into(), number: true });
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
        let decimals: Vec<u32> = (0..self.heads.len()).map(|column| self.decimals(column)).collect();
        let print = |(kind, cells, bar): (&'static str, Vec<Cell>, Option<String>)| Row {
            kind,
            cells: cells.into_iter().zip(&decimals).map(|(cell, places)| cell.print(*places)).collect(),
            bar,
        };
        Table { rows: self.rows.into_iter().map(print).collect(), caption: self.caption, heads: self.heads }
    }

    fn decimals(&self, column: usize) -> u32 {
        let cells = || self.rows.iter().filter_map(|(_, cells, _)| cells.get(column));
        let energies: Vec<Energy> = cells().filter_map(Cell::energy).collect();
        let carbons: Vec<Co2e> = cells().filter_map(Cell::co2e).collect();
        places(&energies).max(places(&carbons))
    }
}

impl Cell {
    const fn energy(&self) -> Option<Energy> {
        if let Self::Energy(energy, _) = self { *energy } else { None }
    }

    const fn co2e(&self) -> Option<Co2e> {
        if let Self::Co2e(co2e, _) = self { *co2e } else { None }
    }

    fn print(self, places: u32) -> Figure {
        let known = |text: Option<String>, id| Figure::plain(text.unwrap_or_else(|| UNKNOWN.into()), "").with(id);
        match self {
            Self::Text(text) => Figure::plain(text, ""),
            Self::Energy(energy, id) => known(energy.map(|e| fixed(e, places)), id),
            Self::Money(money, id) => known(money.map(|m| fixed(m, 2)), id),
            Self::Co2e(co2e, id) => known(co2e.map(|c| fixed(c, places)), id),
        }
    }
}
