//! Why there is no baseline or no saving, each with what to do about it.

use crate::stats::Refusal;
use crate::verify::words::listed;
use chrono::NaiveDate;

/// Why a baseline or a saving is refused.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Refused {
    /// Nothing is known.
    #[error("there is no energy of {judged} from {first} to {last}; import its history, or name another period")]
    NoData {
        /// The press or load.
        judged: String,
        /// First day asked for.
        first: NaiveDate,
        /// Last day asked for.
        last: NaiveDate,
    },
    /// Days in disorder.
    #[error(
        "the baseline would begin on {first} and end on {last}, before that; give --from and --to (without them it \
         begins with what is known and ends before the conversion)"
    )]
    Disordered {
        /// First day.
        first: NaiveDate,
        /// Last day.
        last: NaiveDate,
    },
    /// Too little is known.
    #[error("{}{}", too_few(*found, point, *needed), why_aside(aside))]
    TooFew {
        /// How many there are.
        found: usize,
        /// `day` or `month`.
        point: &'static str,
        /// How many there must be.
        needed: usize,
        /// What was set aside, in words.
        aside: Vec<String>,
    },
    /// A period that holds days on which lamps were changed.
    #[error(
        "the baseline from {first} to {last} reaches into the conversion, which began on {began}; end it before that day"
    )]
    ConversionInside {
        /// First day.
        first: NaiveDate,
        /// Last day.
        last: NaiveDate,
        /// When the conversion began.
        began: NaiveDate,
    },
    /// A driver that the conversion moves.
    #[error(
        "lamp hours cannot explain a baseline: the new lamps need no warm-up and no standby, so the conversion itself \
         lowers them and would hide what it saved; take web_km, station_km or jobs"
    )]
    LampHours,
    /// Energy that nobody measured.
    #[error(
        "meter {meter} gives {point}, which no saving can rest on; measure at the AC input of the lamp supply, or name \
         another baseline"
    )]
    NotMeasured {
        /// The meter.
        meter: String,
        /// `power that a controller reports` or `power computed from a level`.
        point: &'static str,
    },
    /// The meters include different things before and after.
    #[error(
        "meter {meter}: baseline: {before}; now: {after} ({apart}); like must be compared with like. Freeze a baseline over \
         days on which the boundary was the same as now, or put a measured correction on file: inkwatt record boundary \
         {meter} --like \"{before}\""
    )]
    Boundary {
        /// The meter.
        meter: String,
        /// The boundary of the baseline.
        before: String,
        /// The boundary of the reporting period.
        after: String,
        /// What makes the difference.
        apart: String,
    },
    /// Other meters than those of the baseline.
    #[error(
        "the baseline was measured by {} and the reporting period by {}; freeze a baseline of the same meters",
        listed(before),
        listed(after)
    )]
    Meters {
        /// Meters of the baseline.
        before: Vec<String>,
        /// Meters of the reporting period.
        after: Vec<String>,
    },
    /// Stations without meters beside stations with meters.
    #[error("{judged} has no meter of its own, and not every judged station has one; meter each, or the press")]
    NotMetered {
        /// The press or load.
        judged: String,
    },
    /// Lamps asked of what has none.
    #[error("{judged} has no lamps; its baseline is metered before the conversion, or billed")]
    NoLamps {
        /// The load.
        judged: String,
    },
    /// What is to stand for the old lamps lost its own.
    #[error("{other} is judged itself and does not keep its old lamps; name another")]
    JudgedItself {
        /// The press or station.
        other: String,
    },
    /// No meters of lamps, which those of another station or ratings could be held against.
    #[error(
        "{judged} has no meter of its own for each converted station, and its main measures more than lamps; meter the \
         lamp supplies, or name another baseline"
    )]
    NoLampMeters {
        /// The press.
        judged: String,
    },
    /// Nothing is known of the time before the conversion.
    #[error(
        "there is no energy of {judged} from before its conversion, which began on {began}; import its history, or take \
         another kind of baseline: lamp-exchange-test, sister-press, retained-station, billed or rated"
    )]
    NothingBefore {
        /// The press or load.
        judged: String,
        /// When the conversion began.
        began: NaiveDate,
    },
    /// No conversion.
    #[error(
        "no conversion of {judged} is stated, so that it has no old lamps; state it as `implementation` of its \
         stations in config/plant.toml"
    )]
    NotConverted {
        /// The press.
        judged: String,
    },
    /// Something that a rating needs.
    #[error("the old lamp of station {station} has no {what}")]
    RatingMissing {
        /// The station.
        station: String,
        /// What, and where to state it.
        what: &'static str,
    },
    /// The numbers do not bear a model.
    #[error(transparent)]
    Model(#[from] Refusal),
}

fn too_few(found: usize, point: &str, needed: usize) -> String {
    let count = match found {
        0 => format!("no {point} counts"),
        1 => format!("1 {point} counts"),
        _ => format!("{found} {point}s count"),
    };
    format!("{count}, and {needed} {} needed", if needed == 1 { "is" } else { "are" })
}

fn why_aside(aside: &[String]) -> String {
    if aside.is_empty() { String::new() } else { format!("; set aside: {}", listed(aside)) }
}
