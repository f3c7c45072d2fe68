//! Readings and events: what was seen, by whom it was said, and which of two statements is in force.

mod event;
mod finding;
mod instrument;
pub mod rank;
mod register;
mod series;
mod supplier_bill;

pub use event::{Event, Happening, Run};
pub use finding::{Above, Answer, Finding, Rule, SAFETY};
pub use instrument::{Fate, Instrument, InstrumentKind};
pub use register::{Change, Register};
pub use series::{Kind, Quantity, Rank, Reading, Series, Subject};
pub use supplier_bill::SupplierBill;
