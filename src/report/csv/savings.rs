//! `savings.csv`: what came of the promise, from promised to measured, press by press.

use super::table::{CsvTable, Kind, Writer, column, measured};
use crate::report::input::MonthInput;
use crate::report::number::Ids;
use crate::report::savings::{RowIds, amount, exact_kva, promised_kva, step_name};
use crate::units::{Co2e, Energy, Money};
use crate::verify::statement::{SharedSaving, Statement, Statements};
use crate::verify::{Capacity, Cause, Confidence, Estimate, Whole};

/// Columns that a row of a bridge fills, and those after them that only a row of capacity does.
const BRIDGE: usize = 14;
const CAPACITY: usize = 6;

/// One row for each step of each bridge; of a press without a promise only what was measured. The rows of a bridge add
/// up: promised, steps and unexplained to measured.
pub fn table(input: &MonthInput, statements: &Statements) -> CsvTable {
    let currency = &input.plant.currency;
    let mut table = Writer::new(
        "savings",
        "What came of the promise since the acceptance, from promised to measured; promised + steps + unexplained = measured",
        vec![
            column("id", Kind::Words, "Id of the figure"),
            column("press", Kind::Words, "Press; empty for a shared load and for all together"),
            column("load", Kind::Words, "Shared load"),
            column("first_day", Kind::Day, "First day of the time covered"),
            column("last_day", Kind::Day, "Last day of the time covered"),
            measured("days", Kind::Number, "d", "Days of it that count"),
            column("baseline", Kind::Words, "What the baseline rests on"),
            column("baseline_sha256", Kind::Words, "SHA-256 of the frozen baseline"),
            column(
                "row",
                Kind::Words,
                "promised, at-operation, step, unexplained or measured, which add up but for at-operation; boundary, a measured \
                 correction of what a meter includes, which is within measured; or capacity",
            ),
            column(
                "cause",
                Kind::Words,
                "What a step is due to, joined by + where causes could not be told apart; the meter of a boundary",
            ),
            measured("energy_kwh", Kind::Number, "kWh", "Energy saved, or by how much the step moves it"),
            measured("half_width_90_kwh", Kind::Number, "kWh", "Half of the two-sided interval at 90 %"),
            measured(&format!("money_{}", currency.to_lowercase()), Kind::Number, currency, "The same in money"),
            measured("co2e_kg", Kind::Number, "kg", "The same in carbon by location, outside scope 2"),
            measured(
                "before_kva",
                Kind::Number,
                "kVA",
                "Capacity: highest apparent power before, at as many stations lit",
            ),
            measured("after_kva", Kind::Number, "kVA", "The same after"),
            measured("freed_kva", Kind::Number, "kVA", "Before less after"),
            measured("promised_kva", Kind::Number, "kVA", "What the promise states as freed, for all presses together"),
            measured("leading_percent", Kind::Number, "%", "Share of the intervals after with a leading power factor"),
            measured("intervals", Kind::Number, "", "How many intervals each side has"),
        ],
    );
    let ids = Ids(input.month);
    for one in &statements.presses {
        rows(&mut table, RowIds(Some(input.month)), one);
        if let Ok(found) = &one.capacity {
            capacity(
                &mut table,
                &ids.of(&["savings", one.press.as_str(), "capacity"]),
                one.press.as_str(),
                found,
                None,
            );
        }
    }
    statements.shared.iter().for_each(|one| load(&mut table, ids, one));
    if let Some(found) = statements.together.as_ref().and_then(|all| all.capacity.as_ref().ok()) {
        capacity(&mut table, &ids.of(&["savings", "capacity"]), "", found, promised_kva(statements));
    }
    table.finish()
}

