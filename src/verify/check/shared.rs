//! Remarks on what a promise says of shared loads.

use super::a_year;
use crate::names::StationId;
use crate::plant::{LampKind, Plant, SharedLoad, Station};
use crate::verify::promise::{Promise, SharedChange};
use crate::verify::words::listed;

/// What is remarkable, each with the name of its load.
pub fn check(promise: &Promise, plant: &Plant) -> Vec<String> {
    promise.shared.iter().flat_map(|change| [grows(change), still_needed(promise, plant, change)]).flatten().collect()
}

fn grows(change: &SharedChange) -> Option<String> {
    (change.after > change.before).then(|| {
        format!(
            "load {} is to use {} after {}, more than before: ask the supplier whether before and after were exchanged",
            change.load,
            a_year(change.after),
            a_year(change.before)
        )
    })
}

/// An extraction fan without speed control saves nothing before the last arc lamp on its duct is gone.
fn still_needed(promise: &Promise, plant: &Plant, change: &SharedChange) -> Option<String> {
    let load = plant.load(&change.load).filter(|load| load.only == Some(LampKind::Arc))?;
    let kept = arcs_left(promise, plant, load);
    (change.after < change.before && !kept.is_empty()).then(|| {
        format!(
            "load {} is to save {}; by the promise's own groups it still serves the arc lamps of {}: ask the supplier \
             how a fan that must run for them saves anything",
            change.load,
            a_year(change.before - change.after),
            listed(&kept)
        )
    })
}

/// Stations served that have an arc lamp to begin with and are in no group.
fn arcs_left(promise: &Promise, plant: &Plant, load: &SharedLoad) -> Vec<String> {
    let converted = |id: &StationId| promise.groups.iter().any(|group| group.stations.contains(id));
    let at = plant.zone.day(promise.dated).start;
    let arc = |station: &&Station| {
        let lamp = station.fitted.at(at).and_then(Option::as_ref).and_then(|id| plant.lamp(id));
        lamp.is_some_and(|lamp| lamp.kind == LampKind::Arc)
    };
    let served = plant.presses.iter().filter(|press| load.serves.contains(&press.id));
    let stations = served.flat_map(|press| &press.stations).filter(|station| !converted(&station.id));
    stations.filter(arc).map(|station| station.id.to_string()).collect()
}
