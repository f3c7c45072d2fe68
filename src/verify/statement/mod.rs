//! The statement: what came of the promise, press by press and together, with all that a reader may ask about it.

mod shared;
mod together;
#[cfg(test)]
mod tests;
mod worth;

pub use shared::SharedSaving;
pub use together::Together;
pub use worth::{Band, Worth};

use super::baseline::{Fitted, Frozen, Kind, Refused, over, shown};
use super::savings::{Reporting, Savings, comparable, savings};
use super::words::listed;
use super::{
    Aside, BothSides, Bridge, Capacity, CapacityUnknown, Confidence, Day, Factors, Group, HeatDay, Judged, Judgement,
    Operation, Promise, Rate, Reconciled, Scope, Untold, YEAR, YearlySaving, judge, levels, looks, operation,
    reconcile, yearly_savings,
};
use crate::carbon::FactorSet;
use crate::cost::Tariff;
use crate::names::{LoadId, PressId, StationId};
use crate::plant::Plant;
use crate::readings::{Event, Run};
use crate::stats::gum;
use crate::units::{Co2e, Energy, Money};
use crate::verify::Driver;
use chrono::{Datelike, NaiveDate};
use std::borrow::Cow;

/// What the statements of a plant rest on.
#[derive(Clone, Copy, Debug)]
pub struct Basis<'a> {
    /// The plant, with recorded events folded in.
    pub plant: &'a Plant,
    /// The promise, or why there is none and what to do about it.
    pub promise: Result<&'a Promise, &'a str>,
    /// The events in force.
    pub events: &'a [Event],
    /// Tariffs, sorted by their first day.
    pub tariffs: &'a [Tariff],
    /// Factor sets, sorted by region and first day.
    pub factors: &'a [FactorSet],
}

/// What the statement on one press rests on.
#[derive(Clone, Copy, Debug)]
pub struct Evidence<'a> {
    /// Its scope, with its conversion.
    pub scope: &'a Scope,
    /// The frozen baseline.
    pub frozen: &'a Frozen,
    /// SHA-256 of the text of that baseline.
    pub sha256: &'a str,
    /// Whether its days have been corrected since it was frozen.
    pub is_changed: bool,
    /// The days of the baseline, as the facts have them today.
    pub before: &'a [Day],
    /// The days since the acceptance, in order.
    pub after: &'a [Day],
    /// The runs of the press that touch them.
    pub runs: &'a [Run],
}

/// What can be said about one press.
#[derive(Clone, Debug)]
pub struct Statement {
    /// The press.
    pub press: PressId,
    /// Its scope.
    pub scope: Scope,
    /// The baseline.
    pub frozen: Frozen,
    /// SHA-256 of the text of the baseline.
    pub sha256: String,
    /// Whether its days have been corrected since it was frozen.
    pub is_changed: bool,
    /// What the baseline's own points say of its model.
    pub fitted: Option<Fitted>,
    /// The saving since the acceptance.
    pub savings: Savings,
    /// Share of the saving's standard uncertainty that does not shrink however long one measures, over the saving.
    pub lasting: f64,
    /// What it was worth.
    pub worth: Worth,
    /// The promise held against it, or why that cannot be done.
    pub against: Result<Against, String>,
    /// What its supply drew on both sides of the conversion, or why that is not known.
    pub supply: Result<BothSides, CapacityUnknown>,
    /// Apparent power at matched load.
    pub capacity: Result<Capacity, CapacityUnknown>,
    /// Its days as the hall feels them.
    pub heat: Vec<HeatDay>,
}

