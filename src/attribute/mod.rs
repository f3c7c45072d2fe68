//! Each milliwatt-hour gets an owner. One kind of record, the [`Slice`], is what every figure is a sum of.

mod slice;

pub use slice::{Amount, Claim, DayFacts, DayLedger, LampState, Owner, Placed, PressState, Slice, Usage};
