//! What the electricity costs, band by band.

use super::grid::{Cell, Grid, Table};
use crate::plant::Plant;
use crate::report::lines::Ledger;
use crate::report::number::{Ids, fixed, percent};
use crate::time::Month;
use crate::units::Energy;
use serde::Serialize;

/// The section on cost.
#[derive(Clone, Debug, Serialize)]
pub struct Cost {
    /// By band and standing charge.
    pub bands: Table,
    /// Energy without a price, said; `None` where all has one.
    pub unpriced: Option<String>,
    /// The tariffs and where their prices come from.
    pub sources: Vec<String>,
}

/// Lays out the bill.
pub fn cost(plant: &Plant, month: Month, ledger: &Ledger, tariffs: &[crate::cost::Tariff]) -> Cost {
    let (ids, bill) = (Ids(month), &ledger.bill);
    let energy: Energy = bill.bands.iter().map(|line| line.energy).sum();
    let mut grid = Grid::new("Cost by tariff band")
        .words("Tariff")
        .words("Band")
        .numbers("Price", &format!("{}/kWh", plant.currency))
        .numbers("Energy", "kWh")
        .numbers("Share", "%")
        .decimals("Cost", &plant.currency, 2);
    for line in &bill.bands {
        let path = [line.tariff.as_str(), line.band.as_str()];
        grid.row(
            "plain",
            vec![
                line.tariff.clone().into(),
                line.band.clone().into(),
                line.price.to_string().into(),
                Cell::of(line.energy, ids.of(&["energy", "band", path[0], path[1]])),
                percent(line.energy.mwh(), energy.mwh()).unwrap_or_default().into(),
                Cell::of(line.cost, ids.of(&["cost", "band", path[0], path[1]])),
            ],
        );
    }
    for line in &bill.standing {
        let label = format!("standing charge, {} days at {}", line.days, line.per_day);
        let cost = Cell::of(line.cost, ids.of(&["cost", "standing", &line.tariff]));
        grid.row("plain", vec![line.tariff.clone().into(), label.into(), "".into(), "".into(), "".into(), cost]);
    }
    grid.row(
        "sum",
        vec![
            "Plant".into(),
            "".into(),
            "".into(),
            Cell::of(energy, ids.of(&["energy", "priced"])),
            "".into(),
            Cell::maybe((energy != Energy::ZERO).then(|| bill.total()), ids.of(&["cost", "plant", "total"])),
        ],
    );
    let used = |t: &&crate::cost::Tariff| bill.bands.iter().any(|line| line.tariff == t.name);
    Cost {
        bands: grid.finish(),
        unpriced: (bill.unpriced != Energy::ZERO).then(|| {
            format!("{} kWh have no price and are in no sum of money; see data quality.", fixed(bill.unpriced, 0))
        }),
        sources: tariffs.iter().filter(used).map(|t| format!("{}: {}", t.name, t.source)).collect(),
    }
}
