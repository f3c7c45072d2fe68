//! Tests between meters: sub-meters against the one above, and a known load through all that should see it.

use super::means::primary;
use super::{Check, Of, Switched, TOLERANCE, Test, Watched, hint};
use crate::names::MeterId;
use crate::plant::{Covers, Plant};
use crate::time::{At, Period};

/// How long before and how long at the end the power is averaged around a switch, in milliseconds.
const SPELL: i64 = 30_000;

/// The whole time over which a meter was watched.
fn whole(watched: &Watched) -> Option<Period> {
    let (first, last) = (watched.samples.first()?, watched.samples.last()?);
    Some(Period::new(first.at, last.at + 1))
}

/// Whether the meters below one together draw no more than it does.
pub(super) fn sub_meters(main: &Watched, watched: &[Watched]) -> Option<Check> {
    let of = Of(&main.meter.id, Test::Balance);
    let below: Vec<&Watched> = watched.iter().filter(|w| w.meter.below.as_ref() == Some(&main.meter.id)).collect();
    let span = whole(main).filter(|_| !below.is_empty())?;
    let above = primary(main, span)?;
    let parts: Vec<(&MeterId, f64)> = below.iter().filter_map(|w| Some((&w.meter.id, primary(w, span)?))).collect();
    let sum: f64 = parts.iter().map(|(_, watts)| watts).sum();
    let names = parts.iter().map(|(id, watts)| format!("{id} {watts:.0} W")).collect::<Vec<_>>().join(", ");
    let words = format!("{above:.0} W above, {sum:.0} W below ({names})");
    if above.abs() < 1.0 && sum.abs() < 1.0 {
        return Some(of.untested("no load to speak of"));
    }
    if sum <= above * (1.0 + TOLERANCE) + 1.0 {
        return Some(of.passed(words));
    }
    Some(of.failed(
        format!("{words}: {:.2} times as much", sum / above),
        format!(
            "transformer ratios of {} and of the meters below it; whether each of them really hangs below it",
            main.meter.id
        ),
    ))
}

/// Whether the meter of a station, and those above it, saw the station switched on, and no other did.
pub(super) fn step(plant: &Plant, watched: &[Watched], switched: &Switched) -> Vec<Check> {
    let covers = Covers::Station(switched.station.clone());
    let Some(own) = watched.iter().find(|w| w.meter.covers == covers) else {
        let above = watched.iter().map(|w| Of(&w.meter.id, Test::Step));
        return above.map(|of| of.untested(format!("no polled meter covers station {}", switched.station))).collect();
    };
    let of = Of(&own.meter.id, Test::Step);
    let Some(seen) = rise(own, switched.at) else {
        return vec![of.untested("no samples before and after the switch")];
    };
    let risen = watched.iter().filter(|w| w.meter.id != own.meter.id).filter_map(|w| Some((w, rise(w, switched.at)?)));
    let others: Vec<(&Watched, f64)> = risen.collect();
    let words = format!("rose by {seen:.0} W when {} was switched on", switched.station);
    let rated = rated(plant, switched);
    let least = rated.map_or(100.0, |watts| watts / 10.0);
    if seen < least {
        let instead = others.iter().filter(|(w, watts)| !is_above(plant, w, own) && *watts >= least);
        let instead: Vec<String> = instead.map(|(w, watts)| format!("{} rose by {watts:.0} W", w.meter.id)).collect();
        let what = if instead.is_empty() { words } else { format!("{words}, but {}", instead.join(", ")) };
        return vec![of.failed(
            what,
            "which feeder the transformers stand on; whether unit ids of two meters are exchanged; whether the lamp came on",
        )];
    }
    let mut checks = vec![against_rating(of, seen, rated, words)];
    for (above, watts) in others.iter().filter(|(w, _)| is_above(plant, w, own)) {
        let of = Of(&above.meter.id, Test::Step);
        let words = format!("rose by {watts:.0} W, {} below it by {seen:.0} W", own.meter.id);
        let ratio = watts / seen;
        // Other loads below the main come and go in the same minute.
        checks.push(if (ratio - 1.0).abs() <= 2.0 * TOLERANCE {
            of.passed(words)
        } else {
            of.failed(format!("{words}: {ratio:.2} times as much"), hint(ratio))
        });
    }
    checks
}

/// By how many primary watts a meter rose: the last spell against the spell before the switch.
fn rise(watched: &Watched, at: At) -> Option<f64> {
    let end = watched.samples.last()?.at + 1;
    let before = primary(watched, Period::new(at - SPELL, at))?;
    let after = primary(watched, Period::new((end - SPELL).max(at + 1), end))?;
    Some(after - before)
}

/// Whether a meter stands above another.
fn is_above(plant: &Plant, above: &Watched, below: &Watched) -> bool {
    let mut next = below.meter.below.clone();
    // A chain of meters is no longer than there are meters.
    for _ in 0..plant.meters.len() {
        let Some(id) = next else { return false };
        if id == above.meter.id {
            return true;
        }
        next = plant.meter(&id).and_then(|meter| meter.below.clone());
    }
    false
}

/// The rated watts of the lamp that was fitted then.
fn rated(plant: &Plant, switched: &Switched) -> Option<f64> {
    let (_, station) = plant.station(&switched.station)?;
    let lamp = station.fitted.at(switched.at)?.as_ref()?;
    plant.lamp(lamp).map(|lamp| lamp.rated_watts())
}

/// A lamp draws a part of its rating on standby and, with its supply's losses, somewhat more than it at full level.
fn against_rating(of: Of<'_>, seen: f64, rated: Option<f64>, words: String) -> Check {
    match rated {
        Some(rated) if seen > 1.5 * rated => of.failed(
            format!("{words}; the lamp is rated at {rated:.0} W"),
            "the transformer ratio; whether other loads hang behind this meter; length and rating of the lamp",
        ),
        Some(rated) => of.passed(format!("{words}; the lamp is rated at {rated:.0} W")),
        None => of.passed(words),
    }
}
