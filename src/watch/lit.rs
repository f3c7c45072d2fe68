//! For how long lamps were energised without curing, station by station.

use crate::attribute::{Claim, Owner, Slice};
use crate::names::StationId;
use crate::plant::LampKind;
use crate::time::{MINUTE, Period};
use crate::units::{Energy, Money, counted};
use std::collections::BTreeMap;

/// A time for which a lamp was energised.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stand {
    /// For how long.
    pub period: Period,
    /// Which kind of lamp.
    pub lamp: Option<LampKind>,
    /// What it drew in that time.
    pub energy: Energy,
    /// What that cost.
    pub cost: Money,
}

impl Stand {
    /// One with what follows on it, where that follows at once.
    fn with(self, next: Self) -> Option<Self> {
        (self.period.end == next.period.start).then(|| Self {
            period: Period::new(self.period.start, next.period.end),
            energy: self.energy + next.energy,
            cost: self.cost + next.cost,
            ..self
        })
    }
}

/// Takes a further one of a station: it goes on from the last, or stands for itself.
fn add(all: &mut Vec<Stand>, next: Stand) {
    match all.last().and_then(|last| last.with(next)) {
        Some(longer) => {
            all.pop();
            all.push(longer);
        }
        None => all.push(next),
    }
}

/// The times of the slices that count, from slices with their cost; those of a station come in order of time.
pub(super) fn stands<'a>(
    slices: impl Iterator<Item = (&'a Slice, Money)>,
    counts: impl Fn(&Owner) -> bool,
) -> Vec<(StationId, Stand)> {
    let mut all: BTreeMap<&StationId, Vec<Stand>> = BTreeMap::new();
    for (slice, cost) in slices.filter(|(slice, _)| slice.owner.claim == Claim::Own && counts(&slice.owner)) {
        let Some(station) = &slice.owner.station else { continue };
        let energy = slice.usage.energy.unwrap_or(Energy::ZERO);
        add(
            all.entry(station).or_default(),
            Stand { period: slice.usage.period, lamp: slice.owner.lamp, energy, cost },
        );
    }
    all.into_iter().flat_map(|(station, all)| all.into_iter().map(|stand| (station.clone(), stand))).collect()
}

/// Every such time, station by station.
#[derive(Clone, Debug, Default)]
pub(super) struct Lit(BTreeMap<StationId, Vec<Stand>>);

impl Lit {
    /// Takes those of a day that follows the days before: what lasts over midnight is one.
    pub(super) fn take(&mut self, stands: &[(StationId, Stand)]) {
        for (station, stand) in stands {
            add(self.0.entry(station.clone()).or_default(), *stand);
        }
    }

    /// All of them, station by station.
    pub(super) fn all(self) -> impl Iterator<Item = (StationId, Stand)> {
        self.0.into_iter().flat_map(|(station, all)| all.into_iter().map(move |stand| (station.clone(), stand)))
    }
}

/// How long a time lasted, in words.
pub(super) fn lasted(period: Period) -> String {
    let minutes = period.millis() / MINUTE;
    match minutes / 60 {
        0 => counted(minutes, "minute"),
        hours => format!("{} {} min", counted(hours, "hour"), minutes % 60),
    }
}
