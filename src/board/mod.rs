//! The page that is served: the hall at a glance, the reports, and whether the agent is well.

mod hall;
mod health;
mod host;
mod reports;
mod serve;
mod token;
mod total;

pub use serve::{Shown, serve};
