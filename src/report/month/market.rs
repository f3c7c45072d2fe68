//! Scope 2 by both methods, side by side.

use super::carbon::shown;
use super::grid::{Cell, Grid, Table};
use crate::carbon::{Footprint, Market};
use crate::report::lines::carbon_unit;
use crate::report::scope2::{Covered, by_location, by_market, open, remarks};
use crate::units::{Co2e, Energy};
use serde::Serialize;

/// The month by both methods.
#[derive(Clone, Debug, Serialize)]
pub struct Methods {
    /// What covers the energy under either method.
    pub table: Table,
    /// What must be said with it.
    pub remarks: Vec<String>,
    /// Criteria that nobody has answered, for instruments in use.
    pub open: Vec<String>,
    /// Said where instruments cover energy: they are settled by year.
    pub indication: Option<&'static str>,
}

/// Lays out both methods.
pub fn methods(id: &dyn Fn(&[&str]) -> String, footprint: &Footprint, market: &Market) -> Methods {
    let unit = carbon_unit("kg", market.co2_only() || footprint.co2_only());
    let factor = format!("{unit}/kWh");
    let mut grid = Grid::new("Scope 2 by both methods")
        .words("Method")
        .words("")
        .numbers("Factor", &factor)
        .numbers("Energy", "kWh")
        .numbers("Carbon", &unit);
    let mut group = |name: &str, word: &str, parts: &[Covered], co2e: Co2e| {
        let energy: Energy = parts.iter().map(|part| part.energy).sum();
        let id = |kind: &str| id(&["carbon", "scope2", word, kind]);
        let whole = [Cell::of(energy, id("energy")), Cell::of(co2e, id("carbon"))];
        let [energy, co2e] = whole;
        grid.row("group", vec![name.into(), "".into(), "".into(), energy, co2e]);
        for part in parts {
            let label = if part.co2_only { format!("{}, CO2 alone", part.by) } else { part.by.to_owned() };
            let cells = [Cell::of(part.energy, String::new()), Cell::of(part.co2e, String::new())];
            let [energy, co2e] = cells;
            let which = part.which.as_str().into();
            grid.row("part", vec![label.as_str().into(), which, shown(part.factor).as_str().into(), energy, co2e]);
        }
    };
    group("Location-based", "location", &by_location(footprint), footprint.co2e());
    group("Market-based", "market", &by_market(market), market.co2e());
    let asked = open(market)
        .into_iter()
        .map(|(criterion, question, of)| format!("Criterion {}, {}: {question}", criterion.number(), of.join(", ")));
    Methods {
        table: grid.finish(),
        remarks: remarks(market),
        open: asked.collect(),
        indication: (market.covered() != Energy::ZERO).then_some(
            "Certificates are applied by year; by month they are an indication, each day of their generation alike. The year is \
             settled by inkwatt filing.",
        ),
    }
}
