//! The statement on a shared load: what a fan or a chiller draws since the lamps that it serves were converted.

use super::{Basis, Evidence, counting, saved};
use crate::names::{LoadId, StationId};
use crate::plant::{LampKind, Plant, SharedLoad};
use crate::time::At;
use crate::verify::baseline::{Frozen, Refused};
use crate::verify::savings::Savings;
use crate::verify::words::listed;
use crate::verify::{Bridge, Estimate, Factors, Judged, Operation, Reconciled, Scope, Whole, YEAR};

/// What came of a shared load.
#[derive(Clone, Debug)]
pub struct SharedSaving {
    /// The load.
    pub load: LoadId,
    /// Its name as people say it.
    pub name: String,
    /// Its scope: its own meter, and the conversion of the stations that it serves.
    pub scope: Scope,
    /// The baseline.
    pub frozen: Frozen,
    /// SHA-256 of the text of the baseline.
    pub sha256: String,
    /// Whether its days have been corrected since it was frozen.
    pub is_changed: bool,
    /// The saving by its own meter, with its uncertainty.
    pub savings: Savings,
    /// What the promise says of it: kWh for the days that count, and for a year. `None` where it says nothing.
    pub promised: Option<(f64, f64)>,
    /// Stations served whose old lamps still need it at the end of the period, where it serves old lamps only: before they
    /// are gone nothing is to be expected of it.
    pub needed_by: Vec<StationId>,
}

impl SharedSaving {
    /// The statement on a load.
    ///
    /// # Errors
    /// Unequal boundaries, or no day that counts.
    pub fn of(basis: &Basis<'_>, evidence: &Evidence<'_>) -> Result<Self, Refused> {
        let Evidence { scope, frozen, .. } = *evidence;
        let load = match &scope.judged {
            Judged::Load(load) => basis.plant.load(load),
            Judged::Press(_) => None,
        };
        let load = load.ok_or_else(|| Refused::NotMetered { judged: scope.judged.to_string() })?;
        let after = counting(frozen, evidence.after);
        let savings = saved(basis, evidence, &after)?;
        let hours: f64 = after.iter().filter(|day| day.aside.is_none()).map(|day| day.hours).sum();
        let change = basis.promise.ok().and_then(|promise| promise.shared.iter().find(|change| change.load == load.id));
        let end = basis.plant.zone.day(savings.period.1).end;
        Ok(Self {
            load: load.id.clone(),
            name: load.name.clone(),
            scope: scope.clone(),
            frozen: frozen.clone(),
            sha256: evidence.sha256.to_owned(),
            is_changed: evidence.is_changed,
            promised: change.map(|change| change.before - change.after).map(|year| (year * hours / YEAR, year)),
            needed_by: needed_by(basis.plant, load, end),
            savings,
        })
    }

    /// Why nothing is to be expected of it yet; `None` where something is.
    pub fn nothing_expected(&self) -> Option<String> {
        let stations: Vec<String> = self.needed_by.iter().map(ToString::to_string).collect();
        (!stations.is_empty()).then(|| {
            format!(
                "it still serves the arc lamps of {} and must run for them: nothing is saved before the last of them is gone",
                listed(&stations)
            )
        })
    }

    /// Promised, measured; `None` where the promise says nothing of it.
    pub fn reconciled(&self) -> Option<Reconciled> {
        let (promised, _) = self.promised?;
        Some(Reconciled::plain(promised, self.savings.avoided))
    }

    /// From promised to measured, in what each kWh is worth.
    pub(super) fn bridge<Q: Whole>(&self, worth: (f64, f64)) -> Option<Bridge<Q>> {
        let (promised, _) = self.promised?;
        let alone = |shared: f64| Factors { shared, ..Factors::promised(&[], &[], 0.0) };
        let measured: Estimate = self.savings.avoided;
        let operation = Operation { factors: alone(measured.value), merged: Vec::new() };
        Some(operation.bridge(&alone(promised), worth, measured.times(worth.1)))
    }
}

/// Stations served that have an arc lamp just before an instant, where the load serves arc lamps only.
fn needed_by(plant: &Plant, load: &SharedLoad, end: At) -> Vec<StationId> {
    let served =
        plant.presses.iter().filter(|press| load.only == Some(LampKind::Arc) && load.serves.contains(&press.id));
    let arc = |id: &Option<_>| id.as_ref().and_then(|id| plant.lamp(id)).is_some_and(|lamp| lamp.kind == LampKind::Arc);
    let stations = served.flat_map(|press| &press.stations);
    stations.filter(|station| station.fitted.at(end - 1).is_some_and(arc)).map(|station| station.id.clone()).collect()
}
