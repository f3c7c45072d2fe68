//! The same statements in exact numbers, for scripts.

use super::first::{Answer, in_money, verdicts};
use crate::plant::Plant;
use crate::verify::savings::{Question, Savings};
use crate::verify::statement::{SharedSaving, Statement, Statements};
use crate::verify::{Bridge, Capacity, Cause, Confidence, Estimate, Supply, Whole};
use serde::Serialize;
use std::collections::BTreeMap;

/// Statements in exact numbers.
#[derive(Clone, Debug, Serialize)]
pub struct Exact {
    /// One for each press.
    pub presses: Vec<ExactPress>,
    /// What is missing for another press, and which command does it.
    pub missing: BTreeMap<String, String>,
    /// One for each shared load with a baseline of its own.
    pub loads: Vec<ExactLoad>,
    /// Apparent power of all presses together.
    pub capacity: Option<ExactCapacity>,
    /// kVA that the promise states as freed.
    pub promised_kva: Option<f64>,
    /// What the promise says against itself.
    pub promise_remarks: Vec<String>,
}

/// One shared load in exact numbers.
#[derive(Clone, Debug, Serialize)]
pub struct ExactLoad {
    load: String,
    baseline: &'static str,
    baseline_sha256: String,
    first_day: String,
    last_day: String,
    days: usize,
    promised_kwh: Option<f64>,
    measured_kwh: Value,
    /// What adjustments add to the measured saving.
    adjusted_kwh: f64,
    needed_by: Vec<String>,
    questions: Vec<ExactQuestion>,
}

/// One press in exact numbers.
#[derive(Clone, Debug, Serialize)]
pub struct ExactPress {
    press: String,
    answer: Answer,
    verdict: String,
    next_look: Option<String>,
    baseline: &'static str,
    baseline_sha256: String,
    is_measured: bool,
    first_day: String,
    last_day: String,
    days: usize,
    days_aside: BTreeMap<&'static str, usize>,
    promised_kwh: Option<f64>,
    at_operation_kwh: Option<f64>,
    expected_kwh: f64,
    actual_kwh: f64,
    avoided_kwh: Value,
    normalised_kwh: Option<Value>,
    performance: Option<Value>,
    outcome: Option<Value>,
    lasting_share_90: f64,
    steps: Vec<ExactStep>,
    unexplained_kwh: Option<f64>,
    money: Option<Value>,
    co2e_kg: Option<f64>,
    capacity: Option<ExactCapacity>,
    capacity_unknown: Option<String>,
    questions: Vec<ExactQuestion>,
}

/// Highest apparent powers at as many stations lit.
#[derive(Clone, Debug, Serialize)]
pub struct ExactCapacity {
    taken_at: Option<&'static str>,
    intervals: usize,
    before_kva: f64,
    after_kva: f64,
    freed_kva: f64,
    leading_share: f64,
}

impl From<&Capacity> for ExactCapacity {
    fn from(found: &Capacity) -> Self {
        Self {
            taken_at: found.supply.map(Supply::word),
            intervals: found.intervals,
            before_kva: found.before,
            after_kva: found.after,
            freed_kva: found.freed(),
            leading_share: found.leading,
        }
    }
}

/// A value with its half-widths.
#[derive(Clone, Copy, Debug, Serialize)]
struct Value {
    value: f64,
    half_width_68: f64,
    half_width_90: f64,
    half_width_95: f64,
}

#[derive(Clone, Debug, Serialize)]
struct ExactStep {
    cause: &'static str,
    with: Vec<&'static str>,
    kwh: f64,
    money: Option<f64>,
    co2e_kg: Option<f64>,
}

#[derive(Clone, Debug, Serialize)]
struct ExactQuestion {
    factor: String,
    found: String,
    answer: Option<String>,
}

impl From<Estimate> for Value {
    fn from(estimate: Estimate) -> Self {
        let [half_width_68, half_width_90, half_width_95] = Confidence::ALL.map(|c| estimate.half_width(c));
        Self { value: estimate.value, half_width_68, half_width_90, half_width_95 }
    }
}

