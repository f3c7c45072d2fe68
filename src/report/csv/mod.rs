//! The tables beside the page: RFC 4180, UTF-8, one header row, units in the names of the columns.

mod bill;
mod carbon;
mod cost;
mod energy;
mod findings;
mod intervals;
mod jobs;
mod savings;
pub mod scope2;
pub mod table;

pub use energy::path as energy_path;
pub use table::{CsvTable, tame};

use super::input::MonthInput;
use super::jobs::Job;
use super::lines::Ledger;
use super::number::Ids;
use super::scope2::{by_location, by_market};

/// Every table of a month, sorted by name.
pub fn tables(input: &MonthInput, ledger: &Ledger, listed: &[Job]) -> Vec<CsvTable> {
    let mut tables: Vec<CsvTable> = input.billed.map(|billed| bill::table(input, billed)).into_iter().collect();
    tables.extend([
        carbon::table(input, ledger),
        cost::table(input, ledger),
        energy::table(input, ledger),
        intervals::table(input, ledger),
        jobs::table(input, listed),
    ]);
    tables.extend(input.findings.map(|noticed| findings::table(input, noticed)));
    tables.extend(input.savings.map(|statements| savings::table(input, statements)));
    let id = |method: &str| Ids(input.month).of(&["carbon", "scope2", method, "carbon"]);
    tables.push(scope2::table(id, by_location(&ledger.footprint), by_market(&ledger.market)));
    tables
}
