//! The statement: verdict first, then promised against measured, then what explains the difference.

use super::figures::{capitalised, money, plain, rate, signed, with_half, years};
use super::{RowIds, found, name, step_name};
use crate::plant::Plant;
use crate::report::month::grid::{Cell, Grid, Table};
use crate::report::number::UNKNOWN;
use crate::units::{Co2e, Energy, Money};
use crate::verify::savings::Adjusted;
use crate::verify::statement::{Against, SharedSaving, Statement, Statements};
use crate::verify::{self, Bridge, Cause, Confidence, Estimate, Judged, Payback, Reconciled, Whole};
use serde::Serialize;

/// How a verdict came out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Answer {
    /// The promise is met.
    Met,
    /// It is not.
    Short,
    /// The data do not decide it, or not yet.
    Open,
    /// A question has to be answered first.
    Blocked,
    /// No promise is held against the saving.
    Unpromised,
}

/// The verdict on one press.
#[derive(Clone, Debug, Serialize)]
pub struct Verdict {
    /// What people call the press.
    pub press: String,
    /// How it came out.
    pub answer: Answer,
    /// The verdict in words, with rate and interval.
    pub text: String,
    /// What finance sees, in words; empty without a promise.
    pub outcome: String,
    /// What the baseline rests on.
    pub baseline: String,
}

/// Terms with their texts.
pub type Notes = Vec<(String, Vec<String>)>;

/// The first and the last day that any press counts.
pub fn span(statements: &Statements) -> String {
    let first = statements.presses.iter().map(|one| one.savings.period.0).min();
    let last = statements.presses.iter().map(|one| one.savings.period.1).max();
    first.zip(last).map_or_else(String::new, |(first, last)| format!("{first} to {last}"))
}

/// A verdict for each press.
pub fn verdicts(plant: &Plant, statements: &Statements) -> Vec<Verdict> {
    statements.presses.iter().map(|one| verdict(plant, one)).collect()
}

fn verdict(plant: &Plant, one: &Statement) -> Verdict {
    let judged = one.against.as_ref().map_err(Clone::clone);
    let (answer, text) = match judged.map(|against| &against.performance) {
        Ok(Some(judgement)) => (answer(&judgement.verdict), judgement.to_string()),
        Ok(None) => (Answer::Open, "Not decided: no day counts yet, or the promise saves nothing.".into()),
        Err(why) => {
            let avoided = with_half(one.savings.avoided, 0);
            (Answer::Unpromised, format!("{avoided} kWh avoided. {}.", capitalised(&why.to_string())))
        }
    };
    let outcome = one.against.as_ref().ok().and_then(|against| against.outcome.as_ref());
    Verdict {
        press: name(plant, &one.press),
        answer,
        text,
        outcome: outcome
            .map(|outcome| format!("Outcome: {} % of the promise pro rata.", rate(Some(outcome.rate))))
            .unwrap_or_default(),
        baseline: one.frozen.kind.to_string(),
    }
}

fn answer(verdict: &verify::Verdict) -> Answer {
    use verify::Verdict::{Blocked, Met, Never, NotDue, Open, Short};
    match verdict {
        Met => Answer::Met,
        Short => Answer::Short,
        NotDue(_) | Open(_) | Never(_) => Answer::Open,
        Blocked(_) => Answer::Blocked,
    }
}

