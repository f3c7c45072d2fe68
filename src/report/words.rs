//! The trade's words for closed sets, as the page and the files print them.

use super::jobs::NoFigure;
use crate::attribute::{Amount, Claim, LampState, Placed, PressState};
use crate::carbon::Status;
use crate::found::Remark;
use crate::plant::LampKind;

/// What the words of a column on the amount mean.
pub const HOW_KNOWN: &str =
    "How the amount is known: metered, integrated (from power readings), estimated (by a stated rule) or missing";

/// What the words of a column on the place in time mean.
pub const HOW_PLACED: &str = "How its place in time is known: measured (at the time at which it was used), \
                              within (shared evenly between two readings), interpolated (spread over a gap) or \
                              estimated (by a stated rule)";

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
        Placed::Within => "within",
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

/// Why a job has no energy per length.
pub const fn no_figure(reason: NoFigure) -> &'static str {
    match reason {
        NoFigure::NoEnd => "no end recorded",
        NoFigure::NoLength => "no good length recorded",
        NoFigure::Outside => "not wholly inside the days known",
        NoFigure::EnergyMissing => "energy missing",
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
        Remark::LargeRest => "Large unmetered rest",
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
        Remark::RunConflict => {
            Some("Put start and end of these jobs right where they are keyed, and import them again.")
        }
        Remark::Basis => Some("Add the tariff or factor set that the period needs."),
        Remark::LargeRest => {
            Some("Find the largest loads in it, such as compressed air, air handling and light, and have them metered.")
        }
        Remark::RolledOver | Remark::Gap | Remark::CoarseSteps | Remark::Clock => None,
    }
}
