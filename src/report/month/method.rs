//! Method: how the figures came about, that they agree by every route, and what computed them.

use super::grid::{Grid, Table};
use crate::attribute::Usage;
use crate::closing::sha256;
use crate::names::MeterId;
use crate::plant::{Flow, Meter, Plant};
use crate::report::input::{Facts, MonthInput};
use crate::report::lines::Ledger;
use crate::report::number::fixed;
use crate::report::sums::total;
use crate::units::Energy;
use serde::Serialize;
use std::collections::BTreeSet;

/// The section on method.
#[derive(Clone, Debug, Serialize)]
pub struct Method {
    /// The month's energy by every route.
    pub routes: Table,
    /// Whether all of them agree to the milliwatt-hour.
    pub agree: bool,
    /// Shared loads and the rule by which each is charged.
    pub shared: Vec<String>,
    /// What computed the report, as term and text.
    pub versions: Vec<(&'static str, String)>,
    /// Every configuration text with its SHA-256.
    pub texts: Vec<(String, String)>,
}

/// States the method.
pub fn method(input: &MonthInput, ledger: &Ledger) -> Method {
    let (routes, agree) = routes(input, ledger);
    let shared = |load: &crate::plant::SharedLoad| {
        let serves = load.serves.iter().map(|p| p.as_str()).collect::<Vec<_>>().join(", ");
        let only = load.only.map_or(String::new(), |kind| format!(", {} lamps only", crate::report::words::lamp(kind)));
        format!(
            "{} serves {serves}; charged by {}{only}, for each quarter hour or longer interval of its meter",
            load.name,
            load.rule.word()
        )
    };
    Method {
        routes,
        agree,
        shared: input.plant.loads.iter().map(shared).collect(),
        versions: vec![
            ("Program", format!("inkwatt {}", input.versions.program)),
            ("Rules of attribution", input.versions.rules.to_string()),
            ("Time zones", format!("{}, database {}", input.plant.zone.0.name(), input.versions.zones)),
        ],
        texts: input.texts.iter().map(|text| (text.path.clone(), sha256(text.text.as_bytes()))).collect(),
    }
}

/// The month's energy, added up in different ways.
fn routes(input: &MonthInput, ledger: &Ledger) -> (Table, bool) {
    let slices = total(&ledger.accounts).energy;
    let bands: Energy = ledger.bill.bands.iter().map(|line| line.energy).sum();
    let sets: Energy = ledger.footprint.sets.iter().map(|line| line.energy).sum();
    let routes = [
        ("Intervals of the meters at the top", top(input.plant, &input.facts, ledger)),
        ("Slices: presses, stations, jobs, shared loads and rest", slices),
        ("Tariff bands and energy without a price", bands + ledger.bill.unpriced),
        ("Factor sets and energy without a factor", sets + ledger.footprint.without),
    ];
    let mut grid = Grid::new("The month's energy by every route").words("Added up from").numbers("Energy", "kWh");
    for (name, energy) in routes {
        grid.row("plain", vec![name.into(), fixed(energy, 6).into()]);
    }
    (grid.finish(), routes.iter().all(|(_, energy)| *energy == slices))
}

/// What the meters that stand below no other show: taken and generated, less given back.
fn top(plant: &Plant, facts: &Facts, ledger: &Ledger) -> Energy {
    let days: BTreeSet<_> = ledger.days.iter().collect();
    let sign = |id: &MeterId| match plant.meter(id) {
        Some(Meter { below: None, flow: Flow::Export, .. }) => -1,
        Some(Meter { below: None, .. }) => 1,
        _ => 0,
    };
    let usage = facts.days.iter().filter(|day| days.contains(&day.value.date)).flat_map(|day| &day.value.usage);
    usage.map(|u: &Usage| Energy::from_mwh(sign(&u.meter) * u.energy.unwrap_or_default().mwh())).sum()
}
