//! Each milliwatt-hour gets an owner. One kind of record, the [`Slice`], is what every figure is a sum of.
//!
//! Three stages: what presses, lamps and jobs were doing ([`Timeline`]); how much energy each meter shows between any
//! two instants ([`Curve`]); whose it is ([`ledger`]). Before them, the readings of a day are taken up part by part and
//! condensed ([`DayFold`]).

mod balance;
mod bands;
mod books;
mod counting;
mod curve;
mod cuts;
mod day;
mod day_fold;
mod facts;
mod fold;
mod grain;
mod jump;
mod lamp;
mod length;
mod measured;
mod needs;
mod power;
mod press;
mod reactive;
mod runs;
mod share;
mod slice;
mod sums;
mod timeline;
mod track;
mod web;

pub use counting::{energy_of, is_beyond, milliwatts};
pub use curve::{Curve, Part, Piece};
pub use day::{day, ledger};
pub use day_fold::DayFold;
pub use facts::with_events;
pub use fold::MeterFold;
pub use lamp::StationLine;
pub use length::web_by_day;
pub use needs::{needs, reach};
pub use press::PressLine;
pub use reactive::Reactive;
pub use runs::runs;
pub use slice::{Amount, Claim, DayFacts, DayLedger, LampState, Owner, Placed, PressState, Slice, Usage};
pub use sums::{DaySums, by_quarter};
pub use timeline::Timeline;

use power::Power;

/// The version of these rules: results that were kept under another version are computed anew.
pub const RULES: u32 = 6;
