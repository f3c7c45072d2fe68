//! Events: dated facts that are not measured values.

use crate::names::{Judged, LampId, MeterId, PressId, RunId, StationId};
use crate::readings::{Answer, Finding, Instrument, Rank, SupplierBill};
use crate::time::At;

/// A dated fact with its identity. The same identity with a higher rank or revision replaces it.
#[derive(Clone, Debug, PartialEq)]
pub struct Event {
    /// Its identity within its kind.
    pub id: String,
    /// Since when it holds.
    pub at: At,
    /// Who says so.
    pub rank: Rank,
    /// Which version of the statement; counts up from 0.
    pub revision: u32,
    /// What happened.
    pub what: Happening,
    /// Who recorded it by hand, and why; `None` for events of a source.
    pub note: Option<String>,
}

/// What happened.
#[derive(Clone, Debug, PartialEq)]
pub enum Happening {
    /// A job ran on a press.
    Run(Run),
    /// A lamp was fitted to a station, or taken out (`None`).
    LampFitted {
        /// The station.
        station: StationId,
        /// The lamp.
        lamp: Option<LampId>,
    },
    /// A meter's device was exchanged.
    DeviceExchanged {
        /// The measuring point.
        meter: MeterId,
        /// Serial number of the new device.
        serial: String,
        /// Last count of the import register of the old device, if it was read.
        end_count: Option<i64>,
        /// First count of the import register of the new device, if it was read.
        start_count: Option<i64>,
    },
    /// The transformer ratio in force from the event's instant, over what the device is programmed for.
    RatioCorrected {
        /// The measuring point.
        meter: MeterId,
        /// Above the line.
        num: i64,
        /// Below the line.
        den: i64,
    },
    /// A clock was set: readings from here on are of a new epoch.
    ClockEpoch {
        /// By how many milliseconds wall time had moved away.
        moved: i64,
    },
    /// A non-routine adjustment of a saving; read by verification.
    Adjustment {
        /// The press or the shared load.
        judged: Judged,
        /// Until when.
        until: At,
        /// Energy in milliwatt-hours.
        mwh: i64,
        /// Its half-width in milliwatt-hours at 90 %, if stated.
        uncertainty_mwh: Option<i64>,
    },
    /// A static factor changed; read by verification.
    StaticFactor {
        /// Its name, such as `shifts a week`.
        factor: String,
        /// Its value from now on.
        value: String,
        /// Why a frozen baseline holds all the same, if somebody says so.
        holds: Option<String>,
    },
    /// What a meter includes was measured against what it included before; read by verification. The correction
    /// stays with the boundary of which it was measured.
    BoundaryCorrected {
        /// The measuring point.
        meter: MeterId,
        /// Its own boundary when it was measured.
        of: String,
        /// The boundary that its energy is made comparable with.
        like: String,
        /// Energy at that boundary over energy at the meter's own, in millionths.
        factor_ppm: i64,
        /// Half-width of the factor at 90 %, in millionths.
        uncertainty_ppm: i64,
    },
    /// A contractual instrument of the market-based method; read by carbon.
    Instrument(Box<Instrument>),
    /// A bill of the supplier; held against what was metered.
    SupplierBill(Box<SupplierBill>),
    /// The watch found something; the event's identity stays with it, however much of it becomes known later.
    Found(Box<Finding>),
    /// A person answered a finding, whose identity the event has.
    Answered(Answer),
    /// What was recorded here before did not happen. It is of the kind of what it takes back, so that it stands in its
    /// place.
    Withdrawn(Box<Happening>),
}

/// A job on a press for a period.
#[derive(Clone, Debug, PartialEq)]
pub struct Run {
    /// Its identity: the source's, or of press, job and ordinal.
    pub id: RunId,
    /// The press.
    pub press: PressId,
    /// The job number.
    pub job: String,
    /// What was printed.
    pub product: Option<String>,
    /// When it began, with its make-ready.
    pub start: At,
    /// When its make-ready ended, if anybody says.
    pub ready: Option<At>,
    /// When it ended; `None` while it runs.
    pub end: Option<At>,
    /// Width of the web in millimetres.
    pub width_mm: Option<i64>,
    /// Planned length in millimetres.
    pub planned_mm: Option<i64>,
    /// Good length in millimetres.
    pub good_mm: Option<i64>,
}
