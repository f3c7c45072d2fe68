//! Meters over Modbus: one task for each TCP endpoint, one thread for each serial line, which owns the meters on it.
//!
//! Only functions 3 and 4 can be expressed: [`crate::sources::Table`] is all that a request can choose.

mod answer;
mod connection;
mod course;
mod endpoint;
mod explain;
mod fault;
mod line;
mod master;
mod once;
mod owed;
mod scan;
mod state;
mod told;
mod wire;

pub use answer::Answer;
pub use explain::look_at_connection;
pub use fault::Fault;
pub use line::{Ask, run_line};
pub use once::poll_once;
pub use scan::{Answered, scan};
pub use state::{Condition, LineState, MeterState};
pub use told::{Problem, Told, ToldValue, tell};

#[cfg(test)]
mod tests;
