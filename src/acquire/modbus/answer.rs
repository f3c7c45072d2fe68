//! What a poll of one meter brought.

use super::Fault;
use crate::readings::{Reading, Series, Subject};
use crate::sources::{Image, NoValue, Polled, Register};
use crate::time::At;

/// The outcome of one poll of one meter.
#[derive(Clone, Debug)]
pub struct Answer {
    /// The meter, its unit and its map.
    pub polled: Polled,
    /// When the poll began.
    pub at: At,
    /// The longest time that one of its requests took, in milliseconds; `None` where none was answered.
    pub round_trip: Option<u64>,
    /// The registers that came.
    pub image: Image,
    /// What went wrong, in the order in which it did; empty where every request was answered.
    pub faults: Vec<Fault>,
}

impl Answer {
    /// A poll that has brought nothing yet.
    pub(super) fn begun(polled: &Polled, at: At) -> Self {
        Self { polled: polled.clone(), at, round_trip: None, image: Image::default(), faults: Vec::new() }
    }

    /// Every register of the map with its instant and count, or why there is none.
    pub fn values(&self) -> impl Iterator<Item = (&Register, Result<(At, i64), NoValue>)> {
        self.polled.map.registers.iter().map(|register| (register, self.image.value(register)))
    }

    /// The readings in it.
    pub fn readings(&self) -> Vec<(Series, Reading)> {
        let subject = Subject::Meter(self.polled.meter.clone());
        let counted = self.values().filter_map(|(register, value)| value.ok().map(|value| (register.quantity, value)));
        counted.map(|(quantity, (at, count))| (Series::new(subject.clone(), quantity), Reading { at, count })).collect()
    }
}