/// The statements in exact numbers.
pub fn exact(plant: &Plant, statements: &Statements) -> Exact {
    let told = verdicts(plant, statements);
    let each = |(one, told): (&Statement, super::Verdict)| press(one, told);
    Exact {
        presses: statements.presses.iter().zip(told).map(each).collect(),
        missing: statements.missing.iter().map(|(press, why)| (press.to_string(), why.clone())).collect(),
        loads: statements.shared.iter().map(load).collect(),
        capacity: statements.together.as_ref().and_then(|all| all.capacity.as_ref().ok()).map(Into::into),
        promised_kva: super::capacity::promised(statements),
        promise_remarks: statements.remarks.clone(),
    }
}

fn load(one: &SharedSaving) -> ExactLoad {
    ExactLoad {
        load: one.load.to_string(),
        baseline: one.frozen.kind.word(),
        baseline_sha256: one.sha256.clone(),
        first_day: one.savings.period.0.to_string(),
        last_day: one.savings.period.1.to_string(),
        days: one.savings.counted,
        promised_kwh: one.promised.map(|(promised, _)| promised),
        measured_kwh: one.savings.avoided.into(),
        adjusted_kwh: one.savings.adjustments.iter().fold(0.0, |all, one| all - one.kwh),
        needed_by: one.needed_by.iter().map(ToString::to_string).collect(),
        questions: questions(&one.savings),
    }
}

fn press(one: &Statement, told: super::Verdict) -> ExactPress {
    let (savings, against) = (&one.savings, one.against.as_ref().ok());
    let reconciled = against.map(|against| against.reconciled);
    ExactPress {
        press: one.press.to_string(),
        answer: told.answer,
        verdict: told.text,
        next_look: against.map(|against| against.looks.1.to_string()),
        baseline: one.frozen.kind.word(),
        baseline_sha256: one.sha256.clone(),
        is_measured: one.frozen.kind.is_measured(),
        first_day: savings.period.0.to_string(),
        last_day: savings.period.1.to_string(),
        days: savings.counted,
        days_aside: savings.aside.iter().map(|(aside, days)| (aside.word(), *days)).collect(),
        promised_kwh: reconciled.map(|r| r.promised),
        at_operation_kwh: reconciled.map(|r| r.at_operation),
        expected_kwh: savings.expected,
        actual_kwh: savings.actual,
        avoided_kwh: savings.avoided.into(),
        normalised_kwh: savings.normalised.as_ref().map(|normalised| normalised.saved.into()),
        performance: reconciled.and_then(|r| r.performance).map(Into::into),
        outcome: reconciled.and_then(|r| r.outcome).map(Into::into),
        lasting_share_90: one.floor(),
        steps: against.map(steps).unwrap_or_default(),
        unexplained_kwh: against.map(|against| against.energy.unexplained.kwh()),
        money: in_money(one).map(Into::into),
        co2e_kg: one.worth.carbon.filter(|_| !one.worth.co2_only).map(|carbon| carbon.kg()),
        capacity: one.capacity.as_ref().ok().map(Into::into),
        capacity_unknown: one.capacity.as_ref().err().map(ToString::to_string),
        questions: questions(savings),
    }
}

fn questions(savings: &Savings) -> Vec<ExactQuestion> {
    let told =
        |q: &Question| ExactQuestion { factor: q.factor.clone(), found: q.found.clone(), answer: q.answer.clone() };
    savings.questions.iter().map(told).collect()
}

fn steps(against: &crate::verify::statement::Against) -> Vec<ExactStep> {
    let step = |step: &crate::verify::Step<_>| ExactStep {
        cause: step.cause.word(),
        with: step.with.iter().map(|cause| cause.word()).collect(),
        kwh: crate::units::Energy::kwh(step.amount),
        money: against.money.as_ref().and_then(|bridge| Some(amount(bridge, step.cause)?.units())),
        co2e_kg: against.carbon.as_ref().and_then(|bridge| Some(amount(bridge, step.cause)?.kg())),
    };
    against.energy.steps.iter().map(step).collect()
}

/// What a cause moves in a bridge; `None` where the bridge does not know it.
pub fn amount<Q: Whole>(bridge: &Bridge<Q>, cause: Cause) -> Option<Q> {
    bridge.steps.iter().find(|step| step.cause == cause).map(|step| step.amount)
}
