//! What presses and lamps were doing: the first stage, and what owners are read from.

use crate::attribute::bands::Draw;
use crate::attribute::lamp::{StationLine, station_line};
use crate::attribute::press::{PressLine, press_line};
use crate::attribute::track::time_of;
use crate::attribute::{Curve, DayFold};
use crate::found::{Found, Issue, Remark};
use crate::names::{MeterId, PressId, StationId};
use crate::plant::{Covers, Plant, Station};
use crate::readings::Run;
use crate::time::{MINUTE, Period, QUARTER};
use std::collections::BTreeMap;

/// What every press and station was doing.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Timeline {
    /// The presses.
    pub presses: BTreeMap<PressId, PressLine>,
    /// The stations.
    pub stations: BTreeMap<StationId, StationLine>,
}

/// The timeline from what is known of a day, its runs and the curves of its meters; remarks are made about `span` only.
pub fn timeline(
    plant: &Plant,
    fold: &DayFold,
    runs: &[Run],
    curves: &BTreeMap<MeterId, Curve>,
    span: Period,
) -> Found<Timeline> {
    let mut found = Found::clean(Timeline::default());
    for press in &plant.presses {
        let line = press_line(&press.id, runs, fold.webs[&press.id].moving(), span);
        found.issues.extend(line.issues);
        for station in &press.stations {
            let draw = draw_of(plant, station, fold, curves);
            let signals = &fold.signals[&station.id];
            let states = station_line(plant, station, signals, &line.value.moving, draw.as_ref());
            found.issues.extend(draw.and_then(|draw| unknown_state(station, &states, &draw, span)));
            found.value.stations.insert(station.id.clone(), states);
        }
        found.value.presses.insert(press.id.clone(), line.value);
    }
    found
}

/// The draw of a station by its meter.
fn draw_of(plant: &Plant, station: &Station, fold: &DayFold, curves: &BTreeMap<MeterId, Curve>) -> Option<Draw> {
    let covers = Covers::Station(station.id.clone());
    let meter = plant.meters.iter().find(|meter| meter.covers == covers)?;
    fold.meters[&meter.id].draw(&curves[&meter.id])
}

/// One remark a day where the state of a station's lamp is not known for a quarter hour or more, although its meter was
/// read: that nobody looked at the meter is a remark of its own.
fn unknown_state(station: &Station, line: &StationLine, draw: &Draw, span: Period) -> Option<Issue> {
    let untold = |looked: Period| {
        let known = time_of(&line.state, looked, Option::is_some);
        looked.millis() - known - time_of(&station.fitted, looked, Option::is_none)
    };
    let unknown: i64 = draw.looked_at(span).map(untold).sum();
    let why = match line.kind.spans(span).any(|(_, kind)| kind.is_none()) || line.kind.at(span.start).is_none() {
        true => "nobody recorded which lamp is fitted",
        false => "neither a signal nor its draw tells",
    };
    (unknown >= QUARTER).then(|| Issue {
        remark: Remark::StateUnknown,
        about: format!("station {}", station.id),
        period: span,
        text: format!("The state of the lamp is not known for {} min: {why}.", unknown / MINUTE),
    })
}
