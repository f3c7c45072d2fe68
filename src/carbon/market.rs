//! Scope 2, market-based: what instruments claim of the energy, and what the rest is under the supplier's rate, the residual
//! mix or, for want of both, the average of the grid.
//!
//! GHG Protocol Scope 2 Guidance (2015), table 6.3 (ranks) and chapter 7. Instruments are applied to a time as a whole: what
//! they cover is taken from all of its energy alike.

use super::quality::{Answer, Check, checks};
use super::{FactorSet, Method};
use crate::plant::Plant;
use crate::readings::{Fate, Instrument};
use crate::time::Period;
use crate::units::{Co2e, Energy};
use chrono::NaiveDate;
use std::collections::BTreeMap;

/// Energy of a time by the market-based method. The energies of the lines and what is without add up to what was drawn.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Market {
    /// What covers the energy, best rank first.
    pub lines: Vec<MarketLine>,
    /// Energy for which no factor is known.
    pub without: Energy,
    /// Energy generated on the site whose certificates were sold: it counts as if drawn from the market, beside what was drawn.
    pub sold: Vec<MarketLine>,
    /// Instruments that cannot be used for this time, with the criteria that say why.
    pub refused: Vec<(Instrument, Vec<Check>)>,
    /// What is left of usable instruments when all the energy is covered.
    pub left: Vec<(String, Energy)>,
    /// The criteria of the instruments in use.
    pub checks: Vec<(String, Vec<Check>)>,
}

/// Part of the energy and its carbon.
#[derive(Clone, Debug, PartialEq)]
pub struct MarketLine {
    /// What covers it.
    pub by: Supplied,
    /// The energy.
    pub energy: Energy,
    /// Its carbon.
    pub co2e: Co2e,
    /// Whether its factor is of CO2 alone.
    pub co2_only: bool,
}

/// What covers part of the energy.
#[derive(Clone, Debug, PartialEq)]
pub enum Supplied {
    /// A certificate or contract.
    Instrument(Box<Instrument>),
    /// The rate of the supplier.
    Supplier(Box<FactorSet>),
    /// The residual mix.
    Residual(Box<FactorSet>),
    /// The average of the grid, because no residual mix is known; that must be disclosed.
    Grid(Box<FactorSet>),
}

impl Supplied {
    /// Rank in the hierarchy of table 6.3: certificates, contracts, supplier's rate, residual mix, grid average.
    pub fn rank(&self) -> usize {
        match self {
            Self::Instrument(one) => one.kind as usize,
            Self::Supplier(_) => 2,
            Self::Residual(_) => 3,
            Self::Grid(_) => 4,
        }
    }
}

impl Market {
    /// The total: what was drawn, and own generation whose claim was sold.
    pub fn co2e(&self) -> Co2e {
        self.lines.iter().chain(&self.sold).map(|line| line.co2e).sum()
    }

    /// Energy that instruments cover.
    pub fn covered(&self) -> Energy {
        let by_instrument = |line: &&MarketLine| matches!(line.by, Supplied::Instrument(_));
        self.lines.iter().filter(by_instrument).map(|line| line.energy).sum()
    }

    /// Whether any of it is under a factor of CO2 alone; such a total is labelled.
    pub fn co2_only(&self) -> bool {
        self.lines.iter().chain(&self.sold).any(|line| line.co2_only)
    }

    /// Whether a grid average stands in for a residual mix that is not known.
    pub fn lacks_residual(&self) -> bool {
        self.lines.iter().chain(&self.sold).any(|line| matches!(line.by, Supplied::Grid(_)))
    }
}

/// The market-based carbon of energy drawn on the days from `first` to `last`. An instrument whose vintage reaches beyond
/// these days counts with the part that falls on them, so that none is used twice.
pub fn market(
    plant: &Plant,
    sets: &[FactorSet],
    instruments: &[Instrument],
    (first, last): (NaiveDate, NaiveDate),
    used: impl IntoIterator<Item = (Period, Option<Energy>)>,
) -> Market {
    let mut by_day: BTreeMap<NaiveDate, Energy> = BTreeMap::new();
    for (period, energy) in used {
        *by_day.entry(plant.zone.date(period.start)).or_default() += energy.unwrap_or_default();
    }
    let mut found = Market::default();
    let mut open: Energy = by_day.values().copied().sum();
    let mut sorted: Vec<&Instrument> = instruments.iter().collect();
    sorted.sort_by_key(|one| (one.kind, one.from, &one.id));
    for one in sorted {
        if one.own_site && one.fate == Fate::Sold {
            found.sold.extend(as_if_drawn(plant, sets, one, (first, last)));
            continue;
        }
        let checks = checks(one, &plant.markets, (first, last));
        if checks.iter().any(|check| matches!(check.answer, Answer::Failed(_))) {
            found.refused.push((one.clone(), checks));
            continue;
        }
        let usable = within(one, (first, last));
        let taken = usable.min(open.max(Energy::ZERO));
        open = open - taken;
        if taken < usable {
            found.left.push((one.id.clone(), usable - taken));
        }
        found.checks.push((one.id.clone(), checks));
        if let Some(co2e) = carbon(one.factor, taken).filter(|_| taken != Energy::ZERO) {
            let by = Supplied::Instrument(Box::new(one.clone()));
            found.lines.push(MarketLine { by, energy: taken, co2e, co2_only: false });
        }
    }
    let (rest, without) = rest(plant, sets, &by_day, open);
    found.lines.extend(rest);
    found.without = without;
    found
}

