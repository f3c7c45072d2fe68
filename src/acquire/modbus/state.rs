//! The state of each meter as the agent knows it.

use super::{Answer, Fault};
use crate::names::MeterId;
use crate::readings::Quantity;
use crate::sources::{Block, Exception, Line, NoValue};
use crate::time::At;
use std::fmt;

/// How a meter fares.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Condition {
    /// It has not been asked yet.
    Unasked,
    /// It answers, in so many milliseconds.
    Answering(u64),
    /// It answers, but takes more than half of the time-out, or longer than it; in milliseconds.
    Slow(u64),
    /// It does not answer.
    Silent,
    /// It, or its gateway, refuses a block.
    Refusing(Block, Exception),
    /// What comes is no answer to what was asked.
    Garbled(String),
    /// There is no connection to its line; the reason.
    Unreachable(String),
}

impl Condition {
    /// What a poll says about it; `timeout` in milliseconds.
    fn of(answer: &Answer, timeout: u64) -> Self {
        match (answer.faults.last(), answer.round_trip) {
            (Some(Fault::Unreachable(why)), _) => Self::Unreachable(why.clone()),
            (Some(Fault::Closed), _) => Self::Garbled(Fault::Closed.to_string()),
            (Some(Fault::Refused(block, exception)), _) => Self::Refusing(*block, *exception),
            (Some(Fault::Garbled(what)), _) => Self::Garbled(what.clone()),
            (Some(Fault::Late(millis)), _) => Self::Slow(*millis),
            (Some(Fault::Silent), _) | (None, None) => Self::Silent,
            (None, Some(millis)) if 2 * millis > timeout => Self::Slow(millis),
            (None, Some(millis)) => Self::Answering(millis),
        }
    }

    /// The word for it.
    pub const fn word(&self) -> &'static str {
        match self {
            Self::Unasked => "unasked",
            Self::Answering(_) => "answering",
            Self::Slow(_) => "slow",
            Self::Silent => "silent",
            Self::Refusing(..) => "refusing",
            Self::Garbled(_) => "garbled",
            Self::Unreachable(_) => "unreachable",
        }
    }
}

impl fmt::Display for Condition {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())?;
        match self {
            Self::Unasked | Self::Silent => Ok(()),
            Self::Answering(millis) | Self::Slow(millis) => write!(f, " in {millis} ms"),
            Self::Refusing(block, exception) => write!(f, " {block} with {exception}"),
            Self::Garbled(what) => write!(f, ": {what}"),
            Self::Unreachable(why) => write!(f, ": {why}"),
        }
    }
}

/// The state of one meter, with its counters since the agent began.
#[derive(Clone, Debug, PartialEq)]
pub struct MeterState {
    /// The measuring point.
    pub meter: MeterId,
    /// How it fares.
    pub condition: Condition,
    /// Since when it fares so.
    pub since: At,
    /// When it last gave a value.
    pub last_value: Option<At>,
    /// How often it was asked.
    pub polls: u64,
    /// How often every request of a poll was answered.
    pub answers: u64,
    /// How many polls fell out because the line was still busy.
    pub overruns: u64,
    /// How many milliseconds after it was due the last poll began.
    pub lateness: u64,
    /// The longest such time.
    pub worst_lateness: u64,
    /// What of its map was read but gave no value at the last poll, and why.
    pub missing: Vec<(Quantity, NoValue)>,
}

impl MeterState {
    /// A meter that has not been asked yet.
    pub(super) const fn unasked(meter: MeterId, now: At) -> Self {
        Self {
            meter,
            condition: Condition::Unasked,
            since: now,
            last_value: None,
            polls: 0,
            answers: 0,
            overruns: 0,
            lateness: 0,
            worst_lateness: 0,
            missing: Vec::new(),
        }
    }

    /// Notes that a poll begins, so many milliseconds after it was due.
    pub(super) fn begins(&mut self, lateness: u64) {
        self.polls += 1;
        self.lateness = lateness;
        self.worst_lateness = self.worst_lateness.max(lateness);
    }

    /// Takes in what a poll says; whether the meter now fares otherwise than before.
    pub(super) fn take(&mut self, answer: &Answer, timeout: u64) -> bool {
        self.answers += u64::from(answer.faults.is_empty());
        if answer.round_trip.is_some() {
            self.last_value = Some(answer.at);
        }
        let missing = answer.values().filter_map(|(register, value)| Some((register.quantity, value.err()?)));
        self.missing = missing.filter(|(_, why)| *why != NoValue::NotRead).collect();
        let condition = Condition::of(answer, timeout);
        let changed = condition.word() != self.condition.word();
        if changed {
            self.since = answer.at;
        }
        self.condition = condition;
        changed
    }
}

/// The state of a line.
#[derive(Clone, Debug, PartialEq)]
pub struct LineState {
    /// `host:port`.
    pub endpoint: String,
    /// Its meters, sorted by id.
    pub meters: Vec<MeterState>,
}

impl LineState {
    /// A line whose meters have not been asked yet.
    pub fn unasked(line: &Line, now: At) -> Self {
        let meters = line.meters.iter().map(|polled| MeterState::unasked(polled.meter.clone(), now)).collect();
        Self { endpoint: line.endpoint.clone(), meters }
    }
}
