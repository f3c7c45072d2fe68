//! Meters: what each covers, where it measures, how it is polled.

use super::hall::EVER;
use super::known::Known;
use super::section::Section;
use super::{devices, legal};
use crate::names::{LoadId, MeterId, PressId};
use crate::plant::{Boundary, Circuit, Covers, Dated, Flow, Meter, Point};
use crate::sources::RegisterMap;
use crate::time::{At, Zone};
use std::collections::BTreeMap;
use std::sync::Arc;

const METER: [&str; 15] = [
    "id", "name", "covers", "below", "fiscal", "flow", "boundary", "max_kw", "class", "rated_a", "phases", "ct_class",
    "interval", "device", "modbus",
];
const MODBUS: [&str; 4] = ["line", "unit", "registers", "poll"];
const BOUNDARY: [&str; 3] = ["point", "includes", "since"];

/// Register maps by name; `None` in place of one that is wrong.
pub type Maps = BTreeMap<String, Option<Arc<RegisterMap>>>;

/// A meter with its section.
pub struct ReadMeter<'a> {
    /// Its own.
    pub section: Section<'a>,
    /// The meter.
    pub meter: Meter,
    /// How it is polled, where it is.
    pub modbus: Option<Modbus<'a>>,
}

/// How a meter is polled.
pub struct Modbus<'a> {
    /// Its section.
    pub section: Section<'a>,
    /// The line that it hangs on.
    pub line: String,
    /// Its unit id.
    pub unit: u8,
    /// What its device offers.
    pub map: Arc<RegisterMap>,
    /// Milliseconds between polls.
    pub poll: i64,
}

/// The meters, in the order of the file; `None` in place of one that is wrong.
pub fn read<'a>(root: &Section<'a>, known: &Known, maps: &Maps, zone: Zone) -> Vec<Option<ReadMeter<'a>>> {
    let sections = root.each("meter", "meter", "id", &METER);
    root.unique("meter", &sections);
    sections.iter().map(|section| meter(section, known, maps, zone)).collect()
}

fn meter<'a>(section: &Section<'a>, known: &Known, maps: &Maps, zone: Zone) -> Option<ReadMeter<'a>> {
    let id = section.need("id").and_then(|v| v.name()).map(MeterId::from);
    let name = section.label("name");
    let covers = section.need("covers").and_then(|v| covers(&v, known));
    let below = match section.get("below") {
        Some(v) => v.known("meter", &known.meters).map(|id| Some(MeterId::from(id))),
        None => Some(None),
    };
    let fiscal = section.get("fiscal").map_or(Some(false), |v| v.flag());
    let flows = [("import", Flow::Import), ("export", Flow::Export), ("generation", Flow::Generation)];
    let flow = section.get("flow").map_or(Some(Flow::Import), |v| v.one_of(&flows));
    let boundary = boundary(section, zone);
    let max_watts = section.need("max_kw").and_then(|v| v.number(legal::MAX_KW)).and_then(|kw| kw.scale(1_000, 1, 1));
    let class = section.label("class");
    let circuit = circuit(section);
    // Read in any case, so that its problems are told with the others.
    let modbus = section.get("modbus").map(|v| v.section(&MODBUS).and_then(|s| modbus(s, known, maps)));
    let polled = modbus.as_ref().and_then(Option::as_ref);
    let native = native(section, polled.map(|m| m.poll), modbus.is_some());
    let device = devices::read(section, polled.map(|m| m.map.as_ref()), zone);
    let id = id?;
    let meter = Meter {
        name: name.unwrap_or_else(|| id.to_string()),
        id,
        covers: covers?,
        flow: flow?,
        below: below?,
        fiscal: fiscal?,
        boundary: boundary?,
        device: device?,
        max_watts: max_watts?,
        native: native?,
        class,
        circuit: circuit?,
    };
    let modbus = match modbus {
        Some(read) => Some(read?),
        None => None,
    };
    Some(ReadMeter { section: section.clone(), meter, modbus })
}

