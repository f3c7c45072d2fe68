//! What the watch takes from a day: so little that it is kept beside the day, and years are watched in a moment.

use super::data::rule;
use super::draw::Fitted;
use super::hours::{Piece, pieces};
use super::left_on::is_left_on;
use super::lit::{Stand, stands};
use super::peak::{Peak, peaks};
use super::standby::stands_by;
use crate::attribute::{Amount, Claim, DayLedger, LampState, Slice};
use crate::cost::{Tariff, price};
use crate::found::{Found, Issue};
use crate::names::StationId;
use crate::plant::{Dated, Plant};
use crate::time::At;
use crate::units::{Energy, Money};
use crate::verify::Cured;
use chrono::NaiveDate;
use std::collections::BTreeMap;

/// Changes with every change of what a day is taken for.
pub const RULES: u32 = 2;

/// A day as the watch sees it.
#[derive(Clone, Debug, PartialEq)]
pub struct Day {
    /// The local day.
    pub date: NaiveDate,
    /// What each station did with each lamp that it had, by station and place of the lamp in its history.
    pub drew: BTreeMap<Fitted, Drew>,
    /// Its curing in pieces, those of a lamp in order of time.
    pub pieces: Vec<(Fitted, Piece)>,
    /// The times for which a lamp stayed energised while its press stood, those of a station in order of time.
    pub stands: Vec<(StationId, Stand)>,
    /// The times for which arc lamps stood by with a job on, likewise.
    pub waits: Vec<(StationId, Stand)>,
    /// The intervals in which more was drawn than is agreed.
    pub peaks: Vec<Peak>,
    /// The remarks that ask for somebody.
    pub troubles: Vec<Issue>,
    /// Until when any energy is known; `None` where none is.
    pub until: Option<At>,
}

/// Curing of a station.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Drew {
    /// Energy while it cured.
    pub energy: Energy,
    /// Its cost.
    pub cost: Money,
    /// For how long, and at what level.
    pub cured: Cured,
    /// Whether any of it is not measured.
    pub is_lost: bool,
}

impl Day {
    /// A day of which nothing is known.
    #[cfg(test)]
    pub fn nothing(date: NaiveDate) -> Self {
        Self {
            date,
            drew: BTreeMap::new(),
            pieces: Vec::new(),
            stands: Vec::new(),
            waits: Vec::new(),
            peaks: Vec::new(),
            troubles: Vec::new(),
            until: None,
        }
    }

    /// From the ledger of a day, with the levels of lamps in tenths of a per cent, each from its instant on.
    pub fn of(
        plant: &Plant,
        tariffs: &[Tariff],
        day: &Found<DayLedger>,
        levels: &BTreeMap<StationId, Dated<i64>>,
    ) -> Self {
        let slices = &day.value.slices;
        let costs = costs(plant, tariffs, day.value.date, slices);
        let mut drew: BTreeMap<Fitted, Drew> = BTreeMap::new();
        for (slice, cost) in slices.iter().zip(&costs) {
            let (period, owner) = (slice.usage.period, &slice.owner);
            let Some(station) = owner.station.as_ref().filter(|_| owner.claim == Claim::Own) else { continue };
            let Some((_, known)) = plant.station(station).filter(|_| owner.lamp_state == Some(LampState::Curing))
            else {
                continue;
            };
            let fitted = known.fitted.iter().filter(|(since, _)| *since <= period.start).count();
            let done = drew.entry((station.clone(), fitted)).or_default();
            done.energy += slice.usage.energy.unwrap_or(Energy::ZERO);
            done.cost += *cost;
            done.cured.take(period, levels.get(station));
            done.is_lost |= slice.usage.energy.is_none() || slice.usage.amount >= Amount::Estimated;
        }
        Self {
            date: day.value.date,
            drew,
            pieces: pieces(plant, slices.iter().zip(costs.iter().copied()), levels),
            stands: stands(slices.iter().zip(costs.iter().copied()), is_left_on),
            waits: stands(slices.iter().zip(costs), stands_by),
            peaks: peaks(plant, tariffs, &day.value),
            troubles: day.issues.iter().filter(|issue| rule(issue.remark).is_some()).cloned().collect(),
            until: slices.iter().filter(|s| s.usage.energy.is_some()).map(|s| s.usage.period.end).max(),
        }
    }
}

/// What each slice costs by the band of its time.
fn costs(plant: &Plant, tariffs: &[Tariff], date: NaiveDate, slices: &[Slice]) -> Vec<Money> {
    let used = slices.iter().map(|slice| (slice.usage.period, slice.usage.energy));
    let bill = price(plant, tariffs, &[date], used).value;
    let mut costs = vec![Money::ZERO; slices.len()];
    bill.bands.iter().flat_map(|band| &band.shares).for_each(|share| costs[share.place] += share.cost);
    costs
}