/// The rows of a shared load.
fn load(table: &mut Writer, ids: Ids, one: &SharedSaving) {
    let (savings, name) = (&one.savings, one.load.as_str());
    let half = Energy::nearest(savings.avoided.half_width(Confidence::P90)).to_string();
    let mut row = |kind: &str, kwh: Energy, half: &str| {
        let cells: [&str; BRIDGE] = [
            &ids.of(&["savings", "load", name, kind]),
            "",
            name,
            &savings.period.0.to_string(),
            &savings.period.1.to_string(),
            &savings.counted.to_string(),
            one.frozen.kind.word(),
            &one.sha256,
            kind,
            "",
            &kwh.to_string(),
            half,
            "",
            "",
        ];
        table.row(cells.into_iter().chain([""; CAPACITY]));
    };
    let measured = Energy::nearest(savings.avoided.value);
    if let Some((promised, _)) = one.promised {
        let promised = Energy::nearest(promised);
        row("promised", promised, "");
        row("step", measured - promised, "");
    }
    row("measured", measured, &half);
}

/// A row of capacity; that of all presses names none.
fn capacity(table: &mut Writer, id: &str, press: &str, found: &Capacity, promised: Option<f64>) {
    let [before, after, freed, leading] =
        [found.before, found.after, found.freed(), found.leading * 100.0].map(exact_kva);
    let intervals = found.intervals.to_string();
    let found = [&before, &after, &freed, &promised.map(exact_kva).unwrap_or_default(), &leading, &intervals];
    let cells = [id, press].into_iter().chain([""; 6]).chain(["capacity"]).chain([""; BRIDGE - 9]);
    table.row(cells.chain(found.map(String::as_str)));
}

fn rows(table: &mut Writer, ids: RowIds, one: &Statement) {
    let (savings, press) = (&one.savings, one.press.as_str());
    let ends = [savings.period.0.to_string(), savings.period.1.to_string(), savings.counted.to_string()];
    let mut row =
        |kind: &str, cause: &str, kwh: Option<Energy>, half: Option<f64>, money: Option<Money>, kg: Option<Co2e>| {
            let id = ids.of(&one.press, kind, cause);
            let exact = |text: Option<String>| text.unwrap_or_default();
            let cells: [&str; BRIDGE] = [
                &id,
                press,
                "",
                &ends[0],
                &ends[1],
                &ends[2],
                one.frozen.kind.word(),
                &one.sha256,
                kind,
                cause,
                &exact(kwh.map(|kwh| kwh.to_string())),
                &exact(half.filter(|half| half.is_finite()).map(|half| Energy::nearest(half).to_string())),
                &exact(money.map(|money| money.to_string())),
                &exact(kg.map(|kg| kg.to_string())),
            ];
            table.row(cells.into_iter().chain([""; CAPACITY]));
        };
    for one in &savings.alike {
        let half = Estimate { value: 0.0, se: one.se(), df: f64::INFINITY }.half_width(Confidence::P90);
        row("boundary", &one.meter, Some(Energy::nearest(-one.moved())), Some(half), None, None);
    }
    let half = Some(savings.avoided.half_width(Confidence::P90));
    let Ok(against) = &one.against else {
        let carbon = one.worth.carbon.filter(|_| !one.worth.co2_only);
        return row("measured", "", Some(Energy::nearest(savings.avoided.value)), half, one.worth.money, carbon);
    };
    let (energy, money, carbon) = (&against.energy, against.money.as_ref(), against.carbon.as_ref());
    row("promised", "", Some(energy.promised), None, money.map(|b| b.promised), carbon.map(|b| b.promised));
    row("at-operation", "", Some(Energy::nearest(against.reconciled.at_operation)), None, None, None);
    let known = |cause: &Cause| {
        amount(energy, *cause).is_some()
            || money.is_some_and(|bridge| amount(bridge, *cause).is_some())
            || carbon.is_some_and(|bridge| amount(bridge, *cause).is_some())
    };
    for cause in Cause::ALL.into_iter().filter(known) {
        let with = energy.steps.iter().find(|step| step.cause == cause).map_or(&[][..], |step| &step.with);
        row(
            "step",
            &step_name(cause, with),
            amount(energy, cause),
            None,
            money.and_then(|b| amount(b, cause)),
            carbon.and_then(|b| amount(b, cause)),
        );
    }
    row("unexplained", "", Some(energy.unexplained), half, money.map(|b| b.unexplained), carbon.map(|b| b.unexplained));
    row("measured", "", Some(energy.measured), half, money.map(|b| b.measured), carbon.map(|b| b.measured));
}