/// Promised, promise at actual operation and measured, press by press and together.
pub fn rates(plant: &Plant, statements: &Statements, ids: RowIds) -> Table {
    let found = found(statements);
    let mut grid = Grid::new(&format!("Promised and {found} since the acceptance"))
        .words("Press")
        .numbers("Days that count", "")
        .numbers("Promised pro rata", "kWh")
        .numbers("Promise at actual operation", "kWh")
        .numbers(&capitalised(&found), "kWh")
        .numbers("± at 90 %", "kWh")
        .numbers("Performance", "%")
        .numbers("Outcome", "%");
    for one in &statements.presses {
        let against = one.against.as_ref().ok().map(|against| against.reconciled);
        let id = |row: &str| ids.of(&one.scope.judged, row, "");
        let kind = &one.frozen.kind;
        let about = if kind.is_measured() { "" } else { ", by ratings" };
        let saved = (one.savings.avoided, kind.found());
        let row = row(&(name(plant, &one.press) + about), one.savings.counted, saved, against, id);
        grid.row("plain", row);
    }
    for one in &statements.shared {
        let id = |row: &str| ids.of(&one.scope.judged, row, "");
        let saved = (one.savings.avoided, one.frozen.kind.found());
        let row = row(&one.name, one.savings.counted, saved, one.reconciled(), id);
        grid.row("plain", row);
    }
    let several = statements.presses.len() + statements.shared.len() > 1;
    if let Some(all) = statements.together.as_ref().filter(|_| several) {
        let name = if statements.shared.is_empty() { "All presses" } else { "All presses and shared loads" };
        let saved = (all.reconciled.measured, found.as_str());
        let row = row(name, "", saved, Some(all.reconciled), |_| String::new());
        grid.row("sum", row);
    }
    grid.finish()
}

/// One row of what was promised and saved, with how that was found; `against` where a promise is held against it.
fn row(
    name: &str,
    days: impl ToString,
    (saved, found): (Estimate, &str),
    against: Option<Reconciled>,
    id: impl Fn(&str) -> String,
) -> Vec<Cell> {
    let kwh = |value: Option<f64>, row: &str| Cell::maybe(value.map(Energy::nearest), id(row));
    vec![
        name.into(),
        days.to_string().into(),
        kwh(against.map(|against| against.promised), "promised"),
        kwh(against.map(|against| against.at_operation), "at-operation"),
        kwh(Some(saved.value), found),
        kwh(Some(saved.half_width(Confidence::P90)), found),
        rate(against.and_then(|against| against.performance)).into(),
        rate(against.and_then(|against| against.outcome)).into(),
    ]
}

/// The bridges of a press, or of all presses.
#[derive(Clone, Debug)]
pub struct Bridges<'a> {
    energy: &'a Bridge<Energy>,
    money: Option<&'a Bridge<Money>>,
    carbon: Option<&'a Bridge<Co2e>>,
    /// Whose figures have rows of their own in `savings.csv`; `None` for several presses as one.
    judged: Option<&'a Judged>,
    /// How the saving was found.
    found: String,
}

impl<'a> Bridges<'a> {
    /// Those of one press; `None` where nothing is held against a promise.
    pub fn of(one: &'a Statement) -> Option<Self> {
        let Against { energy, money, carbon, .. } = one.against.as_ref().ok()?;
        let (money, carbon, found) = (money.as_ref(), carbon.as_ref(), one.frozen.kind.found().into());
        Some(Self { energy, money, carbon, judged: Some(&one.scope.judged), found })
    }

    /// Those of the only press, or of all presses as one.
    fn whole(statements: &'a Statements) -> Option<Self> {
        match (&statements.together, statements.presses.as_slice()) {
            (_, [only]) => Self::of(only),
            (Some(all), _) => {
                let (money, carbon) = (all.money.as_ref(), all.carbon.as_ref());
                Some(Self { energy: &all.energy, money, carbon, judged: None, found: found(statements) })
            }
            _ => None,
        }
    }
}

/// What explains the difference, on the first screen.
pub fn why(plant: &Plant, statements: &Statements, ids: RowIds) -> Option<Table> {
    Some(steps("What explains the difference", plant, &Bridges::whole(statements)?, ids))
}

/// A line of a bridge: energy in kWh, money, carbon in kg.
struct Line {
    kind: &'static str,
    label: String,
    amounts: [Option<f64>; 3],
    id: String,
}

