//! What a person should look at: which station, since when, how much above what is expected of it, and what that costs.
//!
//! Days are taken one after the other in the order of time. A finding is one event, however long it lasts.

mod data;
mod day;
mod draw;
mod due;
mod hours;
mod kept;
mod left_on;
mod lit;
mod peak;
mod standby;

pub use crate::readings::{Above, Answer, Finding, Rule, SAFETY};
pub use data::Gateways;
pub use day::{Day, Drew, RULES};
pub use draw::{Drawn, Fitted};
pub use due::{Due, Held, Manners, Outlook, State, Told, Trial, Word, outlook};
pub use hours::Piece;
pub use kept::{Answered, Change, Findings, Kept, Standing};
pub use lit::Stand;
pub use peak::Peak;

use crate::names::StationId;
use crate::plant::Plant;
use crate::time::{At, HOUR, MINUTE};
use crate::units::counted;
use data::Troubles;
use draw::Draws;
use hours::Hours;
use lit::Lit;
use peak::Peaks;
use std::collections::BTreeMap;
use std::sync::Arc;

/// What the plant wants to be told.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Terms {
    /// Milliseconds for which a lamp may stay energised while its press stands.
    pub left_on: i64,
    /// Milliseconds for which an arc lamp may stand by while a job is on.
    pub standby: i64,
    /// False alarms that the charts of all stations together may raise in a year.
    pub false_alarms_a_year: f64,
}

impl Default for Terms {
    fn default() -> Self {
        Self { left_on: HOUR, standby: 45 * MINUTE, false_alarms_a_year: 1.0 }
    }
}

/// The watch over a plant.
#[derive(Clone)]
pub struct Watch {
    plant: Arc<Plant>,
    terms: Terms,
    left_on: Lit,
    waits: Lit,
    draws: Draws,
    hours: Hours,
    peaks: Peaks,
    troubles: Troubles,
    gateways: Gateways,
    /// Until when days were taken.
    until: At,
}

/// What the watch came to.
#[derive(Clone, Debug)]
pub struct Watched {
    /// The findings by their beginning.
    pub findings: Vec<Finding>,
    /// Stations whose draw is charted.
    pub charted: usize,
    /// Stations that have not yet cured on days enough, or of which nothing is measured.
    pub uncharted: Vec<StationId>,
    /// The decision interval of each chart in standard deviations, from the least to the greatest; `None` without charts.
    pub decision: Option<(f64, f64)>,
    /// What each charted station drew and draws.
    pub drawn: BTreeMap<StationId, Drawn>,
}

impl Watch {
    /// Begins to watch.
    pub fn new(plant: &Plant, terms: Terms, gateways: Gateways) -> Self {
        let plant = Arc::new(plant.clone());
        Self {
            draws: Draws::new(plant.clone()),
            hours: Hours::new(&plant, &terms),
            plant,
            terms,
            left_on: Lit::default(),
            waits: Lit::default(),
            peaks: Peaks::default(),
            troubles: Troubles::default(),
            gateways,
            until: At(i64::MIN),
        }
    }

    /// Takes a day that follows those before.
    pub fn take(&mut self, day: &Day) {
        self.left_on.take(&day.stands);
        self.waits.take(&day.waits);
        self.draws.take(day);
        self.hours.take(day);
        self.peaks.take(&day.peaks);
        self.troubles.take(&day.troubles);
        self.until = day.until.map_or(self.until, |until| self.until.max(until));
    }

    /// What was found.
    pub fn findings(self) -> Watched {
        let (mut findings, charts, drawn) = self.draws.findings(&self.terms, self.until);
        let sudden = self.hours.findings(self.plant.zone, &findings);
        findings.extend(sudden);
        findings.extend(left_on::findings(self.left_on, &self.plant, &self.terms, self.until));
        findings.extend(standby::findings(self.waits, &self.plant, &self.terms, self.until));
        findings.extend(self.peaks.findings(&self.plant, self.until));
        findings.extend(self.troubles.findings(&self.gateways, self.until));
        findings.sort_by(|a, b| (a.since, &a.about).cmp(&(b.since, &b.about)));
        let stations = self.plant.presses.iter().flat_map(|press| &press.stations).map(|station| &station.id);
        let uncharted: Vec<StationId> = stations.filter(|id| !charts.contains_key(*id)).cloned().collect();
        let decision = charts.values().copied().reduce(f64::min).zip(charts.values().copied().reduce(f64::max));
        Watched { findings, charted: charts.len(), uncharted, decision, drawn }
    }
}

impl Watched {
    /// How far the charts can be trusted, in a sentence.
    pub fn trust(&self) -> String {
        let (charted, Some((least, most))) = (counted(self.charted, "station"), self.decision) else {
            return "no station is charted: a chart needs 40 days of curing under one lamp, and a day after them"
                .into();
        };
        let mut text = match least < most {
            true => format!("{charted} charted, with decision intervals of {least} to {most} standard deviations"),
            false => format!("{charted} charted, with a decision interval of {least} standard deviations"),
        };
        if !self.uncharted.is_empty() {
            let ids: Vec<&str> = self.uncharted.iter().map(|id| id.as_str()).collect();
            let why = "for want of a meter or of 40 days of curing";
            text.push_str(&format!("; not charted, {why}: {}", ids.join(", ")));
        }
        text
    }
}