/// What the circuit is rated for: as stated, else by the primary current of the transformers of the last device.
fn circuit(section: &Section<'_>) -> Option<Option<Circuit>> {
    let ct = devices::primary_ma(section);
    let rated_ma = match section.get("rated_a") {
        Some(v) => Some(v.number(legal::CURRENT)?.scale(1_000, 1, 1)?),
        None => ct,
    };
    let phases = section.get("phases").map_or(Some(3), |v| v.whole(legal::PHASES));
    let ct_class = section.label("ct_class");
    let (phases, has_ct) = (phases? as u8, ct.is_some() || ct_class.is_some());
    Some((rated_ma.is_some() || has_ct).then_some(Circuit { rated_ma, phases, ct_class, has_ct }))
}

/// `"site"`, or a table with one key that says what.
fn covers(value: &super::value::Value<'_>, known: &Known) -> Option<Covers> {
    if !value.is_table() {
        return match value.text()? {
            "site" => Some(Covers::Site),
            _ => value.wrong("\"site\", { press = ... }, { station = ... } or { load = ... }"),
        };
    }
    let section = value.section(&["press", "station", "load"])?;
    let press =
        section.get("press").map(|v| v.known("press", &known.presses).map(|id| Covers::Press(PressId::from(id))));
    let station = section.get("station").map(|v| v.station(known).map(Covers::Station));
    let load = section.get("load").map(|v| v.known("load", &known.loads).map(|id| Covers::Load(LoadId::from(id))));
    let mut said = [press, station, load].into_iter().flatten();
    match (said.next(), said.next()) {
        (Some(covers), None) => covers,
        _ => value.refuse("must say one of press, station, load"),
    }
}

fn boundary(section: &Section<'_>, zone: Zone) -> Option<Dated<Boundary>> {
    let entries = section.need("boundary")?.list();
    let points = Point::ALL.map(|point| (point.word(), point));
    let mut values: Vec<(At, Boundary)> = Vec::new();
    for entry in &entries {
        let entry = entry.section(&BOUNDARY)?;
        let since = entry.get("since").map_or(Some(EVER), |v| v.instant(zone));
        let point = entry.need("point").and_then(|v| v.one_of(&points));
        let includes: Option<Vec<String>> = entry
            .get("includes")
            .map_or(Some(Vec::new()), |v| v.list().iter().map(|word| word.text().map(String::from)).collect());
        values.push((since?, Boundary { point: point?, includes: includes? }));
    }
    section.in_order("boundary", values.iter().map(|(since, _)| *since), zone);
    Some(Dated::new(values))
}

fn modbus<'a>(section: Section<'a>, known: &Known, maps: &Maps) -> Option<Modbus<'a>> {
    let line = section.need("line").and_then(|v| v.known("line", &known.lines));
    let unit = section.need("unit").and_then(|v| v.whole(legal::UNIT));
    let map = section.need("registers").and_then(|v| v.known("register map", &known.maps));
    let poll = section.need("poll").and_then(|v| evenly(&v, legal::POLL));
    Some(Modbus { line: line?.into(), unit: unit? as u8, map: maps.get(map?)?.clone()?, poll: poll?, section })
}

/// Milliseconds between values: as stated, or else as polled.
fn native(section: &Section<'_>, poll: Option<i64>, is_polled: bool) -> Option<i64> {
    let Some(value) = section.get("interval") else {
        if !is_polled {
            section.say_help(
                "interval",
                "interval is missing: how often a value of this meter comes",
                "write interval = \"30min\", or poll the meter with [meter.modbus]",
            );
        }
        return poll;
    };
    let interval = evenly(&value, legal::INTERVAL)?;
    if poll.is_some_and(|poll| interval < poll) {
        return value.wrong("at least as long as poll");
    }
    Some(interval)
}

/// A length of time with which values fall on the borders of quarter hours.
fn evenly(value: &super::value::Value<'_>, legal: legal::Legal) -> Option<i64> {
    const QUARTER: i64 = 900_000;
    let millis = value.duration(legal)?;
    if QUARTER % millis == 0 || (millis % QUARTER == 0 && 86_400_000 % millis == 0) {
        return Some(millis);
    }
    value.wrong_help(
        "a length of time that divides the quarter hour, or a number of quarter hours that divides the day",
        "use 1s, 5s, 10s, 15s, 30s, 1min, 5min, 15min or 30min: values then fall on the borders of quarter hours",
    )
}