/// A bridge in numbers: operation, equipment, the unexplained.
pub fn steps(caption: &str, plant: &Plant, bridges: &Bridges<'_>, ids: RowIds) -> Table {
    let lines = lines(bridges, ids);
    let shown = [true, bridges.money.is_some(), bridges.carbon.is_some()];
    let units = [("Energy", "kWh"), ("Money", plant.currency.as_str()), ("Carbon", "kgCO2e")];
    let columns = units.into_iter().zip(shown).filter(|(_, shown)| *shown);
    let grid = Grid::new(caption).words(&format!("From promised to {}", bridges.found));
    let mut grid = columns.fold(grid, |grid, ((label, unit), _)| grid.numbers(label, unit));
    for line in lines {
        let is_total = line.kind == "sum" || line.label.starts_with("Promised");
        let print = |amount: Option<f64>| match amount {
            None => UNKNOWN.into(),
            Some(amount) if is_total => Cell::printed(plain(amount, 0), line.id.clone()),
            Some(amount) => Cell::printed(signed(amount, 0), line.id.clone()),
        };
        let amounts = line.amounts.into_iter().zip(shown).filter(|(_, shown)| *shown).map(|(a, _)| print(a));
        grid.row(line.kind, std::iter::once(line.label.as_str().into()).chain(amounts).collect());
    }
    grid.finish()
}

fn lines(bridges: &Bridges<'_>, ids: RowIds) -> Vec<Line> {
    let all = |of_energy: &dyn Fn(&Bridge<Energy>) -> Energy,
               of_money: &dyn Fn(&Bridge<Money>) -> Money,
               of_carbon: &dyn Fn(&Bridge<Co2e>) -> Co2e| {
        [
            Some(of_energy(bridges.energy).kwh()),
            bridges.money.map(|bridge| of_money(bridge).units()),
            bridges.carbon.map(|bridge| of_carbon(bridge).kg()),
        ]
    };
    let of = |belongs: &dyn Fn(Cause) -> bool| all(&|b| sum(b, belongs), &|b| sum(b, belongs), &|b| sum(b, belongs));
    let line = |kind, label: &str, amounts, id: String| Line { kind, label: label.into(), amounts, id };
    let id = |row: &str, cause: &str| bridges.judged.map_or_else(String::new, |judged| ids.of(judged, row, cause));
    let is_equipment = |cause: Cause| matches!(cause, Cause::NewDraw | Cause::OldDraw);
    let promised = all(&|b| b.promised, &|b| b.promised, &|b| b.promised);
    let mut lines = vec![line("group", "Promised pro rata", promised, id("promised", ""))];
    for (label, of_operation) in [("What operation explains", true), ("What equipment explains", false)] {
        let belongs = |cause: Cause| if of_operation { cause.is_operation() } else { is_equipment(cause) };
        lines.push(line("group", label, of(&belongs), String::new()));
        let steps = bridges.energy.steps.iter().filter(|step| belongs(step.cause));
        lines.extend(steps.map(|step| {
            let id = id("step", &step_name(step.cause, &step.with));
            line("part", &cause(step.cause, &step.with), of(&|c| c == step.cause), id)
        }));
    }
    let loads = of(&|cause| cause == Cause::Shared);
    if loads.iter().flatten().any(|amount| *amount != 0.0) {
        lines.push(line("group", "What shared loads explain", loads, String::new()));
    }
    let worth = of(&|cause| cause == Cause::Worth);
    if worth[1..].iter().flatten().any(|amount| *amount != 0.0) {
        let amounts = [None, worth[1], worth[2]];
        lines.push(line("group", "Price and grid factor", amounts, id("step", Cause::Worth.word())));
    }
    let rest = all(&|b| b.unexplained, &|b| b.unexplained, &|b| b.unexplained);
    lines.push(line("group", "Unexplained", rest, id("unexplained", "")));
    let measured = all(&|b| b.measured, &|b| b.measured, &|b| b.measured);
    lines.push(line("sum", &capitalised(&bridges.found), measured, id(&bridges.found, "")));
    lines
}