/// A promise held against a saving.
#[derive(Clone, Debug)]
pub struct Against {
    /// The promise for the hours that count.
    pub promised: Factors,
    /// The same for a year.
    pub yearly: Factors,
    /// What really was.
    pub operation: Operation,
    /// Stations at which the level was not signalled while their lamps cured, before or after.
    pub without_level: Vec<StationId>,
    /// Promised, promise at actual operation, measured, and the two rates.
    pub reconciled: Reconciled,
    /// The verdict on what the supplier answers for.
    pub performance: Option<Judgement>,
    /// The verdict on what finance sees.
    pub outcome: Option<Judgement>,
    /// The last fixed date that has come, and the next.
    pub looks: (Option<NaiveDate>, NaiveDate),
    /// From promised to measured.
    pub energy: Bridge<Energy>,
    /// The same in money, with the price as a cause.
    pub money: Option<Bridge<Money>>,
    /// The same in carbon, with the grid factor as a cause.
    pub carbon: Option<Bridge<Co2e>>,
    /// The year at other prices and curing hours.
    pub sensitivity: Vec<YearlySaving>,
}

/// The statements of a plant.
#[derive(Clone, Debug)]
pub struct Statements {
    /// One for each converted press that has a frozen baseline, in the order of the plant.
    pub presses: Vec<Statement>,
    /// What keeps another converted press from having one, and what to do about it: a press and a sentence each.
    pub missing: Vec<(PressId, String)>,
    /// One for each shared load that has a frozen baseline, in the order of the plant.
    pub shared: Vec<SharedSaving>,
    /// What keeps a load that the promise names from having one.
    pub shared_missing: Vec<(LoadId, String)>,
    /// All of them as one; `None` where one of a press is missing.
    pub together: Option<Together>,
    /// The promise, where there is one.
    pub promise: Option<Promise>,
    /// What the promise says that does not fit together.
    pub remarks: Vec<String>,
}

impl Statements {
    /// Puts statements together.
    pub fn new(
        basis: &Basis<'_>,
        (presses, missing): (Vec<Statement>, Vec<(PressId, String)>),
        (shared, shared_missing): (Vec<SharedSaving>, Vec<(LoadId, String)>),
    ) -> Self {
        let all: Vec<&Statement> = presses.iter().collect();
        let promise = basis.promise.ok();
        Self {
            together: promise.and_then(|promise| Together::of(promise, &all, &shared)),
            promise: promise.cloned(),
            remarks: promise.map(|promise| super::check(promise, basis.plant)).unwrap_or_default(),
            presses,
            missing,
            shared,
            shared_missing,
        }
    }
}

/// The statement on a press.
///
/// # Errors
/// Unequal boundaries, or no day that counts.
pub fn statement(basis: &Basis<'_>, evidence: &Evidence<'_>) -> Result<Statement, Refused> {
    let Evidence { scope, frozen, .. } = *evidence;
    let Judged::Press(press) = &scope.judged else {
        return Err(Refused::NotMetered { judged: scope.judged.to_string() });
    };
    let after = counting(frozen, evidence.after);
    let savings = saved(basis, evidence, &after)?;
    let fitted = over(&frozen.form, frozen.points.clone()).ok();
    let supply = supply(evidence, &after);
    let worth = Worth::of(basis.plant, (basis.tariffs, basis.factors), evidence.runs, &savings, frozen.form.interval);
    Ok(Statement {
        press: press.clone(),
        scope: scope.clone(),
        frozen: frozen.clone(),
        sha256: evidence.sha256.to_owned(),
        is_changed: evidence.is_changed,
        fitted,
        lasting: lasting(frozen, &savings),
        against: against(basis, evidence, &after, &savings, &worth),
        heat: heat(&savings, &after),
        capacity: supply.as_ref().map_err(|why| *why).and_then(BothSides::capacity),
        supply,
        savings,
        worth,
    })
}

/// What the supply of a scope drew on both sides. Days on which lamps of the other kind were fitted compare with nothing.
fn supply(evidence: &Evidence<'_>, after: &[Day]) -> Result<BothSides, CapacityUnknown> {
    if evidence.scope.stations.is_empty() {
        return Err(CapacityUnknown::NoStations);
    }
    // What another press or station drew says nothing of this supply.
    let is_own = evidence.frozen.kind.other().is_none();
    let before = evidence.before.iter().filter(|_| is_own);
    let counts = |day: &&Day| matches!(day.aside, None | Some(Aside::Lost | Aside::DriverUnknown));
    BothSides::of(before.filter(counts).map(|day| &day.powers), after.iter().filter(counts).map(|day| &day.powers))
}

