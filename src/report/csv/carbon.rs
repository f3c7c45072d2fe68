//! `carbon.csv`: the carbon of the energy, with the factor beside every row.

use super::table::{CsvTable, Kind, Writer, column, measured};
use crate::carbon::{Beside, Gas, SetLine};
use crate::report::accounts::group;
use crate::report::input::MonthInput;
use crate::report::lines::Ledger;
use crate::report::number::Ids;
use crate::report::words;
use crate::units::{Co2e, Energy, charge};
use std::collections::BTreeMap;

/// One row for each factor set and press; the rows add up to the plant.
pub fn table(input: &MonthInput, ledger: &Ledger) -> CsvTable {
    let mut table = Writer::new(
        "carbon",
        "Carbon of the electricity drawn, location-based, by factor set and press; the rows add up to the plant",
        vec![
            column("id", Kind::Words, "Id of the figure"),
            column("press", Kind::Words, "Press; empty where no press is charged"),
            measured("energy_kwh", Kind::Number, "kWh", "Energy under this set"),
            measured("factor_kg_per_kwh", Kind::Number, "kg/kWh", "Factor of generation as published"),
            measured("co2e_kg", Kind::Number, "kg", "Scope 2; CO2 alone where gases says so"),
            measured("co2_kg", Kind::Number, "kg", "Carbon dioxide inside it, where published"),
            measured("ch4_co2e_kg", Kind::Number, "kg", "Methane inside it, in CO2 equivalent, where published"),
            measured("n2o_co2e_kg", Kind::Number, "kg", "Nitrous oxide inside it, in CO2 equivalent, where published"),
            measured("losses_factor_kg_per_kwh", Kind::Number, "kg/kWh", "Factor of grid losses, where published"),
            measured("losses_co2e_kg", Kind::Number, "kg", "Grid losses: scope 3 category 3, not inside scope 2"),
            measured("supply_co2e_kg", Kind::Number, "kg", "Supply of fuels: scope 3 category 3, where published"),
            measured("supply_of_losses_co2e_kg", Kind::Number, "kg", "Supply of fuels for the losses, where published"),
            measured("biogenic_co2_kg", Kind::Number, "kg", "CO2 of biomass, outside the scopes, where published"),
            column("gases", Kind::Words, "CO2e, or CO2 for a set of carbon dioxide alone"),
            column("region", Kind::Words, "Grid region"),
            column("publication", Kind::Words, "Publication of the set"),
            column("version", Kind::Words, "Its version"),
            column("published", Kind::Words, "When it was published, as far as stated"),
            column("valid_from", Kind::Day, "First day of consumption to which it applies"),
            column("valid_to", Kind::Day, "Last day of consumption to which it applies"),
            column("warming_potentials", Kind::Words, "Assessment report of the warming potentials"),
            column("status", Kind::Words, "provisional or final"),
            column("grade", Kind::Words, "A read in the official publication; B+ or B to be checked against it"),
            column("source", Kind::Words, "Where the set was taken from"),
        ],
    );
    for line in &ledger.footprint.sets {
        rows(&mut table, Ids(input.month), ledger, line);
    }
    table.finish()
}

fn rows(table: &mut Writer, ids: Ids, ledger: &Ledger, line: &SetLine) {
    let set = &line.set;
    let groups = group(&ledger.accounts, |slice| Some(slice.owner.press.as_ref().map_or("", |p| p.as_str())));
    let mut presses: BTreeMap<usize, (Energy, Co2e)> = BTreeMap::new();
    for share in &line.shares {
        if let Some(press) = groups.of[ledger.lines[share.place].account] {
            let sums = presses.entry(press).or_default();
            *sums = (sums.0 + share.energy, sums.1 + share.co2e);
        }
    }
    let energies: Vec<Energy> = presses.values().map(|(energy, _)| *energy).collect();
    let split = |factor| charge(factor, &energies).map(|(_, parts)| parts);
    let gases = Gas::ALL.map(|gas| set.gases.iter().find(|(g, _)| *g == gas).and_then(|(_, factor)| split(*factor)));
    let beside = Beside::ALL.map(|what| set.beside(what).and_then(split));
    let year = set.valid_from.format("%Y").to_string();
    let cell = |parts: &Option<Vec<i64>>, k: usize| {
        parts.as_ref().map_or_else(String::new, |parts| Co2e::from_mg(parts[k]).to_string())
    };
    for (k, (press, (energy, co2e))) in presses.into_iter().enumerate() {
        let press = groups.keys[press];
        let owner = if press.is_empty() { "none" } else { press };
        table.row([
            ids.of(&["carbon", &format!("{}-{year}", set.region), owner]).as_str(),
            press,
            &energy.to_string(),
            &set.generation.to_string(),
            &co2e.to_string(),
            &cell(&gases[0], k),
            &cell(&gases[1], k),
            &cell(&gases[2], k),
            &set.beside(Beside::Losses).map_or_else(String::new, |factor| factor.to_string()),
            &cell(&beside[0], k),
            &cell(&beside[1], k),
            &cell(&beside[2], k),
            &cell(&beside[3], k),
            if set.co2_only { "CO2" } else { "CO2e" },
            &set.region,
            &set.publication,
            &set.version,
            &set.published,
            &set.valid_from.to_string(),
            &set.valid_to.to_string(),
            &set.gwp,
            words::status(set.status),
            &set.grade,
            &set.source,
        ]);
    }
}
