//! `cost.csv`: what the energy costs, by band and owner.

use super::table::{CsvTable, Kind, Writer, column, measured};
use crate::attribute::Slice;
use crate::report::accounts::group;
use crate::report::input::MonthInput;
use crate::report::lines::Ledger;
use crate::report::number::Ids;
use crate::units::{Energy, Money};
use std::collections::BTreeMap;

/// One row for each band, press and station, then the standing charges; the rows add up to the cost of the plant.
pub fn table(input: &MonthInput, ledger: &Ledger) -> CsvTable {
    let currency = &input.plant.currency;
    let money = currency.to_lowercase();
    let mut table = Writer::new(
        "cost",
        "Cost of the month by tariff band and owner; the rows add up to the plant",
        vec![
            column("id", Kind::Words, "Id of the figure"),
            column("tariff", Kind::Words, "Tariff in force"),
            column("band", Kind::Words, "Band of the tariff, or standing charge"),
            column("press", Kind::Words, "Press; empty where no press is charged"),
            column("station", Kind::Words, "Station of the press; empty where it is not of one station"),
            measured("energy_kwh", Kind::Number, "kWh", "Energy in this band"),
            measured(
                &format!("price_{money}_per_kwh"),
                Kind::Number,
                &format!("{currency}/kWh"),
                "Price of the band; a band's cost is price x energy, rounded once and then split",
            ),
            measured("days", Kind::Number, "d", "Days of a standing charge"),
            measured(&format!("cost_{money}"), Kind::Number, currency, "Cost"),
        ],
    );
    let ids = Ids(input.month);
    let dash = |text: &str| if text.is_empty() { "-".to_owned() } else { text.to_owned() };
    let owners = group(&ledger.accounts, |Slice { owner, .. }| {
        Some((owner.press.as_ref().map_or("", |p| p.as_str()), owner.station.as_ref().map_or("", |s| s.short())))
    });
    for band in &ledger.bill.bands {
        let mut sums: BTreeMap<usize, (Energy, Money)> = BTreeMap::new();
        for share in &band.shares {
            if let Some(owner) = owners.of[ledger.lines[share.place].account] {
                let sums = sums.entry(owner).or_default();
                *sums = (sums.0 + share.energy, sums.1 + share.cost);
            }
        }
        for (owner, (energy, cost)) in sums {
            let (press, station) = owners.keys[owner];
            table.row([
                ids.of(&["cost", "band", &band.tariff, &band.band, &dash(press), &dash(station)]).as_str(),
                &band.tariff,
                &band.band,
                press,
                station,
                &energy.to_string(),
                &band.price.to_string(),
                "",
                &cost.to_string(),
            ]);
        }
    }
    for line in &ledger.bill.standing {
        let id = ids.of(&["cost", "standing", &line.tariff]);
        let (days, cost) = (line.days.to_string(), line.cost.to_string());
        table.row([id.as_str(), &line.tariff, "standing charge", "", "", "", "", &days, &cost]);
    }
    table.finish()
}
