//! The agent's clock: an anchor in wall time plus monotonic time, so that a clock that is set back never stamps two
//! readings out of order.

use crate::time::At;
use std::time::{SystemTime, UNIX_EPOCH};
use tokio::time::Instant;

/// A difference from wall time beyond this many milliseconds begins a new clock epoch.
pub const TOLERANCE: i64 = 2_000;

/// A clock that only goes forward. Copies agree with each other.
#[derive(Clone, Copy, Debug)]
pub struct Clock {
    anchor: Instant,
    at: At,
    offset: i64,
}

impl Clock {
    /// A clock that shows wall time plus `offset` milliseconds; the offset is 0 except in the demo, whose history ends
    /// at a fixed date.
    pub fn start(offset: i64) -> Self {
        Self { anchor: Instant::now(), at: wall() + offset, offset }
    }

    /// A clock that shows a given instant now, for tests on a paused runtime.
    pub fn starting_at(at: At) -> Self {
        Self { anchor: Instant::now(), at, offset: at - wall() }
    }

    /// The instant now.
    pub fn now(&self) -> At {
        self.at(Instant::now())
    }

    /// What this clock shows at a monotonic instant.
    pub fn at(&self, instant: Instant) -> At {
        match instant.checked_duration_since(self.anchor) {
            Some(later) => self.at + later.as_millis() as i64,
            None => self.at - self.anchor.duration_since(instant).as_millis() as i64,
        }
    }

    /// The monotonic instant at which this clock shows `at`; now, where that is past.
    pub fn instant(&self, at: At) -> Instant {
        let now = Instant::now();
        now + std::time::Duration::from_millis((at - self.at(now)).max(0) as u64)
    }

    /// How many milliseconds wall time has moved away from this clock.
    pub fn moved(&self) -> i64 {
        wall() + self.offset - self.now()
    }
}

/// Wall time.
fn wall() -> At {
    let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
    At(since.as_millis() as i64)
}
