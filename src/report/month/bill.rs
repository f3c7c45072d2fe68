//! The supplier's bill of the month: line by line, to whom it falls, and what was really billed.

use super::grid::{Cell, Grid, Table};
use crate::cost::{Compared, Comparison, Group, InvoiceLine, Unit};
use crate::plant::Plant;
use crate::report::billed::{Billed, Checked};
use crate::report::number::{Ids, UNKNOWN};
use crate::time::Month;
use crate::units::fixed;
use serde::Serialize;

/// The part on the bill.
#[derive(Clone, Debug, Serialize)]
pub struct Bill {
    /// Line by line, with the total.
    pub lines: Table,
    /// To whom it falls.
    pub shares: Table,
    /// What must be known about it.
    pub remarks: Vec<String>,
    /// The bills of the supplier on file.
    pub checked: Vec<CheckedPart>,
}

/// A bill of the supplier beside meter and tariffs.
#[derive(Clone, Debug, Serialize)]
pub struct CheckedPart {
    /// Figure by figure.
    pub table: Table,
    /// What may lie behind differences.
    pub causes: Vec<String>,
}

/// Lays out the bill.
pub fn bill(plant: &Plant, month: Month, billed: &Billed) -> Bill {
    let of_line = |line: &InvoiceLine| (!line.note.is_empty()).then(|| format!("{}: {}", line.label, line.note));
    let notes = billed.invoice.lines.iter().filter_map(of_line);
    Bill {
        lines: lines(plant, month, billed),
        shares: shares(plant, month, billed),
        remarks: notes.chain(billed.invoice.remarks.iter().cloned()).collect(),
        checked: billed.checked.iter().map(|one| checked(plant, one)).collect(),
    }
}

fn lines(plant: &Plant, month: Month, billed: &Billed) -> Table {
    let ids = Ids(month);
    let mut grid = Grid::new("By the tariffs in force, from the fiscal meter")
        .words("Tariff")
        .words("")
        .numbers("Billed", "")
        .words("")
        .numbers("Price", "")
        .decimals("Cost", &plant.currency, 2);
    for (line, place) in billed.invoice.lines.iter().zip(1..) {
        let places = if line.unit == Unit::Days { 0 } else { 2 };
        let cells = vec![
            line.tariff.as_str().into(),
            line.label.as_str().into(),
            fixed(line.amount.into(), 6, places).into(),
            line.unit.word().unwrap_or(&plant.currency).into(),
            line.price.to_string().into(),
            Cell::maybe(line.cost, ids.of(&["bill", "line", &place.to_string()])),
        ];
        grid.row("plain", cells);
    }
    let label = if billed.invoice.is_whole() { "Total" } else { "Total of what is known" };
    let total = Cell::of(billed.invoice.total(), ids.of(&["bill", "total"]));
    grid.row("sum", vec![label.into(), "".into(), "".into(), "".into(), "".into(), total]);
    grid.finish()
}

fn shares(plant: &Plant, month: Month, billed: &Billed) -> Table {
    let currency = plant.currency.as_str();
    let mut grid = Grid::new("To whom it falls")
        .words("")
        .decimals("Energy", currency, 2)
        .decimals("Demand", currency, 2)
        .decimals("Other", currency, 2)
        .decimals("Total", currency, 2);
    let presses = plant.presses.iter().map(|press| (press.name.as_str(), Some(&press.id)));
    for (name, press) in presses.chain([("Charged to no press", None)]) {
        let mut cells: Vec<Cell> = vec![name.into()];
        cells.extend(Group::ALL.map(|group| Cell::of(billed.share(press, Some(group)), String::new())));
        let path = press.map_or("none", |press| press.as_str());
        cells.push(Cell::of(billed.share(press, None), Ids(month).of(&["bill", path])));
        grid.row("plain", cells);
    }
    let mut cells: Vec<Cell> = vec!["Total".into()];
    let all = |group: Option<Group>| {
        let presses = billed.presses.iter().map(Some).chain([None]);
        presses.map(|press| billed.share(press, group)).sum::<crate::units::Money>()
    };
    cells.extend(Group::ALL.map(|group| Cell::of(all(Some(group)), String::new())));
    cells.push(Cell::of(all(None), String::new()));
    grid.row("sum", cells);
    grid.finish()
}

fn checked(plant: &Plant, one: &Checked) -> CheckedPart {
    let mut grid =
        Grid::new(&format!("Bill {} of {} to {} beside meter and tariffs", one.bill, one.days.0, one.days.1))
            .words("")
            .words("")
            .numbers("Billed", "")
            .numbers("Ours", "")
            .numbers("Difference", "%");
    let mut causes = Vec::new();
    for figure in &one.figures {
        let (name, unit) = match figure.what {
            Compared::Energy => ("Energy", "kWh"),
            Compared::Peak(measure) => ("Peak", measure.word()),
            Compared::Amount => ("Amount", plant.currency.as_str()),
        };
        let cell = |count: i64| fixed(count.into(), 6, 2);
        let off = figure.ppm().map_or_else(|| UNKNOWN.into(), |ppm| fixed(ppm.into(), 4, 2));
        let ours = figure.ours.map_or_else(|| UNKNOWN.into(), cell);
        grid.row("plain", vec![name.into(), unit.into(), cell(figure.billed).into(), ours.into(), off.into()]);
        causes.extend(told(name, figure));
    }
    CheckedPart { table: grid.finish(), causes }
}

/// What may lie behind a difference, in sentences.
fn told(name: &str, figure: &Comparison) -> Vec<String> {
    if figure.differs && figure.causes.is_empty() {
        return vec![format!("{name}: no likely cause was found; ask the supplier how the figure came about")];
    }
    figure.causes.iter().map(|cause| format!("{name}: {cause}")).collect()
}
