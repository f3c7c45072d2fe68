//! `bill.csv`: the supplier's bill by the tariffs in force, and to whom each line falls.

use super::table::{CsvTable, Kind, Writer, column, measured};
use crate::report::billed::Billed;
use crate::report::input::MonthInput;
use crate::report::number::Ids;
use crate::units::decimal;

/// One row for each line and press that has a share of it; the rows add up to the bill.
pub fn table(input: &MonthInput, billed: &Billed) -> CsvTable {
    let currency = &input.plant.currency;
    let mut table = Writer::new(
        "bill",
        "The supplier's bill of the month by the tariffs in force, line by line and press by press; the rows add up to the bill",
        vec![
            column("id", Kind::Words, "Id of the line"),
            column("tariff", Kind::Words, "Tariff in force"),
            column("line", Kind::Words, "What is billed"),
            column("billed", Kind::Number, "How much of it, of the whole line"),
            column("unit", Kind::Words, "Unit of that"),
            column("price", Kind::Number, "Price of a unit"),
            column("press", Kind::Words, "Press; empty for what is charged to none"),
            measured(
                &format!("cost_{}", currency.to_lowercase()),
                Kind::Number,
                currency,
                "What falls to it; empty of a line that is not known",
            ),
            column("note", Kind::Words, "How the line came about, or why it is not known"),
        ],
    );
    for ((line, costs), place) in billed.invoice.lines.iter().zip(&billed.costs).zip(1..) {
        let id = Ids(input.month).of(&["bill", "line", &place.to_string()]);
        let unit = line.unit.word().unwrap_or(currency);
        let (amount, price) = (decimal(line.amount, 6), line.price.to_string());
        let mut row = |press: &str, cost: &str| {
            table.row([id.as_str(), &line.tariff, &line.label, &amount, unit, &price, press, cost, &line.note]);
        };
        let Some(costs) = costs else {
            row("", "");
            continue;
        };
        let presses = billed.presses.iter().map(|press| press.as_str()).chain([""]);
        for (press, cost) in presses.zip(costs).filter(|(press, cost)| cost.micros() != 0 || press.is_empty()) {
            row(press, &cost.to_string());
        }
    }
    table.finish()
}
