//! Presses with their stations.

use super::known::Known;
use super::legal;
use super::section::Section;
use crate::names::{LampId, PressId, StationId};
use crate::plant::{Dated, Press, Station, StationUse};
use crate::time::{At, Period, Zone};

const PRESS: [&str; 4] = ["id", "name", "moving_above", "stations"];
const STATION: [&str; 5] = ["id", "name", "does", "lamp", "implementation"];

/// Since ever: a fact without a date holds from the beginning.
pub const EVER: At = At(i64::MIN);

/// A press with the sections of its stations.
pub struct ReadPress<'a> {
    /// The sections, in web direction.
    pub stations: Vec<Section<'a>>,
    /// The press.
    pub press: Press,
}

/// The presses, in the order of the file; `None` in place of one that is wrong.
pub fn presses<'a>(root: &Section<'a>, known: &Known, zone: Zone) -> Vec<Option<ReadPress<'a>>> {
    let sections = root.each("press", "press", "id", &PRESS);
    root.unique("press", &sections);
    sections.iter().map(|section| press(section, known, zone)).collect()
}

fn press<'a>(section: &Section<'a>, known: &Known, zone: Zone) -> Option<ReadPress<'a>> {
    let id = section.need("id").and_then(|v| v.name()).map(PressId::from);
    let moving = section.need("moving_above").and_then(|v| v.number(legal::SPEED));
    let name = section.label("name");
    let noun = format!("{}: station", section.about());
    let sections = section.each("stations", &noun, "id", &STATION);
    section.unique("station", &sections);
    if sections.is_empty() {
        section.say("stations", "there are no stations");
    }
    let stations: Option<Vec<Station>> = sections.iter().map(|s| station(s, id.as_ref(), known, zone)).collect();
    let id = id?;
    let press = Press {
        name: name.unwrap_or_else(|| id.to_string()),
        id,
        stations: stations?,
        moving_mm_min: moving?.scale(1_000, 1, 1)?,
    };
    Some(ReadPress { stations: sections, press })
}

fn station(section: &Section<'_>, press: Option<&PressId>, known: &Known, zone: Zone) -> Option<Station> {
    let id = section.need("id").and_then(|v| v.name());
    let does = section.need("does").and_then(|v| v.one_of(&StationUse::ALL.map(|does| (does.word(), does))));
    let name = section.label("name");
    let fitted = fitted(section, known, zone);
    let implementation: Option<Vec<Period>> = section
        .get("implementation")
        .map_or(Vec::new(), |v| v.list())
        .iter()
        .map(|v| implementation(&v.section(&["started", "accepted"])?, zone))
        .collect();
    let id = id?;
    let mut implementation = implementation?;
    implementation.sort();
    Some(Station {
        id: StationId::of(press?, id),
        name: name.unwrap_or_else(|| id.into()),
        does: does?,
        fitted: fitted?,
        implementation,
    })
}

/// Which lamp stood there when: a name, or a list with instants.
fn fitted(section: &Section<'_>, known: &Known, zone: Zone) -> Option<Dated<Option<LampId>>> {
    let lamp = |value: &super::value::Value<'_>| -> Option<Option<LampId>> {
        match value.text()? {
            "none" => Some(None),
            _ => value.known("lamp", &known.lamps).map(|id| Some(LampId::from(id))),
        }
    };
    let entry = |value: super::value::Value<'_>| -> Option<(At, Option<LampId>)> {
        if !value.is_table() {
            return Some((EVER, lamp(&value)?));
        }
        let entry = value.section(&["lamp", "since"])?;
        let since = entry.get("since").map_or(Some(EVER), |v| v.instant(zone));
        let lamp = entry.need("lamp").and_then(|v| lamp(&v));
        Some((since?, lamp?))
    };
    let Some(value) = section.get("lamp") else { return Some(Dated::default()) };
    let values: Option<Vec<_>> = value.list().into_iter().map(entry).collect();
    let values = values?;
    section.in_order("lamp", values.iter().map(|(since, _)| *since), zone);
    Some(Dated::new(values))
}

fn implementation(section: &Section<'_>, zone: Zone) -> Option<Period> {
    let started = section.need("started").and_then(|v| v.instant(zone));
    // Without an acceptance the conversion still goes on.
    let accepted = section.get("accepted").map_or(Some(At(i64::MAX)), |v| v.instant(zone));
    let period = Period::new(started?, accepted?);
    if period.is_empty() {
        section.say("accepted", "accepted lies before started");
    }
    Some(period)
}
