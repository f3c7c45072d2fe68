//! The promise.

use super::document::Document;
use super::known::Known;
use super::legal::{self, Legal};
use super::nearest::did_you_mean;
use super::section::Section;
use super::value::Value;
use crate::names::{LoadId, PressId, StationId};
use crate::plant::RatedAt;
use crate::verify::{Equipment, Group, Hours, Promise, SharedChange, Stated};

mod contract;
mod heat;

const ROOT: [&str; 11] =
    ["title", "dated", "price", "grid_kg", "investment", "declared", "group", "shared", "stated", "contract", "heat"];
const GROUP: [&str; 8] = ["press", "stations", "length_mm", "old", "new", "lit", "hours", "kwh"];
const LAMP: [&str; 7] = ["w_per_cm", "rated_at", "supply_factor", "level", "standby_share", "off_w", "power_factor"];
const HOURS: [&str; 3] = ["manned", "curing", "standby"];
const SHARED: [&str; 3] = ["load", "before_kwh", "after_kwh"];
const STATED: [&str; 5] = ["kwh", "money", "co2e_kg", "kva", "payback_years"];

/// What the file says; `None` where a part is wrong, which is then noted in it.
pub fn read(document: &Document, known: &Known) -> Option<Promise> {
    let table = document.parse()?;
    let root = Section::new("", document.spot(0), table.get_ref(), &ROOT);
    let title = root.need("title").and_then(|v| v.text());
    let dated = root.need("dated").and_then(|v| v.day());
    let price = real(root.need("price"), legal::PRICE);
    let (grid_kg, investment) =
        (optional(&root, "grid_kg", legal::FACTOR), optional(&root, "investment", legal::AMOUNT));
    let declared: Option<Vec<_>> =
        root.each("declared", "declared", "name", &["name", "money"]).iter().map(line).collect();
    let groups = groups(&root, known);
    let shared = shared(&root, known);
    let stated = root.get("stated").map_or(Some(Stated::default()), |v| stated(&v.section_about("stated", &STATED)?));
    let contract = part(&root, "contract", contract::read);
    let heat = part(&root, "heat", heat::read);
    Some(Promise {
        title: title?.into(),
        dated: dated?,
        price: price?,
        grid_kg: grid_kg?,
        investment: investment?,
        declared: declared?,
        groups: groups?,
        shared: shared?,
        stated: stated?,
        contract: contract?,
        heat: heat?,
    })
}

/// A part that may be absent: `Some(None)`.
fn part<T>(root: &Section<'_>, key: &str, read: fn(&Value<'_>) -> Option<T>) -> Option<Option<T>> {
    root.get(key).map_or(Some(None), |value| read(&value).map(Some))
}

/// A number that must be there.
fn real(value: Option<Value<'_>>, legal: Legal) -> Option<f64> {
    value?.number(legal).map(|number| number.to_f64())
}

/// A number that may be absent: `Some(None)`.
fn optional(section: &Section<'_>, key: &str, legal: Legal) -> Option<Option<f64>> {
    section.get(key).map_or(Some(None), |value| real(Some(value), legal).map(Some))
}

/// A number that is `or` where it is absent.
fn real_or(section: &Section<'_>, key: &str, legal: Legal, or: f64) -> Option<f64> {
    optional(section, key, legal).map(|number| number.unwrap_or(or))
}

fn line(section: &Section<'_>) -> Option<(String, f64)> {
    let name = section.need("name").and_then(|v| v.text());
    let money = real(section.need("money"), legal::MONEY);
    Some((name?.into(), money?))
}

fn stated(section: &Section<'_>) -> Option<Stated> {
    let [kwh, money, co2e_kg, kva, payback_years] = STATED.map(|key| optional(section, key, legal::AMOUNT));
    Some(Stated { kwh: kwh?, money: money?, co2e_kg: co2e_kg?, kva: kva?, payback_years: payback_years? })
}

/// The groups; a station is converted once.
fn groups(root: &Section<'_>, known: &Known) -> Option<Vec<Group>> {
    let sections = root.each("group", "group", "press", &GROUP);
    if sections.is_empty() {
        root.say_help(
            "group",
            "there is no [[group]]",
            "a group holds the stations of one press that are converted alike",
        );
        return None;
    }
    let mut taken: Vec<StationId> = Vec::new();
    let read: Vec<Option<Group>> = sections.iter().map(|section| group(section, known, &mut taken)).collect();
    read.into_iter().collect()
}

