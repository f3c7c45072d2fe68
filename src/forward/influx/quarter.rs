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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::attribute::{LampState, PressState, Slice, Usage};
    use crate::plant::LampKind;
    use crate::time::MINUTE;

    fn usage(from: i64, to: i64, energy: Option<i64>) -> Usage {
        let (amount, placed) = match energy {
            Some(_) => (Amount::Metered, Placed::Measured),
            None => (Amount::Missing, Placed::Estimated),
        };
        let period = Period::new(At(from * MINUTE), At(to * MINUTE));
        Usage { meter: "m1".into(), period, energy: energy.map(Energy::from_mwh), amount, placed }
    }

    fn slice(usage: Usage, lamp_state: LampState, claim: Claim) -> Slice {
        let owner = Owner {
            press: Some("p1".into()),
            station: Some("p1/s1".into()),
            lamp: Some(LampKind::Arc),
            press_state: Some(PressState::Running),
            lamp_state: Some(lamp_state),
            run: Some("job \"7\"".into()),
            claim,
        };
        Slice { usage, owner }
    }

    fn lines(usage: &[Usage], slices: &[Slice], until: i64) -> Vec<String> {
        let date = "1970-01-01".parse().expect("a date");
        quarter_lines("A", &DayLedger { date, usage: usage.to_vec(), slices: slices.to_vec() }, At(until * MINUTE))
    }

    #[test]
    fn a_station_has_the_states_that_held_for_longest_and_shared_loads_apart() {
        let slices = [
            slice(usage(0, 5, Some(7)), LampState::Standby, Claim::Own),
            slice(usage(5, 15, Some(20)), LampState::Curing, Claim::Own),
            slice(usage(0, 15, Some(3)), LampState::Off, Claim::Shared),
        ];
        assert_eq!(
            lines(&[usage(0, 15, Some(27))], &slices, 15),
            [
                "quarter,plant=A,of=meter,meter=m1 energy_mwh=27i,known=\"metered\",placed=\"measured\",press_state=\"running\",\
                 lamp_state=\"curing\",lamp_kind=\"arc\",run=\"job \\\"7\\\"\" 0",
                "quarter,plant=A,of=station,press=p1,station=p1/s1 energy_mwh=27i,known=\"metered\",placed=\"measured\",\
                 press_state=\"running\",lamp_state=\"curing\",lamp_kind=\"arc\",run=\"job \\\"7\\\"\",shared_mwh=3i 0",
            ]
        );
    }

    #[test]
    fn what_is_unknown_is_not_zero_and_what_is_not_over_is_not_told() {
        let told = lines(&[usage(0, 30, Some(9)), usage(30, 45, None), usage(45, 60, Some(1))], &[], 45);
        let energy: Vec<Option<&str>> =
            told.iter().map(|line| line.split("energy_mwh=").nth(1).and_then(|rest| rest.split(',').next())).collect();
        assert_eq!(energy, [Some("4i"), Some("5i"), None], "an interval of half an hour is two quarter hours");
        assert!(told[2].starts_with("quarter,plant=A,of=meter,meter=m1 known=\"missing\""), "{}", told[2]);
    }
}
