//! Where readings come from: Modbus, MQTT and files.

mod chance;
mod clock;
pub mod files;
pub mod modbus;
pub mod mqtt;

pub use chance::chance;
pub use clock::{Clock, TOLERANCE};

use crate::readings::{Event, Rank, Reading, Series};
use std::sync::Arc;
use tokio::sync::oneshot;

/// What a source hands to the writer at once: it is committed whole or not at all.
#[derive(Debug)]
pub struct Batch {
    /// The source, such as `modbus 10.0.0.7:502` or `mqtt`.
    pub source: Arc<str>,
    /// The rank of what it says.
    pub rank: Rank,
    /// The clock's epoch in which its readings were stamped: it may be over by the time they are written.
    pub epoch: u32,
    /// Readings.
    pub readings: Vec<(Series, Reading)>,
    /// Events.
    pub events: Vec<Event>,
    /// Told once the batch is on disk; dropped unsent where it could not be written.
    pub receipt: Option<oneshot::Sender<()>>,
}
