//! Lamps as assets, and shared loads.

use super::known::Known;
use super::legal;
use super::section::Section;
use super::value::Value;
use crate::names::{LampId, LoadId, PressId};
use crate::plant::{Bands, Lamp, LampKind, RatedAt, ShareRule, SharedLoad};

const LAMPS: [&str; 7] = ["type", "kind", "length_mm", "w_per_cm", "rated_at", "bands", "assets"];
const BANDS: [&str; 4] = ["standby_w", "curing_w", "hysteresis_w", "dwell"];
const LOAD: [&str; 5] = ["id", "name", "serves", "rule", "only"];

/// The lamps, sorted by id.
pub fn lamps(root: &Section<'_>) -> Option<Vec<Lamp>> {
    let types = root.each("lamps", "lamps", "type", &LAMPS);
    let read: Vec<Option<Vec<Lamp>>> = types.iter().map(of_type).collect();
    let mut lamps: Vec<Lamp> = read.into_iter().collect::<Option<Vec<_>>>()?.into_iter().flatten().collect();
    lamps.sort_by(|a, b| a.id.cmp(&b.id));
    if let Some(pair) = lamps.windows(2).find(|pair| pair[0].id == pair[1].id) {
        root.say("lamps", &format!("lamp \"{}\" is listed twice", pair[0].id));
    }
    Some(lamps)
}

fn of_type(section: &Section<'_>) -> Option<Vec<Lamp>> {
    let kind = section.need("kind").and_then(|v| kind(&v));
    let length = section.need("length_mm").and_then(|v| v.whole(legal::LAMP_LENGTH));
    let rating = section.need("w_per_cm").and_then(|v| v.number(legal::RATING));
    let rated_at = section.need("rated_at").and_then(|v| v.rated_at());
    let bands = section.need("bands").and_then(|v| bands(&v.section(&BANDS)?));
    let assets: Vec<_> = section.need("assets").map(|v| v.list()).unwrap_or_default().iter().map(asset).collect();
    let (kind, length_mm, w_per_cm, rated_at, bands) = (kind?, length? as u32, rating?, rated_at?, bands?);
    let lamp = |(id, serial)| Lamp { id, kind, serial, length_mm, w_per_cm, rated_at, bands };
    assets.into_iter().map(|asset| asset.map(lamp)).collect()
}

/// A kind of lamp.
pub fn kind(value: &Value<'_>) -> Option<LampKind> {
    value.one_of(&LampKind::ALL.map(|kind| (kind.word(), kind)))
}

impl Value<'_> {
    /// What a rating refers to.
    pub fn rated_at(&self) -> Option<RatedAt> {
        self.one_of(&[("lamp", RatedAt::Lamp), ("mains", RatedAt::Mains)])
    }
}

/// A lamp by its name, or with its serial number.
fn asset(value: &Value<'_>) -> Option<(LampId, Option<String>)> {
    if !value.is_table() {
        return Some((LampId::from(value.name()?), None));
    }
    let section = value.section(&["id", "serial"])?;
    let id = section.need("id").and_then(|v| v.name());
    let serial = section.label("serial");
    Some((LampId::from(id?), serial))
}

fn bands(section: &Section<'_>) -> Option<Bands> {
    let draw = |key: &str| section.need(key).and_then(|v| v.whole(legal::DRAW));
    let (standby, curing) = (draw("standby_w"), draw("curing_w"));
    let hysteresis = section.get("hysteresis_w").map_or(Some(0), |v| v.whole(legal::HYSTERESIS));
    let dwell = section.get("dwell").map_or(Some(0), |v| v.duration(legal::DWELL));
    let bands = Bands { standby: standby?, curing: curing?, hysteresis: hysteresis?, dwell: dwell? };
    if bands.curing <= bands.standby {
        section.say("curing_w", &format!("curing_w {} must be greater than standby_w {}", bands.curing, bands.standby));
    } else if bands.hysteresis >= bands.standby.min(bands.curing - bands.standby) {
        section.say_help(
            "hysteresis_w",
            &format!("with hysteresis_w {} a state could never be left", bands.hysteresis),
            "keep it below standby_w and below the distance of the borders",
        );
    }
    Some(bands)
}

/// The shared loads, sorted by id.
pub fn loads(root: &Section<'_>, known: &Known) -> Option<Vec<SharedLoad>> {
    let sections = root.each("load", "load", "id", &LOAD);
    root.unique("load", &sections);
    let read: Vec<Option<SharedLoad>> = sections.iter().map(|section| load(section, known)).collect();
    let mut loads: Vec<SharedLoad> = read.into_iter().collect::<Option<_>>()?;
    loads.sort_by(|a, b| a.id.cmp(&b.id));
    Some(loads)
}

fn load(section: &Section<'_>, known: &Known) -> Option<SharedLoad> {
    let id = section.need("id").and_then(|v| v.name()).map(LoadId::from);
    let name = section.label("name");
    let rule = section.need("rule").and_then(|v| v.one_of(&ShareRule::ALL.map(|rule| (rule.word(), rule))));
    let only = match section.get("only") {
        Some(v) => kind(&v).map(Some),
        None => Some(None),
    };
    let serves = section.need("serves").map(|v| v.list()).unwrap_or_default();
    let serves: Option<Vec<PressId>> =
        serves.iter().map(|v| v.known("press", &known.presses).map(PressId::from)).collect();
    let (id, mut serves) = (id?, serves?);
    serves.sort();
    serves.dedup();
    Some(SharedLoad { name: name.unwrap_or_else(|| id.to_string()), id, serves, rule: rule?, only: only? })
}
