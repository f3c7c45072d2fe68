//! The figures that a slice is part of, by the paths below `energy`, `cost` and `carbon`, with what they are in words.

use crate::attribute::{Amount, Placed, Slice};
use crate::plant::{Covers, Plant};
use crate::report::csv::energy_path;
use crate::report::known::is_spread;
use crate::report::month::presses::Part;
use crate::report::month::uses::Use;

/// Paths with what they name: the plant, the press, the part of it, each also by use, and the row of `energy.csv`.
pub fn of(plant: &Plant, slice: &Slice) -> Vec<(String, String)> {
    let part = Part::of(plant, slice);
    let wholes = wholes(plant, &part);
    let column = column(Use::of(plant, slice));
    let by_use: Vec<_> = wholes.iter().map(|whole| of_use(whole, column)).collect();
    let row = (energy_path(slice), format!("the row of energy.csv for {}", named(plant, &part)));
    wholes.into_iter().chain(by_use).chain([row]).collect()
}

/// The paths that any slice of the plant may have, but for rows of `energy.csv`.
pub fn every(plant: &Plant) -> Vec<(String, String)> {
    let stations = plant
        .presses
        .iter()
        .flat_map(|press| press.stations.iter().map(|station| Part::Station(press.id.clone(), station.id.clone())));
    let presses = plant.presses.iter().map(|press| Part::Press(press.id.clone()));
    let loads = plant.meters.iter().filter(|meter| matches!(meter.covers, Covers::Load(_)));
    let loads = loads.map(|meter| Part::Load(meter.name.clone()));
    let parts = stations.chain(presses).chain(loads).chain([Part::Rest]);
    let all: Vec<_> = parts.flat_map(|part| wholes(plant, &part)).collect();
    let by_use = all.iter().flat_map(|whole| Use::ALL.map(|used| of_use(whole, column(used))));
    all.iter().cloned().chain(by_use).collect()
}

/// A part, its press and the plant.
fn wholes(plant: &Plant, part: &Part) -> Vec<(String, String)> {
    let press = match part.press() {
        Some(press) => (press.to_string(), press_name(plant, press.as_str())),
        None => ("none".into(), "what is charged to no press".into()),
    };
    vec![("plant".to_owned(), "the plant".to_owned()), (part.path(), named(plant, part)), press]
}

/// The column of a use in the table of stations: its path and its head.
const fn column(used: Use) -> (&'static str, &'static str) {
    match used {
        Use::Press | Use::Rest => ("other", "beyond lamps and shared loads"),
        _ => (used.class(), used.word()),
    }
}

/// Whether a word is the path of a column of uses.
pub fn is_column(word: &str) -> bool {
    Use::ALL.into_iter().any(|used| column(used).0 == word)
}

fn of_use(whole: &(String, String), column: (&str, &str)) -> (String, String) {
    (format!("{}/{}", whole.0, column.0), format!("{}: {}", whole.1, column.1))
}

/// A part of the plant in words.
fn named(plant: &Plant, part: &Part) -> String {
    match part {
        Part::Station(press, station) => {
            let found = plant.press(press).and_then(|press| press.stations.iter().find(|s| s.id == *station));
            let name = found.map_or_else(String::new, |found| format!(" {}", found.name));
            format!("station {}{name} of {}", station.short(), press_name(plant, press.as_str()))
        }
        Part::Press(press) => {
            format!("{} beyond its stations, with its part of shared loads", press_name(plant, press.as_str()))
        }
        Part::Load(name) => format!("{name}, charged to no press"),
        Part::Rest => "the unmetered rest".into(),
    }
}

fn press_name(plant: &Plant, id: &str) -> String {
    plant.presses.iter().find(|press| press.id.as_str() == id).map_or_else(|| id.into(), |press| press.name.clone())
}

/// The partitions of the plant's energy on the first screen that a slice is in, with what they are in words.
pub fn trusted(plant: &Plant, slice: &Slice) -> [Option<(&'static str, &'static str)>; 2] {
    let how = match (slice.usage.amount, slice.usage.placed) {
        (Amount::Metered, Placed::Measured) => Some(("metered", "metered at the time of its use")),
        (Amount::Metered, Placed::Within) => Some(("within", "shared between two readings")),
        (Amount::Metered, placed) if is_spread(placed) => Some(("spread", "metered and spread over a gap")),
        (Amount::Integrated, _) => Some(("from-power", "from readings of power")),
        (Amount::Estimated, _) => Some(("estimated", "estimated by a stated rule")),
        _ => None,
    };
    let by = match Use::of(plant, slice) {
        Use::Press => ("presses", "behind the main of a press, beyond its stations"),
        Use::Shared => ("shared", "of shared loads"),
        Use::Rest => ("rest", "behind no meter but the supply"),
        _ => ("stations", "of stations with a meter of their own"),
    };
    [how, Some(by)]
}
