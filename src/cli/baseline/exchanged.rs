//! The days of a lamp exchange test.

use crate::cli::Failure;
use crate::plant::{Lamp, LampKind, Plant, Station};
use crate::verify::{Aside, Day, Scope};
use anyhow::anyhow;
use chrono::NaiveDate;

/// The first and the last day that were named.
pub fn span(named: &[NaiveDate]) -> Result<(NaiveDate, NaiveDate), Failure> {
    let ends = named.iter().min().copied().zip(named.iter().max().copied());
    ends.ok_or_else(|| Failure::unusable(anyhow!("--days is missing: on which days arc lamps were fitted again")))
}

/// Of the days those that were named; that a lamp of the other kind was fitted is what they are for.
pub fn named(plant: &Plant, scope: &Scope, days: &mut Vec<Day>, named: &[NaiveDate]) -> Result<(), Failure> {
    if let Some((day, station, lamp)) = named.iter().find_map(|day| new_lamp(plant, scope, *day)) {
        return Err(Failure::unusable(anyhow!(
            "on {day} LED lamp {} was fitted to station {}\nhelp: leave the day out, or record when the arc lamp was fitted: \
             inkwatt record lamp --help",
            lamp.id,
            station.id
        )));
    }
    days.retain(|day| named.contains(&day.date));
    for day in days.iter_mut().filter(|day| day.aside == Some(Aside::OtherLamp)) {
        day.aside = None;
    }
    Ok(())
}

/// A new lamp that is entered as fitted in a part of the day to a station that was converted.
fn new_lamp<'a>(plant: &'a Plant, scope: &Scope, day: NaiveDate) -> Option<(NaiveDate, &'a Station, &'a Lamp)> {
    let press = plant.press(scope.judged.press()?)?;
    let converted = press.stations.iter().filter(|station| !station.implementation.is_empty());
    converted.into_iter().find_map(|station| {
        let mut fitted = station.fitted.spans(plant.zone.day(day)).filter_map(|(_, lamp)| plant.lamp(lamp.as_ref()?));
        fitted.find(|lamp| lamp.kind == LampKind::Led).map(|lamp| (day, station, lamp))
    })
}