fn sum<Q: Whole>(bridge: &Bridge<Q>, belongs: &dyn Fn(Cause) -> bool) -> Q {
    bridge.steps.iter().filter(|step| belongs(step.cause)).map(|step| step.amount).sum()
}

/// A cause with those that are merged into it.
pub fn cause(cause: Cause, with: &[Cause]) -> String {
    let with: Vec<&str> = with.iter().map(|cause| cause.word()).collect();
    match with.is_empty() {
        true => cause.word().into(),
        false => format!("{}, with {}", cause.word(), with.join(" and ")),
    }
}

/// What goes with the verdict, in the order in which it is asked.
pub fn notes(plant: &Plant, statements: &Statements) -> Notes {
    let mut notes: Notes = Vec::new();
    let mut add = |term: &str, texts: Vec<String>| {
        if !texts.is_empty() {
            notes.push((term.into(), texts));
        }
    };
    let each = |of: &dyn Fn(&Statement) -> Option<String>| -> Vec<String> {
        statements.presses.iter().filter_map(|one| Some(format!("{}: {}", name(plant, &one.press), of(one)?))).collect()
    };
    let looks = |one: &Statement| {
        let (last, next) = one.against.as_ref().ok()?.looks;
        let judged = last.map_or(String::new(), |last| format!("judged by the data before {last}, "));
        Some(format!(
            "{judged}next looked at on {next}; baseline and meters leave {} % of the saving on either side however long one measures",
            plain(one.floor() * 100.0, 1)
        ))
    };
    add("When it is decided", each(&looks));
    add("Money", avoided_money(plant, statements));
    if let Some(all) = &statements.together {
        add("Payback", paybacks(statements, all.payback, all.payback_declared));
        add(
            "Contract",
            all.contract.iter().map(|contract| contract.words(&plant.currency).trim_end_matches('.').into()).collect(),
        );
    }
    add("Shared loads", shared(statements));
    add("Carbon", carbon(statements));
    add("Capacity", super::capacity::words(plant, statements));
    notes
}

/// What the meters of shared loads say, and what is promised of those that have no baseline.
fn shared(statements: &Statements) -> Vec<String> {
    let measured = |one: &SharedSaving| {
        let promised =
            one.promised.map(|(promised, _)| format!(" of {} promised for the time covered", plain(promised, 0)));
        let (low, high) = one.savings.avoided.interval(Confidence::P90);
        let saved = plain(one.savings.avoided.value, 0);
        let mut text = format!(
            "{}: {saved} kWh saved ({} to {} at 90 %){} by its own meter against a baseline of its own",
            one.name,
            plain(low, 0),
            plain(high, 0),
            promised.unwrap_or_default()
        );
        text.extend(one.nothing_expected().map(|why| format!("; {why}")));
        let adjusted = |each: &Adjusted| format!("; {} kWh of it adjusted for ({})", signed(-each.kwh, 0), each.note);
        text.extend(one.savings.adjustments.iter().map(adjusted));
        let open = one.savings.questions.iter().filter(|question| question.answer.is_none());
        text.extend(open.map(|question| format!("; open: {}", question.found)));
        if one.is_changed {
            text.push_str("; days of its baseline have been corrected since it was frozen");
        }
        text
    };
    let mut texts: Vec<String> = statements.shared.iter().map(measured).collect();
    texts.extend(statements.shared_missing.iter().map(|(load, why)| format!("load {load}: {why}")));
    if let Some(open) = statements.together.as_ref().map(|all| all.shared).filter(|open| *open != 0.0) {
        texts.push(format!(
            "{} kWh of the promise for the time covered are about loads that have no baseline and are in no figure above",
            plain(open, 0)
        ));
    }
    texts
}

