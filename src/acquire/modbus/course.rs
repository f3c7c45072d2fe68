//! When a meter is due: on wall-clock multiples of its interval, and rarely while it does not answer.

use crate::time::{At, doubled};

/// A meter that does not answer is asked at least this often, in milliseconds.
const LONGEST_PAUSE: i64 = 60_000;
/// The pause after the first missing answer, in milliseconds; it doubles with each further one.
const FIRST_PAUSE: i64 = 1_000;

/// The course of a meter's polls.
#[derive(Clone, Debug)]
pub(super) struct Course {
    interval: i64,
    seed: u64,
    /// When it is due.
    pub(super) due: At,
    /// How many polls in a row went without an answer.
    pub(super) failures: u32,
}

impl Course {
    /// The course of a meter from now on; `seed` tells its pauses from those of others.
    pub(super) fn new(interval: u64, seed: u64, now: At) -> Self {
        let interval = (interval as i64).max(1);
        Self { interval, seed, due: now.ceil(interval), failures: 0 }
    }

    /// After the clock was set: due at the next multiple.
    pub(super) fn restart(&mut self, now: At) {
        self.due = now.ceil(self.interval);
    }

    /// A poll was answered: due at the next multiple. How many multiples have passed meanwhile.
    pub(super) fn answered(&mut self, now: At) -> u64 {
        self.failures = 0;
        self.next(now)
    }

    /// A poll was not answered: due at the first multiple after a pause. How many multiples had passed before that.
    pub(super) fn failed(&mut self, now: At) -> u64 {
        self.failures = self.failures.saturating_add(1);
        let passed = self.next(now);
        self.due = self.due.max((now + pause(self.failures, self.seed)).ceil(self.interval));
        passed
    }

    fn next(&mut self, now: At) -> u64 {
        // A poll on demand may come before the meter is due; it does not count as the one that is.
        if now < self.due {
            return 0;
        }
        let next = now.max(self.due + 1).ceil(self.interval);
        let passed = (next - self.due) / self.interval - 1;
        self.due = next;
        passed as u64
    }
}

/// The pause after so many failures in a row: doubling up to a minute, between half of it and all of it, so that the
/// meters behind one gateway do not come back in step.
fn pause(failures: u32, seed: u64) -> i64 {
    let whole = doubled(FIRST_PAUSE, LONGEST_PAUSE, failures);
    whole / 2 + (mix(seed ^ u64::from(failures)) % (whole as u64 / 2 + 1)) as i64
}

/// SplitMix64 (Steele, Lea, Flood 2014): spreads a seed over 64 bits.
fn mix(seed: u64) -> u64 {
    let z = seed.wrapping_add(0x9E37_79B9_7F4A_7C15);
    let z = (z ^ z >> 30).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    let z = (z ^ z >> 27).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ z >> 31
}

/// A seed from a name.
pub(super) fn seed(name: &str) -> u64 {
    name.bytes().fold(0, |seed, byte| mix(seed ^ u64::from(byte)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn polls_fall_on_multiples_of_the_interval() {
        let mut course = Course::new(1_000, 0, At(2_500));
        assert_eq!(course.due, At(3_000));
        assert_eq!(course.answered(At(3_020)), 0);
        assert_eq!(course.due, At(4_000));
    }

    #[test]
    fn an_overrun_skips_to_the_next_multiple_and_is_counted() {
        let mut course = Course::new(1_000, 0, At(0));
        assert_eq!(course.answered(At(1_050)), 1);
        assert_eq!(course.due, At(2_000));
        assert_eq!(course.answered(At(5_999)), 3);
        assert_eq!(course.due, At(6_000));
    }

    #[test]
    fn a_poll_on_demand_leaves_the_course_as_it_is() {
        let mut course = Course::new(10_000, 0, At(1));
        assert_eq!(course.answered(At(4_000)), 0);
        assert_eq!(course.due, At(10_000));
    }

    #[test]
    fn the_pause_of_a_dead_meter_grows_to_a_minute_and_ends_with_an_answer() {
        let mut course = Course::new(1_000, seed("p1-s3"), At(0));
        let mut now = At(0);
        for failures in 1..=12 {
            course.failed(now);
            let (pause, whole) = (course.due - now, (1_000_i64 << (failures - 1)).min(60_000));
            assert!(pause >= whole / 2 && pause <= whole + 1_000, "{failures}: {pause}");
            now = course.due;
        }
        course.answered(now);
        assert_eq!(course.due, now + 1_000);
    }

    #[test]
    fn pauses_of_different_meters_differ() {
        let pauses: std::collections::BTreeSet<i64> = (0..20).map(|n| pause(7, seed(&format!("m{n}")))).collect();
        assert!(pauses.len() > 15, "{pauses:?}");
    }
}
