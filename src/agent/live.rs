//! What the agent knows right now, for the page and for health checks.

use crate::names::PressId;
use crate::plant::Plant;
use crate::readings::{Event, Happening, Reading, Run, Series};
use crate::time::At;
use crate::units::Energy;
use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// The newest committed value of each series, the run on each press, and how the store does.
#[derive(Debug)]
pub struct Live {
    now: Mutex<Now>,
}

/// The contents of [`Live`], copied out at once so that a page never mixes two moments.
#[derive(Clone, Debug)]
pub struct Now {
    /// The plant, with every recorded event in its dated facts.
    pub plant: Arc<Plant>,
    /// The newest reading of each series.
    pub latest: BTreeMap<Series, Reading>,
    /// The run that is on, by press.
    pub runs: BTreeMap<PressId, Run>,
    /// Energy since local midnight; `None` until it was first computed.
    pub today: Option<Today>,
    /// How the store does.
    pub store: StoreHealth,
}

/// Energy since local midnight.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Today {
    /// Up to when.
    pub until: At,
    /// What each press was charged.
    pub presses: BTreeMap<PressId, Energy>,
}

/// How the store does.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct StoreHealth {
    /// When the last batch was committed.
    pub committed: Option<At>,
    /// Readings committed since the start.
    pub readings: u64,
    /// What keeps it from writing; `None` while it writes.
    pub fault: Option<String>,
    /// Readings held in memory until it writes again.
    pub held: usize,
    /// Readings that had to be dropped because memory is bounded.
    pub dropped: u64,
}

impl Live {
    /// Nothing is known yet but the plant.
    pub fn of(plant: Plant) -> Self {
        let (latest, runs) = (BTreeMap::new(), BTreeMap::new());
        let now = Now { plant: Arc::new(plant), latest, runs, today: None, store: StoreHealth::default() };
        Self { now: Mutex::new(now) }
    }

    /// A copy of everything.
    pub fn now(&self) -> Now {
        self.lock().clone()
    }

    /// Takes in what was just committed.
    pub fn committed(&self, at: At, readings: &[(Series, Reading)], events: &[Event]) {
        let mut now = self.lock();
        now.store.committed = Some(at);
        now.store.readings += readings.len() as u64;
        for (series, reading) in readings {
            let newest = now.latest.entry(series.clone()).or_insert(*reading);
            // What lies ahead was stamped before the clock was set back, and is no longer the newest.
            if newest.at <= reading.at || newest.at > at {
                *newest = *reading;
            }
        }
        for event in events {
            if let Happening::Run(run) = &event.what {
                now.take(run);
            }
        }
    }

    /// Takes in what was computed for today, and the plant as it is by now.
    pub fn today(&self, today: Today, plant: Plant) {
        let mut now = self.lock();
        now.today = Some(today);
        now.plant = Arc::new(plant);
    }

    /// Says how the store does.
    pub fn store(&self, change: impl FnOnce(&mut StoreHealth)) {
        change(&mut self.lock().store);
    }

    /// A panic elsewhere leaves whole values behind: every change is a single assignment or insertion.
    fn lock(&self) -> MutexGuard<'_, Now> {
        self.now.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Now {
    /// A run begins or ends; the end of an older run leaves the one that is on.
    fn take(&mut self, run: &Run) {
        let on = self.runs.get(&run.press);
        if run.end.is_none() {
            if on.is_none_or(|on| on.start <= run.start) {
                self.runs.insert(run.press.clone(), run.clone());
            }
        } else if on.is_some_and(|on| on.id == run.id) {
            self.runs.remove(&run.press);
        }
    }
}