fn avoided_money(plant: &Plant, statements: &Statements) -> Vec<String> {
    if statements.presses.is_empty() {
        return Vec::new();
    }
    let all: Option<Vec<Estimate>> = statements.presses.iter().map(in_money).collect();
    let Some(all) = all else {
        return vec!["part of the avoided energy has no price; see config/tariffs/".into()];
    };
    let total: Estimate = all.into_iter().sum();
    vec![format!(
        "{} {} avoided: the bill of the adjusted profile less that of the actual one, energy lines only; a kilowatt of demand saves \
         once the supplier has billed it, so far nothing",
        with_half(total, 0),
        plant.currency
    )]
}

/// Money of a press with the uncertainty of its energy.
pub fn in_money(one: &Statement) -> Option<Estimate> {
    let price = one.worth.price(one.savings.avoided.value)?;
    Some(one.savings.avoided.times(price))
}

fn paybacks(statements: &Statements, alone: Option<Payback>, declared: Option<Payback>) -> Vec<String> {
    let told = |payback: Payback| {
        let never = "never";
        format!(
            "{} years ({} to {} at 90 %)",
            years(payback.years, never),
            years(payback.from, never),
            years(payback.to, "perhaps never")
        )
    };
    let lines = statements.promise.iter().flat_map(|promise| &promise.declared);
    let names: Vec<String> = lines.map(|(name, money)| format!("{name} {}", signed(*money, 0))).collect();
    let mut texts: Vec<String> = alone
        .map(|payback| format!("{} on electricity alone, if every year were like the time covered", told(payback)))
        .into_iter()
        .collect();
    texts.extend(declared.map(|payback| {
        format!("{} with the declared lines, which nobody measured: {}", told(payback), names.join(", "))
    }));
    texts
}

fn carbon(statements: &Statements) -> Vec<String> {
    let all: Option<Vec<Co2e>> = statements.presses.iter().map(|one| one.worth.carbon).collect();
    let Some(all) = all.filter(|all| !all.is_empty()) else { return Vec::new() };
    let unit = if statements.presses.iter().any(|one| one.worth.co2_only) { "tCO2" } else { "tCO2e" };
    let total: Co2e = all.into_iter().sum();
    vec![format!(
        "{} {unit} avoided by location; outside scope 2, and never subtracted from it",
        plain(total.kg() / 1e3, 2)
    )]
}

/// Heat, in words.
pub fn heat(statements: &Statements) -> Vec<String> {
    let Some(heat) = statements.together.as_ref().and_then(|all| all.heat) else { return Vec::new() };
    let side = |kwh: f64| if kwh < 0.0 { "more" } else { "less" };
    let told = |kwh: f64, what: &str| format!("{} kWh {} {what}", plain(kwh.abs(), 0), side(kwh));
    let mut texts =
        vec![told(heat.lamps_kwh, "fuel for heating, on account of what the lamps give to the hall (scope 1)")];
    texts.push(heat.air_kwh.map_or("make-up air: not stated, or the outdoor temperature is not known".into(), |kwh| {
        told(kwh, "fuel for heating make-up air (scope 1)")
    }));
    texts.extend(heat.cooling_kwh.map(|kwh| told(kwh, "electricity for cooling")));
    texts
}

/// Money as a table prints it.
pub fn banded(one: &Statement, currency: &str) -> Table {
    let mut grid = Grid::new("Avoided energy by tariff band")
        .words("Tariff")
        .words("Band")
        .numbers("Price", &format!("{currency}/kWh"))
        .numbers("Avoided", "kWh")
        .decimals("Money", currency, 2);
    for band in &one.worth.bands {
        grid.row(
            "plain",
            vec![
                band.tariff.clone().into(),
                band.name.clone().into(),
                band.price.to_string().into(),
                Cell::of(band.energy, String::new()),
                Cell::of(band.money, String::new()),
            ],
        );
    }
    let energy: Energy = one.worth.bands.iter().map(|band| band.energy).sum();
    let total = money(one.worth.money, 2);
    grid.row("sum", vec!["Together".into(), "".into(), "".into(), Cell::of(energy, String::new()), total.into()]);
    grid.finish()
}
