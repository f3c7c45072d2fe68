//! Carbon of presses and their stations, with a bar for each.

use super::grid::{Cell, Grid, Table};
use super::presses::Part;
use crate::plant::Plant;
use crate::report::chart::bar;
use crate::report::lines::Ledger;
use crate::report::number::Ids;
use crate::report::sums::{Sums, by, total};
use crate::time::Month;
use std::collections::BTreeMap;

/// The table of carbon; its rows of kind `group` and `sum` add up to the plant.
pub fn carbon_by_station(plant: &Plant, month: Month, ledger: &Ledger) -> Table {
    let (ids, unit) = (Ids(month), ledger.carbon_unit("kg"));
    let sums: BTreeMap<Part, Sums> = by(&ledger.accounts, |slice| Some(Part::of(plant, slice)));
    let kg = |sums: &Sums| sums.co2e().map_or(0.0, |co2e| co2e.mg() as f64);
    let of_press = sums.iter().filter(|(part, _)| part.press().is_some());
    let widest = of_press.map(|(_, sums)| kg(sums)).fold(0.0, f64::max);
    let mut grid =
        Grid::new("Carbon by press and station").words("").numbers("Scope 2, location-based", &unit).words("");
    let mut row = |kind, name: String, path: &str, sums: &Sums| {
        let cells = vec![name.into(), Cell::maybe(sums.co2e(), ids.of(&["carbon", path])), Cell::from("")];
        match kind {
            "part" => grid.drawn(kind, cells, bar("Carbon", &[("curing", kg(sums))], widest)),
            _ => grid.row(kind, cells),
        }
    };
    let sum = |wanted: &dyn Fn(&Part) -> bool| {
        sums.iter().filter(|(part, _)| wanted(part)).fold(Sums::default(), |all, (_, sums)| all + *sums)
    };
    for press in &plant.presses {
        row("group", press.name.clone(), press.id.as_str(), &sum(&|part| part.press() == Some(&press.id)));
        for station in &press.stations {
            let part = Part::Station(press.id.clone(), station.id.clone());
            if let Some(sums) = sums.get(&part) {
                row("part", format!("{} {}", station.id.short(), station.name), &part.path(), sums);
            }
        }
        let beyond = Part::Press(press.id.clone());
        if let Some(sums) = sums.get(&beyond) {
            row("part", "beyond its stations, with shared loads".into(), &beyond.path(), sums);
        }
    }
    row("group", "Charged to no press".into(), "none", &sum(&|part| part.press().is_none()));
    row("sum", "Plant".into(), "plant", &total(&ledger.accounts));
    grid.finish()
}