fn group(section: &Section<'_>, known: &Known, taken: &mut Vec<StationId>) -> Option<Group> {
    let press = section.need("press").and_then(|v| v.known("press", &known.presses)).map(PressId::from);
    let stations = section.need("stations").and_then(|v| stations(&v, press.as_ref()?, known, taken));
    let length = section.need("length_mm").and_then(|v| v.whole(legal::LAMP_LENGTH));
    let side = |key: &str| {
        let about = format!("{}: {key}", section.about());
        section.need(key).and_then(|v| lamp(&v.section_about(&about, &LAMP)?))
    };
    let (old, new) = (side("old"), side("new"));
    let lit = real(section.need("lit"), legal::LIT);
    let hours = section.need("hours").and_then(|v| hours(&v.section(&HOURS)?));
    let kwh = optional(section, "kwh", legal::AMOUNT);
    Some(Group {
        press: press?,
        stations: stations?,
        length_cm: length? as f64 / 10.0,
        old: old?,
        new: new?,
        lit: lit?,
        hours: hours?,
        kwh: kwh?,
    })
}

fn stations(value: &Value<'_>, press: &PressId, known: &Known, taken: &mut Vec<StationId>) -> Option<Vec<StationId>> {
    let within = format!("{press}/");
    let of_press = || known.stations.iter().filter_map(|station| station.strip_prefix(&within));
    let mut station = |item: Value<'_>| {
        let word = item.text()?;
        if !of_press().any(|other| other == word) {
            item.say_help(
                &format!("station \"{word}\" of press \"{press}\" is not known"),
                did_you_mean(word, of_press()),
            );
            return None;
        }
        let id = StationId::of(press, word);
        if taken.contains(&id) {
            return item.refuse(&format!("must not name \"{word}\" again: a station is converted once"));
        }
        taken.push(id.clone());
        Some(id)
    };
    let items = value.list();
    if items.is_empty() {
        return value.refuse("must name a station");
    }
    let read: Vec<Option<StationId>> = items.into_iter().map(&mut station).collect();
    read.into_iter().collect()
}

fn lamp(section: &Section<'_>) -> Option<Equipment> {
    let w_per_cm = real(section.need("w_per_cm"), legal::RATING);
    let rated_at = section.need("rated_at").and_then(|v| v.rated_at());
    let supply_factor = real_or(section, "supply_factor", legal::SUPPLY_FACTOR, 1.0);
    if rated_at == Some(RatedAt::Mains) && section.get("supply_factor").is_some() {
        section.say_help(
            "supply_factor",
            "a rating at the mains has no supply_factor: the losses are in it",
            "leave supply_factor out, or write rated_at = \"lamp\"",
        );
    }
    let level = real(section.need("level"), legal::LEVEL);
    let standby_share = real_or(section, "standby_share", legal::SHARE, 0.0);
    let off_w = real_or(section, "off_w", legal::OFF, 0.0);
    let power_factor = optional(section, "power_factor", legal::POWER_FACTOR);
    Some(Equipment {
        w_per_cm: w_per_cm?,
        rated_at: rated_at?,
        supply_factor: supply_factor?,
        level: level?,
        standby_share: standby_share?,
        off_w: off_w?,
        power_factor: power_factor?,
    })
}

fn hours(section: &Section<'_>) -> Option<Hours> {
    let manned = real(section.need("manned"), legal::MANNED);
    let [curing, standby] = ["curing", "standby"].map(|key| real(section.need(key), legal::HOURS));
    Some(Hours { manned: manned?, curing: curing?, standby: standby? })
}

/// Shared loads, each at most once.
fn shared(root: &Section<'_>, known: &Known) -> Option<Vec<SharedChange>> {
    let sections = root.each("shared", "shared", "load", &SHARED);
    let mut taken: Vec<LoadId> = Vec::new();
    let mut change = |section: &Section<'_>| {
        let load = section.need("load").and_then(|v| v.known("load", &known.loads)).map(LoadId::from);
        if load.as_ref().is_some_and(|load| taken.contains(load)) {
            section.say("load", "the load stands in another [[shared]] already");
        }
        taken.extend(load.clone());
        let (before, after) =
            (real(section.need("before_kwh"), legal::AMOUNT), real(section.need("after_kwh"), legal::AMOUNT));
        Some(SharedChange { load: load?, before: before?, after: after? })
    };
    let read: Vec<Option<SharedChange>> = sections.iter().map(&mut change).collect();
    read.into_iter().collect()
}
