//! What a computed day was computed from, as one number.

use super::error::StoreError;
use super::{Store, said};
use crate::found::Found;
use crate::readings::{Event, Happening};
use crate::time::{At, Period};
use sha2::{Digest, Sha256};

/// A hash over all that a computed day depends on. Equal stamps mean that the day would come out the same.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stamp(pub(super) [u8; 32]);

impl Stamp {
    /// Its bytes, to be kept and compared.
    pub const fn bytes(&self) -> [u8; 32] {
        self.0
    }

    /// The stamp of what depends on more than the day.
    pub fn with(&self, more: &[u8]) -> Self {
        let mut hash = Sha256::new();
        feed(&mut hash, &self.0);
        feed(&mut hash, more);
        Self(hash.finalize().into())
    }
}

impl Store {
    /// The stamp of a day that reads the facts of a period: it differs where a reading in that time was added,
    /// corrected or contested, or an event changed that holds in it. `events` are those that the day is computed from, as
    /// [`Store::events`] gave them: one that came since is not in the stamp either. `basis` is whatever else the day
    /// depends on, such as the version of the rules and the configuration.
    ///
    /// # Errors
    /// Where the store cannot be read.
    pub fn day_stamp(&self, reads: Period, events: &Found<Vec<Event>>, basis: &[u8]) -> Result<Stamp, StoreError> {
        let mut hash = Sha256::new();
        feed(&mut hash, basis);
        feed(&mut hash, self.zone.0.name().as_bytes());
        feed(&mut hash, crate::time::ZONES.as_bytes());
        for (day, subject, revision) in self.revisions(reads)? {
            feed(&mut hash, day.as_bytes());
            feed(&mut hash, subject.as_bytes());
            feed(&mut hash, &revision.to_le_bytes());
        }
        for event in events.value.iter().filter(|event| holds(event, reads)) {
            feed_event(&mut hash, event);
        }
        for issue in events.issues.iter().filter(|issue| issue.period.start < reads.end) {
            feed(&mut hash, issue.about.as_bytes());
        }
        Ok(Stamp(hash.finalize().into()))
    }
}

/// Whether a day that reads a period may come out differently for an event. A run acts while it lasts; another fact
/// acts from its instant on.
pub(super) fn holds(event: &Event, reads: Period) -> bool {
    match &event.what {
        Happening::Run(run) => run.start < reads.end && run.end.unwrap_or(At(i64::MAX)) > reads.start,
        // What somebody claims, bills, finds or answers changes no energy.
        Happening::Instrument(_) | Happening::SupplierBill(_) | Happening::Found(_) | Happening::Answered(_) => false,
        Happening::Withdrawn(former) if matches!(**former, Happening::Found(_) | Happening::Answered(_)) => false,
        _ => event.at < reads.end,
    }
}

fn feed_event(hash: &mut Sha256, event: &Event) {
    parts(event).iter().for_each(|part| feed(hash, part));
}

/// Identity, instant, rank and payload of an event.
fn parts(event: &Event) -> [Vec<u8>; 4] {
    // A payload that was read can be written.
    let payload = said::write(&event.what).unwrap_or_default();
    [event.id.clone().into_bytes(), event.at.0.to_le_bytes().to_vec(), vec![event.rank as u8], payload.into_bytes()]
}

/// An event as one run of bytes, each part with its length.
pub(super) fn event_bytes(event: &Event) -> Vec<u8> {
    let with_length = |part: Vec<u8>| [(part.len() as u64).to_le_bytes().to_vec(), part].concat();
    parts(event).map(with_length).concat()
}

/// Feeds a part with its length, so that no two lists of parts hash alike.
fn feed(hash: &mut Sha256, part: &[u8]) {
    hash.update((part.len() as u64).to_le_bytes());
    hash.update(part);
}
