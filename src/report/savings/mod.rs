//! What came of the promise, ready to print: the statement for the first screen, and a section that shows where it comes
//! from. Page, terminal and table are laid out from the same statements.

mod capacity;
mod exact;
mod figures;
mod first;
mod ids;
mod pictures;
mod press;
mod proof;

pub use capacity::{CapacityPart, exact as exact_kva, promised as promised_kva};
pub use exact::{Exact, amount, exact};
pub use first::{Answer, Notes, Verdict};
pub use ids::{RowIds, step_name};
pub use press::PressPart;

use super::month::grid::Table;
use crate::plant::Plant;
use crate::time::Month;
use crate::verify::listed;
use crate::verify::statement::Statements;
use serde::Serialize;
use std::collections::BTreeSet;

/// The part of a report that says what came of the promise.
#[derive(Clone, Debug, Serialize)]
pub struct Savings {
    /// The first days and the last that are spoken of.
    pub span: String,
    /// What the promise is called, and its date.
    pub promise: Option<String>,
    /// A verdict for each press.
    pub verdicts: Vec<Verdict>,
    /// What is missing for another press, and which command does it.
    pub missing: Vec<String>,
    /// Promised, promise at actual operation and measured.
    pub rates: Table,
    /// What operation and what equipment explain; `None` where nothing is held against a promise.
    pub why: Option<Table>,
    /// What goes with it: date, floor, money, payback, contract, carbon.
    pub notes: Notes,
    /// One part for each press.
    pub presses: Vec<PressPart>,
    /// What the promise says against itself.
    pub remarks: Vec<String>,
    /// The bridge of all presses as a picture; `None` for a single press, which has its own.
    pub bridge: Option<String>,
    /// Apparent power before and after; `None` where it is not known.
    pub capacity: Option<CapacityPart>,
    /// What heating and cooling make of it, in words.
    pub heat: Vec<String>,
}

/// Lays out statements; `None` where there is nothing to say. Figures bear the ids of the month whose report they stand in.
pub fn savings(plant: &Plant, statements: &Statements, month: Option<Month>) -> Option<Savings> {
    let ids = RowIds(month);
    if statements.presses.is_empty() && statements.missing.is_empty() {
        return None;
    }
    let several = statements.presses.len() > 1;
    let together = statements.together.as_ref().filter(|_| several);
    Some(Savings {
        span: first::span(statements),
        promise: statements.promise.as_ref().map(|promise| format!("{}, {}", promise.title, promise.dated)),
        verdicts: first::verdicts(plant, statements),
        missing: statements.missing.iter().map(|(press, why)| format!("{}: {why}", name(plant, press))).collect(),
        rates: first::rates(plant, statements, ids),
        why: first::why(plant, statements, ids),
        notes: first::notes(plant, statements),
        presses: statements.presses.iter().map(|one| press::part(plant, one, ids)).collect(),
        remarks: statements.remarks.clone(),
        bridge: together.map(|all| pictures::bridge("All presses", &all.energy, &found(statements))),
        capacity: capacity::part(plant, statements),
        heat: first::heat(statements),
    })
}

/// How the savings were found, of several in several words.
fn found(statements: &Statements) -> String {
    let presses = statements.presses.iter().map(|one| &one.frozen);
    let all = presses.chain(statements.shared.iter().map(|one| &one.frozen));
    let words: BTreeSet<String> = all.map(|frozen| frozen.kind.found().to_owned()).collect();
    listed(&words.into_iter().collect::<Vec<_>>())
}

/// What people call a press.
fn name(plant: &Plant, press: &crate::names::PressId) -> String {
    plant.press(press).map_or_else(|| press.to_string(), |press| press.name.clone())
}
