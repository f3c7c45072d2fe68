//! What a poll found, in words for the person at the terminal: the values in their units, what is wrong, and what to
//! look at.

use super::explain::explain;
use super::{Answer, Fault};
use crate::plant::Plant;
use crate::readings::Quantity;
use crate::sources::{ByteOrder, Line, NoValue, Register, WordOrder, doubt};
use crate::time::At;
use serde::{Deserialize, Serialize};

/// What a poll found at one meter.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Told {
    /// `host:port` of its line.
    pub endpoint: String,
    /// The measuring point.
    pub meter: String,
    /// Unit id on the line.
    pub unit: u8,
    /// Name of its register map.
    pub map: String,
    /// Whether the device, or at least its gateway, gave an answer about it.
    pub reached: bool,
    /// The longest time of an answer in milliseconds.
    pub round_trip_ms: Option<u64>,
    /// Its values as the device shows them, before the transformers of the configuration.
    pub values: Vec<ToldValue>,
    /// What is wrong.
    pub problems: Vec<Problem>,
}

/// One value of a meter.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ToldValue {
    /// What it is.
    pub quantity: String,
    /// The value; `None` where there is none.
    pub value: Option<f64>,
    /// Its unit.
    pub unit: String,
    /// How many decimals are worth showing.
    pub decimals: usize,
    /// The registers as they came, in hexadecimal.
    pub raw: String,
    /// Why there is no value.
    pub why: Option<String>,
}

/// Something that is wrong.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Problem {
    /// What was found.
    pub what: String,
    /// What to look at.
    pub look: String,
}

impl Problem {
    pub(super) fn new(what: impl Into<String>, look: impl Into<String>) -> Self {
        Self { what: what.into(), look: look.into() }
    }
}

/// Tells the answers of the lines of a plant, in their order.
pub fn tell(plant: &Plant, lines: &[Line], answers: &[Answer]) -> Vec<Told> {
    let on = |line: &Line, answer: &Answer| line.meters.iter().any(|polled| polled.meter == answer.polled.meter);
    let told = |answer: &Answer| {
        let line = lines.iter().find(|line| on(line, answer))?;
        let others = answers.iter().filter(|other| on(line, other) && other.polled.meter != answer.polled.meter);
        let max_watts = plant.meter(&answer.polled.meter).map(|meter| meter.max_watts);
        let all_silent = line.meters.len() > 1 && others.into_iter().all(|other| !reached(other));
        Some(tell_one(line, answer, max_watts, all_silent))
    };
    answers.iter().filter_map(told).collect()
}

fn tell_one(line: &Line, answer: &Answer, max_watts: Option<i64>, all_silent: bool) -> Told {
    let mut problems: Vec<Problem> =
        answer.faults.iter().map(|fault| explain(line, answer, fault, all_silent)).collect();
    if let Some(millis) = answer.round_trip.filter(|millis| 2 * millis > line.timeout) {
        problems.push(Problem::new(
            format!("answers in {millis} ms, more than half of the time-out of {} ms", line.timeout),
            "baud rate and number of meters behind the gateway; or raise `timeout` of the line",
        ));
    }
    problems.extend(answer.values().filter_map(|(register, value)| doubted(answer, register, &value, max_watts)));
    Told {
        endpoint: line.endpoint.clone(),
        meter: answer.polled.meter.to_string(),
        unit: answer.polled.unit,
        map: answer.polled.map.name.clone(),
        reached: reached(answer),
        round_trip_ms: answer.round_trip,
        values: answer.values().map(|(register, value)| tell_value(answer, register, value.map(|(_, n)| n))).collect(),
        problems,
    }
}

/// Whether anybody gave an answer about the meter; a gateway that misses the unit did not reach it.
fn reached(answer: &Answer) -> bool {
    let heard = |fault: &Fault| match fault {
        Fault::Refused(_, exception) => !exception.is_of_gateway(),
        Fault::Late(_) | Fault::Garbled(_) => true,
        Fault::Silent | Fault::Closed | Fault::Unreachable(_) => false,
    };
    answer.round_trip.is_some() || answer.faults.iter().any(heard)
}

/// A value that is missing or cannot well be what the map says.
fn doubted(
    answer: &Answer,
    register: &Register,
    value: &Result<(At, i64), NoValue>,
    max_watts: Option<i64>,
) -> Option<Problem> {
    let (quantity, map) = (register.quantity, &answer.polled.map.name);
    let (_, words) = answer.image.words(register)?;
    if let Some(doubt) = doubt(register, words, answer.image.scale(register), max_watts) {
        let what = format!("{quantity} of {} is implausible", show(quantity, doubt.value));
        let place = format!("registers/{map}.toml");
        let orders: Vec<String> = doubt.explained_by.iter().map(|(w, b, v)| order(quantity, *w, *b, *v)).collect();
        return Some(match orders.is_empty() {
            true => {
                Problem::new(what, format!("address, `type`, `unit` and `step` in {place}; ratios set in the device"))
            }
            false => Problem::new(what, format!("order of the registers in {place}: {}", orders.join("; "))),
        });
    }
    match value {
        Err(NoValue::NotRead) | Ok(_) => None,
        Err(why) => Some(Problem::new(
            format!("{quantity} has no value: {why}"),
            format!("whether the device measures it in this wiring; otherwise take it out of registers/{map}.toml"),
        )),
    }
}

/// The value that another order would give.
fn order(quantity: Quantity, words: WordOrder, bytes: ByteOrder, value: f64) -> String {
    let words = if words == WordOrder::Big { "big" } else { "little" };
    let bytes = if bytes == ByteOrder::Big { "big" } else { "little" };
    format!("words = \"{words}\", bytes = \"{bytes}\" would give {}", show(quantity, value))
}

fn tell_value(answer: &Answer, register: &Register, count: Result<i64, NoValue>) -> ToldValue {
    let (unit, size, decimals) = register.quantity.unit();
    let words = answer.image.words(register).map(|(_, words)| words).unwrap_or_default();
    ToldValue {
        quantity: register.quantity.to_string(),
        value: count.as_ref().ok().map(|count| *count as f64 * register.step.to_f64() / size as f64),
        unit: unit.into(),
        decimals,
        raw: words.iter().map(|word| format!("{word:04X}")).collect::<Vec<_>>().join(" "),
        why: count.err().map(|why| why.to_string()),
    }
}

/// A value given in the base unit, with its unit; very small and very large ones with an exponent.
fn show(quantity: Quantity, base: f64) -> String {
    let (unit, size, decimals) = quantity.unit();
    let value = base / size as f64;
    let number = match value.abs() {
        small if small > 0.0 && small < 1e-3 => format!("{value:.1e}"),
        large if large >= 1e9 => format!("{value:.1e}"),
        _ => format!("{value:.decimals$}"),
    };
    format!("{number} {unit}").trim_end().to_owned()
}
