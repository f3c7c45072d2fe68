//! The agent's clock: an anchor in wall time plus monotonic time, so that a clock that is set back never stamps two
//! readings out of order unless a new epoch has begun.

use crate::time::At;
use std::sync::Arc;
use std::time::{Duration, SystemTime, UNIX_EPOCH};
use tokio::sync::watch;
use tokio::time::Instant;

/// A difference from wall time beyond this many milliseconds begins a new clock epoch.
pub const TOLERANCE: i64 = 2_000;

/// A clock that only goes forward within an epoch. Clones are one clock.
#[derive(Clone, Debug)]
pub struct Clock(Arc<watch::Sender<Anchor>>);

/// What the clock showed at a monotonic instant.
#[derive(Clone, Copy, Debug)]
struct Anchor {
    instant: Instant,
    at: At,
    offset: i64,
    epoch: u32,
}

impl Anchor {
    fn shows(&self, instant: Instant) -> At {
        match instant.checked_duration_since(self.instant) {
            Some(later) => self.at + later.as_millis() as i64,
            None => self.at - self.instant.duration_since(instant).as_millis() as i64,
        }
    }
}

impl Clock {
    /// A clock that shows wall time plus `offset` milliseconds; the offset is 0 except in the demo, whose history ends
    /// at a fixed date.
    pub fn start(offset: i64) -> Self {
        Self::anchored(wall() + offset, offset)
    }

    /// A clock that shows a given instant now, for tests on a paused runtime.
    pub fn starting_at(at: At) -> Self {
        Self::anchored(at, at - wall())
    }

    fn anchored(at: At, offset: i64) -> Self {
        Self(Arc::new(watch::Sender::new(Anchor { instant: Instant::now(), at, offset, epoch: 0 })))
    }

    /// The instant now.
    pub fn now(&self) -> At {
        self.at(Instant::now())
    }

    /// The instant now and the epoch that it belongs to.
    pub fn stamp(&self) -> (At, u32) {
        let anchor = *self.0.borrow();
        (anchor.shows(Instant::now()), anchor.epoch)
    }

    /// What this clock shows at a monotonic instant.
    pub fn at(&self, instant: Instant) -> At {
        self.0.borrow().shows(instant)
    }

    /// The monotonic instant at which this clock shows `at`; now, where that is past.
    pub fn instant(&self, at: At) -> Instant {
        let now = Instant::now();
        now + Duration::from_millis((at - self.at(now)).max(0) as u64)
    }

    /// Waits until the clock shows `at`, or until it is set.
    pub async fn until(&self, at: At) {
        let mut set = self.0.subscribe();
        tokio::select! {
            () = tokio::time::sleep_until(self.instant(at)) => {}
            _ = set.changed() => {}
        }
    }

    /// How many milliseconds wall time has moved away from this clock.
    pub fn moved(&self) -> i64 {
        let offset = self.0.borrow().offset;
        wall() + offset - self.now()
    }

    /// Follows wall time where it has moved by more than [`TOLERANCE`], which begins a new epoch; by how many
    /// milliseconds.
    pub fn follow(&self) -> Option<i64> {
        let moved = self.moved();
        if moved.abs() <= TOLERANCE {
            return None;
        }
        let (instant, at) = (Instant::now(), self.now() + moved);
        self.0.send_modify(|anchor| *anchor = Anchor { instant, at, offset: anchor.offset, epoch: anchor.epoch + 1 });
        Some(moved)
    }

    /// How often the clock has been set.
    pub fn epoch(&self) -> u32 {
        self.0.borrow().epoch
    }
}

/// Wall time.
fn wall() -> At {
    let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
    At(since.as_millis() as i64)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test(start_paused = true)]
    async fn a_clock_goes_on_from_its_anchor() {
        let clock = Clock::starting_at(At(1_000));
        clock.until(At(3_500)).await;
        assert_eq!(clock.now(), At(3_500));
        assert_eq!(clock.at(Instant::now() - Duration::from_millis(3_000)), At(500));
    }

    #[tokio::test(start_paused = true)]
    async fn wall_time_that_moves_away_begins_a_new_epoch_for_every_clone() {
        let (clock, other) = (Clock::starting_at(At(0)), Clock::starting_at(At(0)));
        let clone = clock.clone();
        // Paused time goes ahead of wall time by a minute, as if the wall clock had been set back.
        clock.until(At(60_000)).await;
        assert!(clock.follow().is_some_and(|moved| (-60_000..-59_000).contains(&moved)));
        assert!(clone.now() < At(1_000) && clone.epoch() == 1);
        assert!(clock.follow().is_none());
        assert_eq!((other.now(), other.epoch()), (At(60_000), 0));
    }
}
