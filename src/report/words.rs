//! The trade's words for closed sets, as the page and the files print them.

use crate::attribute::{Amount, Claim, LampState, Placed, PressState};
use crate::carbon::Status;
use crate::found::Remark;
use crate::plant::LampKind;

/// How the amount is known.
pub const fn amount(amount: Amount) -> &'static str {
    match amount {
        Amount::Metered => "metered",
        Amount::Integrated => "integrated",
        Amount::Estimated => "estimated",
        Amount::Missing => "missing",
    }
}

/// How its place in time is known.
pub const fn placed(placed: Placed) -> &'static str {
    match placed {
        Placed::Measured => "measured",
        Placed::Interpolated => "interpolated",
        Placed::Estimated => "estimated",
    }
}

/// By what right an owner is charged.
pub const fn claim(claim: Claim) -> &'static str {
    match claim {
        Claim::Own => "own",
        Claim::Shared => "shared",
        Claim::Rest => "rest",
        Claim::Unassigned => "unassigned",
    }
}

/// What a lamp is doing.
pub const fn lamp_state(state: LampState) -> &'static str {
    match state {
        LampState::Off => "off",
        LampState::WarmingUp => "warming-up",
        LampState::Standby => "standby",
        LampState::Curing => "curing",
    }
}

/// What a press is doing.
pub const fn press_state(state: PressState) -> &'static str {
    match state {
        PressState::Idle => "idle",
        PressState::MakeReady => "make-ready",
        PressState::Running => "running",
        PressState::Stopped => "stopped",
        PressState::NoJob => "no-job",
    }
}

/// A kind of lamp in running text.
pub const fn lamp(kind: LampKind) -> &'static str {
    match kind {
        LampKind::Arc => "arc",
        LampKind::Led => "LED",
    }
}

/// Whether a factor set may still change.
pub const fn status(status: Status) -> &'static str {
    match status {
        Status::Provisional => "provisional",
        Status::Final => "final",
    }
}

/// A kind of remark as a heading.
pub const fn remark(remark: Remark) -> &'static str {
    match remark {
        Remark::EnergyLost => "Energy not known",
        Remark::RolledOver => "Register rolled over",
        Remark::Reset => "Register started anew",
        Remark::Implausible => "Reading set aside",
        Remark::Contested => "Sources disagree",
        Remark::Gap => "No readings for a time",
        Remark::CoarseSteps => "Register too coarse for states",
        Remark::NegativeRest => "Sub-meters exceed their main",
        Remark::RunConflict => "Jobs in conflict",
        Remark::JobCoverage => "Web without job, or job without web",
        Remark::StateUnknown => "State or lamp not known",
        Remark::Clock => "Clock",
        Remark::Basis => "Price or factor missing",
    }
}

/// What to do about a remark; `None` where it is told for information.
pub const fn advice(remark: Remark) -> Option<&'static str> {
    match remark {
        Remark::EnergyLost | Remark::Reset => {
            Some("Find out whether the meter was exchanged or reset, and record it with its counts.")
        }
        Remark::Implausible => Some("Compare the meter's display with the reading; check its map and ratio."),
        Remark::Contested => Some("Decide which source is right and record a correction with its reason."),
        Remark::NegativeRest => {
            Some("Have the ratio and direction of the transformers checked by a licensed electrician.")
        }
        Remark::JobCoverage => Some("Complete the job records; single jobs of this press are indicative until then."),
        Remark::StateUnknown => Some("Record which lamp is fitted, or map a signal of its state."),
        Remark::Basis => Some("Add the tariff or factor set that the period needs."),
        Remark::RolledOver | Remark::Gap | Remark::CoarseSteps | Remark::RunConflict | Remark::Clock => None,
    }
}
