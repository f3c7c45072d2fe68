//! Scope 2 by both methods, row by row: what page, tables and filing print.

use crate::carbon::{Answer, Check, Criterion, Footprint, Market, MarketLine, Supplied};
use crate::readings::{Instrument, InstrumentKind};
use crate::units::{Co2e, Decimal, Energy};

/// Part of the energy under one factor.
#[derive(Clone, Debug)]
pub struct Covered {
    /// What its factor is of, such as `certificate` or `residual mix`.
    pub by: &'static str,
    /// Which one.
    pub which: String,
    /// kg for a kWh.
    pub factor: Decimal,
    /// The energy.
    pub energy: Energy,
    /// Its carbon.
    pub co2e: Co2e,
    /// Whether that is CO2 alone.
    pub co2_only: bool,
}

/// The parts by location.
pub fn by_location(footprint: &Footprint) -> Vec<Covered> {
    let part = |line: &crate::carbon::SetLine| Covered {
        by: "grid average",
        which: line.set.publication.clone(),
        factor: line.set.generation,
        energy: line.energy,
        co2e: line.co2e,
        co2_only: line.set.co2_only,
    };
    footprint.sets.iter().map(part).collect()
}

/// The parts by the market, best rank first, and own generation whose certificates were sold.
pub fn by_market(market: &Market) -> Vec<Covered> {
    let drawn = market.lines.iter().map(part);
    let sold = market.sold.iter().map(|line| Covered { by: "own generation, certificates sold", ..part(line) });
    drawn.chain(sold).collect()
}

fn part(line: &MarketLine) -> Covered {
    let (by, which, factor) = match &line.by {
        Supplied::Instrument(one) => (one.kind.word(), told(one), one.factor),
        Supplied::Supplier(set) => ("rate of the supplier", set.publication.clone(), set.generation),
        Supplied::Residual(set) => ("residual mix", set.publication.clone(), set.generation),
        Supplied::Grid(set) => ("grid average", set.publication.clone(), set.generation),
    };
    Covered { by, which, factor, energy: line.energy, co2e: line.co2e, co2_only: line.co2_only }
}

/// An instrument in a few words.
fn told(one: &Instrument) -> String {
    let bundled = match one.bundled {
        Some(true) => ", with the electricity",
        Some(false) => ", apart from the electricity",
        None => "",
    };
    format!("{}, {} of {}, {} to {}{bundled}", one.id, one.source, one.market, one.from, one.to)
}

/// What must be said with the total by the market.
pub fn remarks(market: &Market) -> Vec<String> {
    let mut said = Vec::new();
    if market.lacks_residual() {
        said.push(
            "No residual mix is known for this grid, so what nothing covers is under the grid average, which may count green \
             energy twice."
                .to_owned(),
        );
    }
    // One of another time is no news in this one.
    let of_this_time = |(_, checks): &&(Instrument, Vec<Check>)| {
        !checks.iter().any(|c| c.criterion == Criterion::Vintage && matches!(c.answer, Answer::Failed(_)))
    };
    for (one, checks) in market.refused.iter().filter(of_this_time) {
        let failed = checks.iter().filter_map(|check| match &check.answer {
            Answer::Failed(why) => Some(format!("{why} (criterion {})", check.criterion.number())),
            _ => None,
        });
        let kind = if one.kind == InstrumentKind::Contract { "Contract" } else { "Certificate" };
        said.push(format!("{kind} {} covers nothing here: {}.", one.id, failed.collect::<Vec<_>>().join("; ")));
    }
    let left = market.left.iter().map(|(id, energy)| {
        format!("{} kWh of {id} are left over: all the energy is covered.", super::number::fixed(*energy, 0))
    });
    said.extend(left);
    said
}

/// What nobody has said of instruments in use: criterion, question, and of which.
pub fn open(market: &Market) -> Vec<(Criterion, String, Vec<String>)> {
    let mut open: Vec<(Criterion, String, Vec<String>)> = Vec::new();
    for (id, check) in market.checks.iter().flat_map(|(id, checks)| checks.iter().map(move |check| (id, check))) {
        let Answer::Asked(question) = &check.answer else { continue };
        match open
            .iter_mut()
            .find(|(criterion, text, _)| (*criterion, text.as_str()) == (check.criterion, question.as_str()))
        {
            Some((.., ids)) => ids.push(id.clone()),
            None => open.push((check.criterion, question.clone(), vec![id.clone()])),
        }
    }
    if market.lines.iter().any(|line| matches!(line.by, Supplied::Supplier(_))) {
        let question = "does the supplier's rate cover what was delivered, certificates sold or kept allowed for?";
        open.push((Criterion::SupplierRate, question.into(), vec!["the rate of the supplier".into()]));
    }
    open.sort_by_key(|(criterion, ..)| *criterion);
    open
}
