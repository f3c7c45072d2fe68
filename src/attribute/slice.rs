//! Usage, and usage with its owner.

use crate::names::{MeterId, PressId, RunId, StationId};
use crate::plant::LampKind;
use crate::readings::{Reading, Run, Series};
use crate::time::{At, Period};
use crate::units::Energy;
use chrono::NaiveDate;
use std::collections::BTreeMap;

/// How the amount of energy is known, best first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Amount {
    /// A difference of a register, or an interval value.
    Metered,
    /// Integrated from power, where there is no register.
    Integrated,
    /// Estimated by a stated rule.
    Estimated,
    /// Not known.
    Missing,
}

/// How its place in time is known, best first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Placed {
    /// Readings stand at both ends, within the meter's interval.
    Measured,
    /// The amount is known between two readings that lie no further apart than they should, and was shared over the
    /// time between them.
    Within,
    /// The amount is known over a gap and was shared over it.
    Interpolated,
    /// Placed by a stated rule.
    Estimated,
}

/// Energy of a meter in a period.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Usage {
    /// The measuring point.
    pub meter: MeterId,
    /// When.
    pub period: Period,
    /// How much; `None` where it cannot be known.
    pub energy: Option<Energy>,
    /// How the amount is known.
    pub amount: Amount,
    /// How its place in time is known.
    pub placed: Placed,
}

/// By what right an owner is charged.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Claim {
    /// The meter measures this owner alone.
    Own,
    /// Charged by a rule for a shared load. Never enters a saving.
    Shared,
    /// What a meter shows beyond the meters below it.
    Rest,
    /// No owner could be found.
    Unassigned,
}

/// What a press is doing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum PressState {
    /// The web stands and no job is on.
    Idle,
    /// A job is on and not yet ready to print.
    MakeReady,
    /// A job is on and the web moves.
    Running,
    /// A job is on and the web stands.
    Stopped,
    /// The web moves and no job is on.
    NoJob,
}

impl PressState {
    /// Whether the web moves in it.
    pub const fn is_moving(self) -> bool {
        matches!(self, Self::Running | Self::NoJob)
    }
}

/// What a lamp is doing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum LampState {
    /// Dark, at most its controls draw.
    Off,
    /// Coming up to its power.
    WarmingUp,
    /// Energised, behind its shutter.
    Standby,
    /// Curing.
    Curing,
}

/// Whom a slice belongs to. Whatever is `None` does not apply or is not known.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Owner {
    /// The press.
    pub press: Option<PressId>,
    /// The station.
    pub station: Option<StationId>,
    /// The kind of lamp fitted.
    pub lamp: Option<LampKind>,
    /// What the press was doing.
    pub press_state: Option<PressState>,
    /// What the lamp was doing.
    pub lamp_state: Option<LampState>,
    /// The run that it is charged to.
    pub run: Option<RunId>,
    /// By what right.
    pub claim: Claim,
}

/// Usage with its owner. A slice never crosses a quarter hour (or the native interval of its meter, where that is
/// longer), a local midnight, or a change of shift, run, state, lamp or device.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Slice {
    /// How much, when, how known.
    pub usage: Usage,
    /// Whose.
    pub owner: Owner,
}

/// What is known about one local day before attribution: readings from before its start to after its end, far enough
/// that every meter has a known instant beyond each, and the runs that touch it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct DayFacts {
    /// The readings in force of each series, in order of time.
    pub readings: BTreeMap<Series, Vec<Reading>>,
    /// The runs that touch the reach of the day.
    pub runs: Vec<Run>,
    /// The day is looked at up to this instant, so that what lies ahead of a day that still runs is not called
    /// missing; `None` for all of it.
    pub until: Option<At>,
}

/// One local day, attributed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DayLedger {
    /// The local day.
    pub date: NaiveDate,
    /// Usage of every meter at the longer of a quarter hour and its native interval, sorted by meter and time: what
    /// `intervals.csv` shows. Its sum for a meter is the meter's register difference over the day.
    pub usage: Vec<Usage>,
    /// The owned slices, sorted by meter, time and owner. Those of the top meters and all below add up to the top meters.
    pub slices: Vec<Slice>,
}