/// The part of an instrument whose generation falls on days, each day of its vintage alike.
fn within(one: &Instrument, (first, last): (NaiveDate, NaiveDate)) -> Energy {
    let days = |from: NaiveDate, to: NaiveDate| (to - from).num_days() + 1;
    let all = days(one.from, one.to);
    let before = days(one.from, first.pred_opt().unwrap_or(first)).clamp(0, all);
    let until = days(one.from, last).clamp(0, all);
    // As a difference of what was used up to either day, so that parts of a year add up to it.
    let up_to = |days: i64| (i128::from(one.energy.mwh()) * i128::from(days) / i128::from(all)) as i64;
    Energy::from_mwh(up_to(until) - up_to(before))
}

/// What no instrument covers, set by set; `open` of all the energy, taken from each day alike.
fn rest(
    plant: &Plant,
    sets: &[FactorSet],
    by_day: &BTreeMap<NaiveDate, Energy>,
    open: Energy,
) -> (Vec<MarketLine>, Energy) {
    let mut by_set: BTreeMap<Option<(Method, usize)>, Energy> = BTreeMap::new();
    for (day, energy) in by_day {
        *by_set.entry(fallback(plant, sets, *day)).or_default() += *energy;
    }
    let weights: Vec<i128> = by_set.values().map(|energy| i128::from(energy.mwh().max(0))).collect();
    let parts = open.split(&weights).unwrap_or_else(|| by_set.values().copied().collect());
    let mut lines = Vec::new();
    let mut without = Energy::ZERO;
    for (set, energy) in by_set.into_keys().zip(parts) {
        match set.and_then(|(method, k)| line(method, &sets[k], energy)) {
            Some(line) if energy != Energy::ZERO => lines.push(line),
            Some(_) => {}
            None => without += energy,
        }
    }
    lines.sort_by_key(|line| line.by.rank());
    (lines, without)
}

/// The best factor of a day that is no instrument: the supplier's, the residual mix, the average of the grid.
fn fallback(plant: &Plant, sets: &[FactorSet], day: NaiveDate) -> Option<(Method, usize)> {
    let ranked = [Method::Supplier, Method::Residual, Method::Location];
    ranked.into_iter().find_map(|method| Some((method, FactorSet::on(sets, method, &plant.grid, day)?)))
}

fn line(method: Method, set: &FactorSet, energy: Energy) -> Option<MarketLine> {
    let boxed = Box::new(set.clone());
    let by = match method {
        Method::Supplier => Supplied::Supplier(boxed),
        Method::Residual => Supplied::Residual(boxed),
        Method::Location => Supplied::Grid(boxed),
    };
    Some(MarketLine { by, energy, co2e: carbon(set.generation, energy)?, co2_only: set.co2_only })
}

/// Own generation whose claim was sold, under what the rest of the market has.
fn as_if_drawn(
    plant: &Plant,
    sets: &[FactorSet],
    one: &Instrument,
    days: (NaiveDate, NaiveDate),
) -> Option<MarketLine> {
    let energy = within(one, days);
    let ranked = [Method::Residual, Method::Location];
    let day = one.from.max(days.0);
    let (method, k) =
        ranked.into_iter().find_map(|method| Some((method, FactorSet::on(sets, method, &plant.grid, day)?)))?;
    line(method, &sets[k], energy).filter(|_| energy != Energy::ZERO)
}

/// A milliwatt-hour under kg for a kWh gives that number of milligrams.
fn carbon(factor: crate::units::Decimal, energy: Energy) -> Option<Co2e> {
    factor.scale(energy.mwh(), 1, 1).map(Co2e::from_mg)
}
