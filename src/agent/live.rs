//! What the agent knows right now, for the page and for health checks.

use super::forwarded::Forwarded;
use super::overview::Overview;
use crate::names::PressId;
use crate::plant::Plant;
use crate::readings::{Event, Happening, Reading, Run, Series};
use crate::time::At;
use crate::units::Energy;
use crate::watch::{Findings, Kept, Watched};
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
    /// How today and this month go; `None` until it was first computed.
    pub overview: Option<Arc<Overview>>,
    /// Every finding that was told, and every answer.
    pub findings: Arc<Findings>,
    /// What the watch came to when it last looked; `None` until it has.
    pub watched: Option<Arc<Looked>>,
    /// How the store does.
    pub store: StoreHealth,
    /// How forwarding stands; `None` where nothing is forwarded.
    pub forwarded: Option<Forwarded>,
}

/// What the watch came to.
#[derive(Debug)]
pub struct Looked {
    /// When it looked.
    pub at: At,
    /// What it came to.
    pub watched: Watched,
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
        let now = Now {
            plant: Arc::new(plant),
            latest,
            runs,
            today: None,
            overview: None,
            findings: Arc::default(),
            watched: None,
            store: StoreHealth::default(),
            forwarded: None,
        };
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
        now.take_findings(events);
    }

    /// Takes in what was computed for today, and the plant as it is by now.
    pub fn today(&self, today: Today, plant: Plant) {
        let mut now = self.lock();
        now.today = Some(today);
        now.plant = Arc::new(plant);
    }

    /// Takes in how today and this month go.
    pub fn overview(&self, overview: Overview) {
        self.lock().overview = Some(Arc::new(overview));
    }

    /// Takes in every version of every event that was kept before the start.
    pub fn kept(&self, stated: &[Event]) {
        self.lock().take_findings(stated);
    }

    /// Takes in what the watch came to.
    pub fn watched(&self, at: At, watched: Watched) {
        self.lock().watched = Some(Arc::new(Looked { at, watched }));
    }

    /// Says how the store does.
    pub fn store(&self, change: impl FnOnce(&mut StoreHealth)) {
        change(&mut self.lock().store);
    }

    /// Says how forwarding stands.
    pub fn forwarded(&self, change: impl FnOnce(&mut Forwarded)) {
        change(self.lock().forwarded.get_or_insert_default());
    }

    /// A panic elsewhere leaves whole values behind: every change is a single assignment or insertion.
    fn lock(&self) -> MutexGuard<'_, Now> {
        self.now.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Now {
    /// The findings in force, each with the figures that the watch came to last where it still finds it.
    pub fn findings(&self) -> Vec<Kept> {
        let newest = self.watched.iter().flat_map(|looked| &looked.watched.findings);
        let newest: BTreeMap<String, _> =
            newest.filter_map(|finding| Some((self.findings.same(finding)?.id, finding))).collect();
        let fresh = |mut kept: Kept| {
            if let Some(finding) = newest.get(&kept.id) {
                kept.finding = (*finding).clone();
            }
            kept
        };
        self.findings.iter().map(fresh).collect()
    }

    /// Findings and answers among events.
    fn take_findings(&mut self, events: &[Event]) {
        let is_ours = |what: &Happening| matches!(what, Happening::Found(_) | Happening::Answered(_));
        let ours = |event: &&Event| match &event.what {
            Happening::Withdrawn(former) => is_ours(former),
            what => is_ours(what),
        };
        for event in events.iter().filter(ours) {
            Arc::make_mut(&mut self.findings).take(event);
        }
    }

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
