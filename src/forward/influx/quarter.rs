//! A quarter hour of each meter and each station as it is forwarded: one record on a fixed grid, whose states are fields and not tags, so
//! that what becomes known later replaces it.

use super::line::{Field, Line};
use crate::attribute::{Amount, Claim, DayLedger, Owner, Placed, by_quarter};
use crate::names::{MeterId, StationId};
use crate::report::words;
use crate::time::{At, Period, QUARTER};
use crate::units::Energy;
use std::collections::BTreeMap;

/// Whose record it is.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Of {
    Meter(MeterId),
    Station(StationId),
}

/// What is known of a quarter hour.
#[derive(Clone, Debug, Default)]
struct Known {
    energy: Option<Energy>,
    shared: Energy,
    amount: Option<Amount>,
    placed: Option<Placed>,
    /// How long each owner held.
    owners: BTreeMap<Owner, i64>,
}

/// The records of a day for the quarter hours that are over at `until`, by meter or station and time. Energy is the part of it that is
/// known, and left out where none is.
pub fn quarter_lines(plant: &str, ledger: &DayLedger, until: At) -> Vec<String> {
    let mut all: BTreeMap<(Of, At), Known> = BTreeMap::new();
    for usage in &ledger.usage {
        for (start, energy) in quarters(usage.period, usage.energy) {
            let known = all.entry((Of::Meter(usage.meter.clone()), start)).or_default();
            known.energy = sum(known.energy, energy);
            known.worst(usage.amount, usage.placed);
        }
    }
    for slice in &ledger.slices {
        let (usage, owner) = (&slice.usage, &slice.owner);
        for (start, energy) in quarters(usage.period, usage.energy) {
            let held = Period::new(start, start + QUARTER).overlap(usage.period).map_or(0, Period::millis);
            if let Some(known) = all.get_mut(&(Of::Meter(usage.meter.clone()), start)) {
                known.hold(owner, held);
            }
            let Some(station) = &owner.station else { continue };
            let known = all.entry((Of::Station(station.clone()), start)).or_default();
            match owner.claim {
                Claim::Shared => known.shared += energy.unwrap_or_default(),
                _ => {
                    known.energy = sum(known.energy, energy);
                    known.worst(usage.amount, usage.placed);
                }
            }
            known.hold(owner, held);
        }
    }
    let over = all.into_iter().filter(|((_, start), _)| *start + QUARTER <= until);
    over.filter_map(|((of, start), known)| known.line(plant, &of, start)).collect()
}

/// The quarter hours of a period with their parts of its energy.
fn quarters(period: Period, energy: Option<Energy>) -> impl Iterator<Item = (At, Option<Energy>)> {
    by_quarter(period, energy.unwrap_or_default()).map(move |(start, part)| (start, energy.map(|_| part)))
}

fn sum(before: Option<Energy>, more: Option<Energy>) -> Option<Energy> {
    match (before, more) {
        (Some(before), Some(more)) => Some(before + more),
        (known, None) | (None, known) => known,
    }
}

impl Known {
    fn worst(&mut self, amount: Amount, placed: Placed) {
        self.amount = self.amount.max(Some(amount));
        self.placed = self.placed.max(Some(placed));
    }

    fn hold(&mut self, owner: &Owner, millis: i64) {
        if owner.claim != Claim::Shared && owner.claim != Claim::Unassigned {
            *self.owners.entry(owner.clone()).or_default() += millis;
        }
    }

    /// What held for longest of what is told of the owners; nothing where nobody knows.
    fn most<T: Ord>(&self, of: impl Fn(&Owner) -> Option<T>) -> Option<T> {
        let mut held: BTreeMap<Option<T>, i64> = BTreeMap::new();
        self.owners.iter().for_each(|(owner, millis)| *held.entry(of(owner)).or_default() += millis);
        held.into_iter().max_by_key(|(_, millis)| *millis).and_then(|(value, _)| value)
    }

    fn line(&self, plant: &str, of: &Of, start: At) -> Option<String> {
        let line = Line::of("quarter").tag("plant", plant);
        let line = match of {
            Of::Meter(meter) => line.tag("of", "meter").tag("meter", meter.as_str()),
            Of::Station(station) => {
                let press = station.as_str().split('/').next().unwrap_or_default();
                line.tag("of", "station").tag("press", press).tag("station", station.as_str())
            }
        };
        let energy = self.energy.map(|energy| Field::Whole(energy.mwh()));
        let run = self.most(|owner| owner.run.clone());
        let text = |word: Option<&'static str>| Field::Text(word.unwrap_or_default());
        let line = line
            .maybe("energy_mwh", energy)
            .field("known", text(self.amount.map(words::amount)))
            .field("placed", text(self.placed.map(words::placed)))
            .field("press_state", text(self.most(|owner| owner.press_state).map(words::press_state)))
            .field("lamp_state", text(self.most(|owner| owner.lamp_state).map(words::lamp_state)))
            .field("lamp_kind", text(self.most(|owner| owner.lamp).map(|kind| kind.word())))
            .field("run", Field::Text(run.as_ref().map_or("", |run| run.as_str())));
        let line = match of {
            Of::Meter(_) => line,
            Of::Station(_) => line.field("shared_mwh", Field::Whole(self.shared.mwh())),
        };
        line.at(start)
    }
}
