//! The invented plant: its history, its simulated meters and its broker.
//!
//! One model, stepped minute by minute, gives the history and goes on as the live meters: [`History`] yields the days
//! from 2025-01-01 to 2026-07-01 10:00 by the local clock; its [`Model`] then continues from there.

mod chance;
mod dates;
mod fitting;
mod folder;
mod hall;
mod happened;
mod history;
mod job;
mod keying;
mod lamp;
mod live;
mod model;
mod press;
mod register;
mod trouble;
mod truth;

pub use dates::{END, START, ZONE};
pub use folder::{Unfit, configure, is_made, prepare, tell_truth};
pub use history::{Day, History};
pub use live::{Bound, Peers};
pub use model::{Minute, Model};
pub use truth::{Sums, Truth};
