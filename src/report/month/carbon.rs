//! Scope 2 by location, with factor, source and version beside every figure.

use super::grid::{Cell, Grid, Table};
use crate::carbon::{Basis, Beside, FactorSet, Gas, SetLine};
use crate::report::lines::Ledger;
use crate::report::number::{Ids, fixed};
use crate::report::words;
use crate::time::Month;
use crate::units::{Decimal, Energy};
use serde::Serialize;

/// The section on carbon.
#[derive(Clone, Debug, Serialize)]
pub struct Carbon {
    /// One table for each factor set in use.
    pub sets: Vec<Set>,
    /// Energy without a factor, said; `None` where all has one.
    pub without: Option<String>,
}

/// What one factor set gives.
#[derive(Clone, Debug, Serialize)]
pub struct Set {
    /// Publication and version.
    pub name: String,
    /// Its particulars, as term and text.
    pub terms: Vec<(&'static str, String)>,
    /// Its figures.
    pub table: Table,
}

/// Lays out the footprint.
pub fn carbon(month: Month, ledger: &Ledger) -> Carbon {
    let without = ledger.footprint.without;
    Carbon {
        sets: ledger.footprint.sets.iter().map(|line| set(month, line)).collect(),
        without: (without != Energy::ZERO).then(|| {
            format!("{} kWh have no factor and are in no sum of carbon; see data quality.", fixed(without, 0))
        }),
    }
}

fn set(month: Month, line: &SetLine) -> Set {
    let (ids, set) = (Ids(month), &line.set);
    let unit = if set.co2_only { "kgCO2" } else { "kgCO2e" };
    let path = format!("{}-{}", set.region, set.valid_from.format("%Y"));
    let mut grid = Grid::new("Carbon of the electricity drawn")
        .words("")
        .numbers("Factor", &format!("{unit}/kWh"))
        .numbers("Energy", "kWh")
        .numbers("Carbon", unit);
    let energy = || Cell::of(line.energy, ids.of(&["energy", "factor", &path]));
    let mut row = |kind, name: &str, factor: String, energy, carbon, last: &str| {
        grid.row(kind, vec![name.into(), factor.into(), energy, Cell::of(carbon, ids.of(&["carbon", &path, last]))]);
    };
    let generation = shown(set.generation);
    row("group", "Scope 2, location-based", generation, energy(), line.co2e, "scope2");
    for (gas, carbon) in &line.gases {
        let factor = set.gases.iter().find(|(g, _)| g == gas).map(|(_, f)| shown(*f)).unwrap_or_default();
        row("part", &format!("of which {}", formula(*gas)), factor, "".into(), *carbon, gas.word());
    }
    for (what, carbon) in &line.beside {
        let factor = set.beside(*what).map(shown).unwrap_or_default();
        row("group", beside(*what), factor, energy(), *carbon, what.word());
    }
    Set { name: set.publication.clone(), terms: terms(set), table: grid.finish() }
}

/// A factor with at most eight decimals; `carbon.csv` has all of them.
pub(super) fn shown(factor: Decimal) -> String {
    let all = factor.to_string();
    let short = format!("{:.8}", factor.to_f64());
    if all.len() > short.len() { short } else { all }
}

/// What stands beside scope 2, as people say it.
const fn beside(what: Beside) -> &'static str {
    match what {
        Beside::Losses => "Grid losses, scope 3 category 3",
        Beside::Supply => "Supply of fuels, scope 3 category 3",
        Beside::SupplyOfLosses => "Supply of fuels for the losses, scope 3 category 3",
        Beside::Biogenic => "CO₂ of biomass, outside the scopes",
    }
}

/// The formula as people write it.
const fn formula(gas: Gas) -> &'static str {
    match gas {
        Gas::Co2 => "CO₂",
        Gas::Ch4 => "CH₄",
        Gas::N2o => "N₂O",
    }
}

fn terms(set: &FactorSet) -> Vec<(&'static str, String)> {
    let mut terms = vec![
        ("Region", set.region.clone()),
        ("Version", set.version.clone()),
        ("As printed", set.printed.clone()),
        ("Published", set.published.clone()),
        ("Holds for consumption", format!("{} to {}", set.valid_from, set.valid_to)),
        ("Status", words::status(set.status).to_owned()),
        ("Grade", grade(&set.grade)),
        ("Warming potentials", set.gwp.clone()),
        ("Source", set.source.clone()),
        ("Licence", set.licence.clone()),
    ];
    if set.co2_only {
        terms.insert(0, ("Gases", "CO2 alone; not to be compared with or subtracted from CO2e".to_owned()));
    }
    match (set.boundary, set.beside(Beside::Losses)) {
        (Basis::Delivered, _) => {
            terms.push(("Grid losses", "inside the factor, which is for electricity delivered".to_owned()));
        }
        (Basis::Generated, None) => {
            terms.push(("Grid losses", "not published in this set, so not counted".to_owned()));
        }
        _ => {}
    }
    if set.supply_inside {
        terms.push(("Supply of fuels", "inside the factor, although scope 2 leaves it out".to_owned()));
    }
    let more = [("Address", &set.url), ("SHA-256 of the file", &set.sha256), ("Note", &set.note)];
    terms.extend(more.into_iter().filter_map(|(term, text)| Some((term, text.clone()?))));
    terms
}

/// What a grade means.
fn grade(grade: &str) -> String {
    match grade {
        "A" => "A: read in the official publication".to_owned(),
        other => format!("{other}: check against the official publication before filing"),
    }
}
