//! Scope 2, location-based: energy x the factor of the day of consumption.

use super::{Beside, FactorSet, Gas, Method, Status};
use crate::found::{Found, Issue, Remark};
use crate::plant::Plant;
use crate::time::{Period, QUARTER};
use crate::units::{Co2e, Decimal, Energy, charge};
use chrono::NaiveDate;
use std::collections::{BTreeMap, HashMap};

/// The carbon of energy. The shares of a line add up to it exactly, whichever way they are grouped.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Footprint {
    /// One line for each factor set in use, in their order.
    pub sets: Vec<SetLine>,
    /// Energy for which no factor is known.
    pub without: Energy,
}

/// The energy under one factor set and its carbon.
#[derive(Clone, Debug, PartialEq)]
pub struct SetLine {
    /// The set.
    pub set: FactorSet,
    /// Its energy.
    pub energy: Energy,
    /// Generation: scope 2, location-based. CO2 alone where the set is CO2 only.
    pub co2e: Co2e,
    /// Each published gas of it, in CO2 equivalent.
    pub gases: Vec<(Gas, Co2e)>,
    /// What stands beside it and in no scope 2, where published.
    pub beside: Vec<(Beside, Co2e)>,
    /// What part of `co2e` each period has.
    pub shares: Vec<Share>,
}

/// The part of a line that belongs to one period.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Share {
    /// Its place in what was given.
    pub place: usize,
    /// Its energy.
    pub energy: Energy,
    /// Its carbon.
    pub co2e: Co2e,
}

impl Footprint {
    /// Scope 2 by location.
    pub fn co2e(&self) -> Co2e {
        self.sets.iter().map(|line| line.co2e).sum()
    }

    /// What stands beside scope 2; `None` where a set in use does not publish it.
    pub fn beside(&self, what: Beside) -> Option<Co2e> {
        let of = |line: &SetLine| line.beside.iter().find(|(other, _)| *other == what).map(|(_, co2e)| *co2e);
        self.sets.iter().map(of).sum()
    }

    /// Whether any of it is CO2 alone; such a figure is labelled, and compared with no CO2e.
    pub fn co2_only(&self) -> bool {
        self.sets.iter().any(|line| line.set.co2_only)
    }

    /// Final only where every set in use is.
    pub fn status(&self) -> Status {
        match self.sets.iter().any(|line| line.set.status == Status::Provisional) {
            true => Status::Provisional,
            false => Status::Final,
        }
    }
}

impl FactorSet {
    /// The set of a method, region and day of consumption: of those valid, the one valid from the latest day; of equals
    /// the last in the list.
    pub fn on(sets: &[Self], method: Method, region: &str, day: NaiveDate) -> Option<usize> {
        let valid = |s: &Self| s.method == method && s.region == region && s.valid_from <= day && day <= s.valid_to;
        (0..sets.len()).filter(|&k| valid(&sets[k])).max_by_key(|&k| sets[k].valid_from)
    }
}

/// The carbon of energy used in periods, each within a local day, under the sets of the plant's grid. Energy of days
/// without a set is counted apart and said, never taken as clean.
pub fn of(
    plant: &Plant,
    sets: &[FactorSet],
    used: impl IntoIterator<Item = (Period, Option<Energy>)>,
) -> Found<Footprint> {
    let mut days = HashMap::new();
    let mut by_set: BTreeMap<usize, Vec<(usize, Energy)>> = BTreeMap::new();
    let mut without: Option<(Energy, Period)> = None;
    for (place, (period, energy)) in used.into_iter().enumerate() {
        let Some(energy) = energy else { continue };
        let set = *days
            .entry(period.start.floor(QUARTER))
            .or_insert_with(|| FactorSet::on(sets, Method::Location, &plant.grid, plant.zone.date(period.start)));
        match set {
            Some(set) => by_set.entry(set).or_default().push((place, energy)),
            None => {
                let (sum, all) = without.get_or_insert((Energy::ZERO, period));
                *sum += energy;
                *all = Period::new(all.start.min(period.start), all.end.max(period.end));
            }
        }
    }
    let issues = without.map(|(energy, period)| issue(plant, sets, energy, period)).into_iter().collect();
    let sets = by_set.into_iter().filter_map(|(k, parts)| line(&sets[k], &parts)).collect();
    Found { value: Footprint { sets, without: without.map_or(Energy::ZERO, |(energy, _)| energy) }, issues }
}

/// A milliwatt-hour under kg for a kWh gives that number of milligrams: the two scales cancel.
fn line(set: &FactorSet, parts: &[(usize, Energy)]) -> Option<SetLine> {
    let energies: Vec<Energy> = parts.iter().map(|(_, energy)| *energy).collect();
    let energy: Energy = energies.iter().sum();
    let (co2e, shares) = charge(set.generation, &energies)?;
    let under = |factor: Decimal| factor.scale(energy.mwh(), 1, 1).map(Co2e::from_mg);
    let share = |(&(place, energy), mg)| Share { place, energy, co2e: Co2e::from_mg(mg) };
    Some(SetLine {
        set: set.clone(),
        energy,
        co2e: Co2e::from_mg(co2e),
        gases: set.gases.iter().filter_map(|(gas, factor)| Some((*gas, under(*factor)?))).collect(),
        beside: set.beside.iter().filter_map(|(what, factor)| Some((*what, under(*factor)?))).collect(),
        shares: parts.iter().zip(shares).map(share).collect(),
    })
}

fn issue(plant: &Plant, sets: &[FactorSet], energy: Energy, period: Period) -> Issue {
    let (first, last) = (plant.zone.date(period.start), plant.zone.date(period.end - 1));
    let newest =
        sets.iter().filter(|s| s.region == plant.grid && s.method == Method::Location).map(|s| s.valid_to).max();
    let why = match newest {
        None => format!("no factor set of grid \"{}\" is known", plant.grid),
        Some(end) if end < first => {
            format!("the newest factor set of grid \"{}\" ends {end}, before {first}", plant.grid)
        }
        Some(_) => format!("no factor set of grid \"{}\" holds on days between {first} and {last}", plant.grid),
    };
    Issue {
        remark: Remark::Basis,
        about: "carbon".into(),
        period,
        text: format!("{why}; {} kWh have no carbon figure; see config/factors/", energy.rounded()),
    }
}
