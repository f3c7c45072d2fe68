//! The names that a plant file gives to things, gathered before anything is judged: a press whose speed is wrong is
//! still there to be referred to.

use super::value::Value;
use crate::names::StationId;
use toml::de::{DeTable, DeValue};

/// The names in a plant file, as written.
#[derive(Default)]
pub struct Known {
    /// Presses.
    pub presses: Vec<String>,
    /// Stations, as `press/station`.
    pub stations: Vec<String>,
    /// Lamps.
    pub lamps: Vec<String>,
    /// Shared loads.
    pub loads: Vec<String>,
    /// Lines.
    pub lines: Vec<String>,
    /// Meters.
    pub meters: Vec<String>,
    /// Register maps, from their own files.
    pub maps: Vec<String>,
}

impl Known {
    /// The names in the tables of a plant file.
    pub fn gather(table: &DeTable<'_>, maps: Vec<String>) -> Self {
        let ids = |list: &str| -> Vec<String> { items(table, list).filter_map(id).collect() };
        let stations = items(table, "press").filter_map(|press| Some((id(press)?, press))).flat_map(|(name, press)| {
            let stations = press.get("stations").map(|list| list.get_ref());
            let each = move |station: &DeValue<'_>| Some(format!("{name}/{}", id(station)?));
            stations.into_iter().flat_map(entries).filter_map(each).collect::<Vec<_>>()
        });
        let lamps =
            items(table, "lamps").filter_map(|kind| kind.get("assets")).flat_map(|list| entries(list.get_ref()));
        Self {
            presses: ids("press"),
            stations: stations.collect(),
            lamps: lamps.filter_map(|lamp| id(lamp).or_else(|| lamp.as_str().map(String::from))).collect(),
            loads: ids("load"),
            lines: ids("line"),
            meters: ids("meter"),
            maps,
        }
    }
}

fn items<'t>(table: &'t DeTable<'t>, list: &str) -> impl Iterator<Item = &'t DeValue<'t>> {
    table.get(list).into_iter().flat_map(|value| entries(value.get_ref()))
}

fn entries<'t>(value: &'t DeValue<'t>) -> impl Iterator<Item = &'t DeValue<'t>> {
    let list = value.as_array().map(|list| list.iter().map(|item| item.get_ref()).collect());
    list.unwrap_or_else(|| vec![value]).into_iter()
}

fn id(value: &DeValue<'_>) -> Option<String> {
    value.get("id")?.get_ref().as_str().map(String::from)
}

impl<'a> Value<'a> {
    /// The name of a known thing; `noun` says what it is.
    pub fn known(&self, noun: &str, names: &[String]) -> Option<&'a str> {
        self.reference(noun, names.iter().map(String::as_str))
    }

    /// The name of a known station.
    pub fn station(&self, known: &Known) -> Option<StationId> {
        self.known("station", &known.stations).map(StationId::from)
    }
}
