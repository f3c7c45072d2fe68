//! InfluxDB: what is written, how a line of it looks, and what an answer means.

mod answer;
#[cfg(feature = "influx")]
mod client;
mod finding;
mod line;
mod quarter;
mod reading;

pub use answer::{Answer, pause};
#[cfg(feature = "influx")]
pub use client::{Database, PATIENCE};
pub use finding::finding_line;
pub use line::{Field, Line};
pub use quarter::quarter_lines;
pub use reading::reading_line;

/// The most lines that are posted at once: measured to be taken well by every server tried.
pub const AT_ONCE: usize = 5_000;
