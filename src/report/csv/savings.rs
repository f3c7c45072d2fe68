//! `savings.csv`: what came of the promise, from promised to measured, press by press.

use super::table::{CsvTable, Kind, Writer, column, measured};
use crate::report::input::MonthInput;
use crate::report::number::Ids;
use crate::report::savings::{RowIds, amount, exact_kva, promised_kva, step_name};
use crate::units::{Co2e, Energy, Money};
use crate::verify::baseline::Frozen;
use crate::verify::savings::Savings;
use crate::verify::statement::{SharedSaving, Statement, Statements};
use crate::verify::{Capacity, Cause, Confidence, Estimate, Judged, Whole};

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
            column(
                "baseline",
                Kind::Words,
                "What the baseline rests on; rated: computed from ratings, no measured saving in the sense of IPMVP",
            ),
            column("baseline_sha256", Kind::Words, "SHA-256 of the frozen baseline"),
            column(
                "row",
                Kind::Words,
                "promised, at-operation, step, unexplained or measured, which add up but for at-operation; by ratings in place of \
                 measured where the baseline is rated; boundary, a measured correction of what a meter includes, which is \
                 within measured; or capacity",
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
    let rows = RowIds(Some(input.month));
    for one in &statements.presses {
        press(&mut table, rows, one);
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
    statements.shared.iter().for_each(|one| load(&mut table, rows, one));
    if let Some(found) = statements.together.as_ref().and_then(|all| all.capacity.as_ref().ok()) {
        capacity(&mut table, &ids.of(&["savings", "capacity"]), "", found, promised_kva(statements));
    }
    table.finish()
}

/// What the rows of a press or a shared load have in common.
struct Rows<'a> {
    table: &'a mut Writer,
    ids: RowIds,
    judged: &'a Judged,
    savings: &'a Savings,
    frozen: &'a Frozen,
    sha256: &'a str,
}

/// What a row says; a cell is empty where it is not known.
#[derive(Clone, Copy, Default)]
struct Amounts {
    kwh: Option<Energy>,
    half: Option<f64>,
    money: Option<Money>,
    kg: Option<Co2e>,
}

impl Amounts {
    fn energy(kwh: Energy) -> Self {
        Self { kwh: Some(kwh), ..Self::default() }
    }
}

impl Rows<'_> {
    fn row(&mut self, row: &str, cause: &str, amounts: Amounts) {
        let exact = |text: Option<String>| text.unwrap_or_default();
        let Savings { period, counted, .. } = self.savings;
        let (press, load) = match self.judged {
            Judged::Press(press) => (press.as_str(), ""),
            Judged::Load(load) => ("", load.as_str()),
        };
        let half = amounts.half.filter(|half| half.is_finite());
        let cells: [&str; BRIDGE] = [
            &self.ids.of(self.judged, row, cause),
            press,
            load,
            &period.0.to_string(),
            &period.1.to_string(),
            &counted.to_string(),
            self.frozen.kind.word(),
            self.sha256,
            row,
            cause,
            &exact(amounts.kwh.map(|kwh| kwh.to_string())),
            &exact(half.map(|half| Energy::nearest(half).to_string())),
            &exact(amounts.money.map(|money| money.to_string())),
            &exact(amounts.kg.map(|kg| kg.to_string())),
        ];
        self.table.row(cells.into_iter().chain([""; CAPACITY]));
    }
}

/// The rows of a shared load.
fn load(table: &mut Writer, ids: RowIds, one: &SharedSaving) {
    let SharedSaving { savings, frozen, sha256, scope, .. } = one;
    let mut rows = Rows { table, ids, judged: &scope.judged, savings, frozen, sha256 };
    let measured = Energy::nearest(savings.avoided.value);
    if let Some((promised, _)) = one.promised {
        let promised = Energy::nearest(promised);
        rows.row("promised", "", Amounts::energy(promised));
        rows.row("step", "", Amounts::energy(measured - promised));
    }
    let half = Some(savings.avoided.half_width(Confidence::P90));
    rows.row("measured", "", Amounts { half, ..Amounts::energy(measured) });
}

/// The rows of a press.
fn press(table: &mut Writer, ids: RowIds, one: &Statement) {
    let Statement { savings, frozen, sha256, scope, .. } = one;
    let mut rows = Rows { table, ids, judged: &scope.judged, savings, frozen, sha256 };
    for one in &savings.alike {
        let half = Estimate { value: 0.0, se: one.se(), df: f64::INFINITY }.half_width(Confidence::P90);
        let moved = Amounts::energy(Energy::nearest(-one.moved()));
        rows.row("boundary", &one.meter, Amounts { half: Some(half), ..moved });
    }
    let half = Some(savings.avoided.half_width(Confidence::P90));
    let Ok(against) = &one.against else {
        let kg = one.worth.carbon.filter(|_| !one.worth.co2_only);
        let measured = Amounts::energy(Energy::nearest(savings.avoided.value));
        return rows.row(frozen.kind.found(), "", Amounts { half, money: one.worth.money, kg, ..measured });
    };
    let (energy, money, carbon) = (&against.energy, against.money.as_ref(), against.carbon.as_ref());
    let promised = Amounts {
        kwh: Some(energy.promised),
        money: money.map(|b| b.promised),
        kg: carbon.map(|b| b.promised),
        half: None,
    };
    rows.row("promised", "", promised);
    rows.row("at-operation", "", Amounts::energy(Energy::nearest(against.reconciled.at_operation)));
    for cause in Cause::ALL {
        let step = Amounts {
            kwh: amount(energy, cause),
            money: money.and_then(|b| amount(b, cause)),
            kg: carbon.and_then(|b| amount(b, cause)),
            half: None,
        };
        if step.kwh.is_some() || step.money.is_some() || step.kg.is_some() {
            let with = energy.steps.iter().find(|step| step.cause == cause).map_or(&[][..], |step| &step.with);
            rows.row("step", &step_name(cause, with), step);
        }
    }
    let unexplained = Amounts {
        kwh: Some(energy.unexplained),
        money: money.map(|b| b.unexplained),
        kg: carbon.map(|b| b.unexplained),
        half,
    };
    rows.row("unexplained", "", unexplained);
    let measured =
        Amounts { kwh: Some(energy.measured), money: money.map(|b| b.measured), kg: carbon.map(|b| b.measured), half };
    rows.row(frozen.kind.found(), "", measured);
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