/// Days whose drivers the model does not know count for nothing else either, so that both sides cover the same hours; nor
/// do the days of a test, on which the old lamps were fitted.
fn counting(frozen: &Frozen, days: &[Day]) -> Vec<Day> {
    let tested = |day: &Day| frozen.kind == Kind::LampExchangeTest && frozen.points.dates.contains(&day.date);
    let mark = |day: &Day| {
        let aside = match day.aside {
            None if tested(day) => Some(Aside::OtherLamp),
            None if !frozen.counts(day) => Some(Aside::DriverUnknown),
            aside => aside,
        };
        Day { aside, ..day.clone() }
    };
    days.iter().map(mark).collect()
}

fn saved(basis: &Basis<'_>, evidence: &Evidence<'_>, after: &[Day]) -> Result<Savings, Refused> {
    let plant = basis.plant;
    let (first, last) = match (after.first(), after.last()) {
        (Some(first), Some(last)) => (first.date, last.date),
        _ => return Err(Refused::TooFew { found: 0, point: "day", needed: 1, aside: Vec::new() }),
    };
    let span = plant.zone.days(first, last);
    let boundary = shown(plant, evidence.scope, span)?;
    let reporting = Reporting { plant, boundary, events: basis.events, baseline: evidence.before };
    savings(evidence.frozen, after, &reporting)
}

/// Coefficients, ratings, meters, adjustments and corrections of boundaries stay as unsure as they are; the scatter of the
/// days averages out.
fn lasting(frozen: &Frozen, savings: &Savings) -> f64 {
    let coefficients = match &savings.formulas {
        Some(formulas) => frozen.model.rmse * formulas.carried_term.max(0.0).sqrt(),
        None => savings.parts.model,
    };
    let parts = &savings.parts;
    let all = gum::combined([coefficients, parts.meters.unwrap_or(0.0), parts.adjustments, parts.boundaries]);
    if savings.avoided.value == 0.0 { 0.0 } else { all / savings.avoided.value.abs() }
}

fn against(
    basis: &Basis<'_>,
    evidence: &Evidence<'_>,
    after: &[Day],
    savings: &Savings,
    worth: &Worth,
) -> Result<Against, String> {
    let scope = evidence.scope;
    let promise = basis.promise?;
    let groups: Vec<&Group> =
        promise.groups.iter().filter(|group| scope.judged.press() == Some(&group.press)).collect();
    if groups.is_empty() {
        return Err(format!("the promise says nothing of {}", scope.judged));
    }
    let unlike = stations_apart(scope, &groups);
    if !unlike.is_empty() {
        return Err(unlike);
    }
    let yearly = Factors::promised(&groups, &[], YEAR);
    let compare = |days: &[Day], savings: &Savings| -> Result<(Factors, Operation, Reconciled), Untold> {
        let hours = days.iter().filter(|day| day.aside.is_none()).map(|day| day.hours).sum();
        let promised = Factors::promised(&groups, &[], hours);
        let operation = operation(&promised, &old_days(evidence, days), &comparable(&savings.alike, days))?;
        let reconciled = reconcile(&promised, &operation, savings.avoided);
        Ok((promised, operation, reconciled))
    };
    let (promised, operation, reconciled) = compare(after, savings).map_err(|why| why.to_string())?;
    let zone = basis.plant.zone;
    let accepted = scope.implementation.map_or(savings.period.0, |period| zone.date(period.end));
    let looks = looks(promise.contract.as_ref(), accepted, savings.period.1.succ_opt().unwrap_or(savings.period.1));
    // What is judged are the data up to the date that has come; a look a month would err more often than is stated.
    let at_look = match looks.0 {
        None => Some((reconciled, lasting(evidence.frozen, savings), questions(savings))),
        Some(due) => {
            let until: Vec<Day> = after.iter().filter(|day| day.date < due).cloned().collect();
            saved(basis, evidence, &until).ok().and_then(|savings| {
                let (_, _, reconciled) = compare(&until, &savings).ok()?;
                Some((reconciled, lasting(evidence.frozen, &savings), questions(&savings)))
            })
        }
    };
    let judged = |of: Rate| {
        let (reconciled, lasting, questions) = at_look.as_ref()?;
        let rate = match of {
            Rate::Performance => reconciled.performance?,
            Rate::Outcome => reconciled.outcome?,
        };
        Some(judge(of, rate, *lasting, looks, questions))
    };
    let avoided = savings.avoided.value;
    let price = worth.price(avoided);
    let factor = promise.grid_kg.zip(worth.factor(avoided));
    Ok(Against {
        performance: judged(Rate::Performance),
        outcome: judged(Rate::Outcome),
        energy: operation.bridge(&promised, (1.0, 1.0), savings.avoided),
        money: price.map(|price| operation.bridge(&promised, (promise.price, price), savings.avoided.times(price))),
        carbon: factor.map(|(then, now)| operation.bridge(&promised, (then, now), savings.avoided.times(now))),
        sensitivity: yearly_savings(&operation.factors, price.unwrap_or(promise.price)),
        without_level: levels(&old_days(evidence, after), after).err().unwrap_or_default(),
        looks,
        promised,
        yearly,
        operation,
        reconciled,
    })
}

