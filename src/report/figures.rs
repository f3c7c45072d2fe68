//! The figures of a month in exact numbers, by the ids under which the report shows them.

use super::input::Basis;
use super::lines::Ledger;
use super::month::presses::Part;
use super::sums::{Sums, by, total};
use crate::closing::{COST, Figures};
use crate::units::Energy;
use std::collections::BTreeMap;

/// Energy, cost and location-based carbon of the plant, its presses and stations and what is charged to none, and the
/// lines by band and factor set; `None` where no energy is known. By the market carbon is of a year and not among them.
pub fn figures(basis: &Basis) -> Option<Figures> {
    let ledger = Ledger::new(basis);
    ledger.days.first()?;
    let mut all = Figures::new();
    for (path, sums) in owners(basis, &ledger) {
        put(&mut all, &path, &sums);
    }
    for line in &ledger.bill.bands {
        let path = format!("band/{}/{}", line.tariff, line.band);
        all.insert(format!("energy/{path}"), line.energy.mwh());
        all.insert(format!("cost/{path}"), line.cost.micros());
    }
    for line in &ledger.bill.standing {
        all.insert(format!("cost/standing/{}", line.tariff), line.cost.micros());
    }
    if !ledger.bill.bands.is_empty() {
        all.insert(COST.into(), ledger.bill.total().micros());
    }
    Some(all)
}

/// What each owner's accounts add up to, by the path of its figures.
fn owners(basis: &Basis, ledger: &Ledger) -> BTreeMap<String, Sums> {
    let plant = basis.plant;
    let mut all: BTreeMap<String, Sums> =
        by(&ledger.accounts, |slice| Some(Part::of(plant, slice).path())).into_iter().collect();
    let presses = by(&ledger.accounts, |slice| Part::of(plant, slice).press().map(ToString::to_string));
    all.extend(presses);
    all.insert("plant".into(), total(&ledger.accounts));
    all
}

fn put(all: &mut Figures, path: &str, sums: &Sums) {
    all.insert(format!("energy/{path}"), sums.energy.mwh());
    let mut with = |what: &str, value: Option<i64>| value.map(|value| all.insert(format!("{what}/{path}"), value));
    with("cost", sums.cost().map(|cost| cost.micros()));
    with("carbon", sums.co2e().map(|co2e| co2e.mg()));
    let some = |energy: Energy| (energy != Energy::ZERO).then(|| energy.mwh());
    with("unpriced", some(sums.unpriced()));
    with("without-factor", some(sums.unfactored()));
    with("unknown-ms", (sums.unknown != 0).then_some(sums.unknown));
}