/// The days with the old lamps: those of the baseline, or the same days by ratings.
fn old_days<'a>(evidence: &Evidence<'a>, days: &[Day]) -> Cow<'a, [Day]> {
    match &evidence.frozen.ratings {
        Some(ratings) => days.iter().filter_map(|day| ratings.day(day)).collect(),
        None => Cow::Borrowed(evidence.before),
    }
}

/// Says where the promise and the conversion are about different stations.
fn stations_apart(scope: &Scope, groups: &[&Group]) -> String {
    let promised: Vec<_> = groups.iter().flat_map(|group| &group.stations).collect();
    let names = |of: Vec<&StationId>| listed(&of.iter().map(ToString::to_string).collect::<Vec<_>>());
    if scope.stations.is_empty() {
        return String::new();
    }
    let without: Vec<_> = scope.stations.iter().filter(|station| !promised.contains(station)).collect();
    let beyond: Vec<_> = promised.into_iter().filter(|station| !scope.stations.contains(station)).collect();
    match (without.is_empty(), beyond.is_empty()) {
        (true, true) => String::new(),
        (false, _) => format!("stations {} were converted and are in no group of the promise", names(without)),
        (true, false) => format!("the promise is about stations {}, which were not converted", names(beyond)),
    }
}

/// The questions that nobody answered.
fn questions(savings: &Savings) -> Vec<String> {
    let open = savings.questions.iter().filter(|question| question.answer.is_none());
    open.map(|question| question.found.clone()).collect()
}

fn heat(savings: &Savings, days: &[Day]) -> Vec<HeatDay> {
    let day = |(date, expected, actual): &(NaiveDate, f64, f64)| {
        let day = days.iter().find(|day| day.date == *date)?;
        Some(HeatDay {
            month: date.month(),
            old_kwh: *expected,
            new_kwh: *actual,
            curing_h: day.drivers.get(&Driver::RunH).copied().unwrap_or(0.0),
            outdoor_c: day.drivers.get(&Driver::Outdoor).copied(),
        })
    };
    savings.points.iter().filter_map(day).collect()
}

impl Statement {
    /// Questions that block its verdict.
    pub fn questions(&self) -> Vec<String> {
        questions(&self.savings)
    }

    /// Half of what baseline and meters leave open at 90 %, however long one measures, as a share of the saving.
    pub fn floor(&self) -> f64 {
        super::Estimate { value: 1.0, se: self.lasting, df: self.savings.avoided.df }.half_width(Confidence::P90)
    }
}
