//! In-shift rule: a lamp that stays energised while its press stands.

use super::{Above, Finding, Rule, Terms};
use crate::attribute::{Claim, LampState, PressState, Slice};
use crate::names::StationId;
use crate::plant::{LampKind, Plant};
use crate::time::{At, HOUR, Period};
use crate::units::{Energy, Money, counted};
use std::collections::BTreeMap;

/// A lamp energised while its press stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stand {
    /// For how long.
    pub period: Period,
    /// Which kind of lamp.
    pub lamp: Option<LampKind>,
    /// What it drew in that time.
    pub energy: Energy,
    /// What that cost.
    pub cost: Money,
}

impl Stand {
    /// One with what follows on it, where that follows at once.
    fn with(self, next: Self) -> Option<Self> {
        (self.period.end == next.period.start).then(|| Self {
            period: Period::new(self.period.start, next.period.end),
            energy: self.energy + next.energy,
            cost: self.cost + next.cost,
            ..self
        })
    }
}

/// Takes a further one of a station: it goes on from the last, or stands for itself.
fn add(all: &mut Vec<Stand>, next: Stand) {
    match all.last().and_then(|last| last.with(next)) {
        Some(longer) => {
            all.pop();
            all.push(longer);
        }
        None => all.push(next),
    }
}

/// The times for which lamps stayed energised, from slices with their cost; those of a station come in order of time. A state that
/// is not known is none: what nobody saw is not held against anybody.
pub(super) fn stands<'a>(slices: impl Iterator<Item = (&'a Slice, Money)>) -> Vec<(StationId, Stand)> {
    let mut all: BTreeMap<&StationId, Vec<Stand>> = BTreeMap::new();
    for (slice, cost) in slices {
        let (period, owner) = (slice.usage.period, &slice.owner);
        let Some(station) = owner.station.as_ref().filter(|_| owner.claim == Claim::Own) else { continue };
        let is_lit = owner.lamp_state.is_some_and(|state| state != LampState::Off);
        if is_lit && owner.press_state == Some(PressState::Idle) {
            let energy = slice.usage.energy.unwrap_or(Energy::ZERO);
            add(all.entry(station).or_default(), Stand { period, lamp: owner.lamp, energy, cost });
        }
    }
    all.into_iter().flat_map(|(station, all)| all.into_iter().map(|stand| (station.clone(), stand))).collect()
}

/// Every time that a lamp stayed energised, station by station.
#[derive(Clone, Debug, Default)]
pub struct LeftOn(BTreeMap<StationId, Vec<Stand>>);

impl LeftOn {
    /// Takes those of a day that follows the days before.
    pub fn take(&mut self, stands: &[(StationId, Stand)]) {
        for (station, stand) in stands {
            add(self.0.entry(station.clone()).or_default(), *stand);
        }
    }

    /// Those that lasted longer than the plant wants.
    pub fn findings(self, plant: &Plant, terms: &Terms, until: At) -> Vec<Finding> {
        let all =
            self.0.into_iter().flat_map(|(station, all)| all.into_iter().map(move |stand| (station.clone(), stand)));
        let long = all.filter(|(_, stand)| stand.period.millis() > terms.left_on);
        long.map(|(station, stand)| finding(plant, terms, station, stand, until)).collect()
    }
}

fn finding(plant: &Plant, terms: &Terms, station: StationId, stand: Stand, until: At) -> Finding {
    let Period { start, end } = stand.period;
    let name = plant
        .station(&station)
        .map_or_else(|| station.to_string(), |(press, station)| format!("{} of {}", station.name, press.name));
    let minutes = stand.period.millis() / 60_000;
    let lasted = match minutes / 60 {
        0 => counted(minutes, "minute"),
        hours => format!("{} {} min", counted(hours, "hour"), minutes % 60),
    };
    let lamp = match stand.lamp {
        Some(LampKind::Arc) => "The arc lamp",
        Some(LampKind::Led) => "The LED array",
        None => "The lamp",
    };
    Finding {
        rule: Rule::LeftOn,
        about: station.to_string(),
        station: Some(station),
        since: start,
        is_about: false,
        raised: start + terms.left_on,
        until: (end < until).then_some(end),
        above: Some(Above {
            watts: stand.energy.mean_watts(stand.period.millis()).unwrap_or(0.0),
            watts_half: None,
            energy: stand.energy,
            energy_half: None,
            cost: stand.cost,
            ahead: None,
        }),
        evidence: vec![format!(
            "{lamp} ({name}) stayed energised for {lasted} while the press stood without a job; told after {:.1} h.",
            terms.left_on as f64 / HOUR as f64
        )],
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::attribute::{Amount, Owner, Placed, Usage};
    use crate::plant::example;
    use crate::time::{MINUTE, Zone};

    fn slice(quarter: i64, state: PressState, lamp: Option<LampState>) -> Slice {
        let start = At(1_767_225_600_000) + quarter * 15 * MINUTE;
        Slice {
            usage: Usage {
                meter: "m".into(),
                period: Period::new(start, start + 15 * MINUTE),
                energy: Some(Energy::from_wh(500)),
                amount: Amount::Metered,
                placed: Placed::Measured,
            },
            owner: Owner {
                press: Some("p1".into()),
                station: Some("p1/s1".into()),
                lamp: Some(LampKind::Arc),
                press_state: Some(state),
                lamp_state: lamp,
                run: None,
                claim: Claim::Own,
            },
        }
    }

    /// Quarter hours: `s` standing and lit, `d` standing and dark, `r` running, `u` standing with the lamp not known.
    fn found(quarters: &str) -> Vec<(i64, Option<i64>, i64)> {
        let mut left_on = LeftOn::default();
        let mut slices = Vec::new();
        for (k, quarter) in (0..).zip(quarters.chars()) {
            let (state, lamp) = match quarter {
                's' => (PressState::Idle, Some(LampState::Standby)),
                'd' => (PressState::Idle, Some(LampState::Off)),
                'r' => (PressState::Running, Some(LampState::Curing)),
                _ => (PressState::Idle, None),
            };
            slices.push(slice(k, state, lamp));
        }
        // As of two days: what lasts over midnight is one.
        for day in slices.chunks(4) {
            left_on.take(&stands(day.iter().map(|slice| (slice, Money::ZERO))));
        }
        let begin = slice(0, PressState::Idle, None).usage.period.start;
        let until = begin + quarters.len() as i64 * 15 * MINUTE;
        let findings = left_on.findings(&example::plant(Zone::UTC), &Terms::default(), until);
        let quarter = |at: At| (at - begin) / (15 * MINUTE);
        let wh = |finding: &Finding| finding.above.expect("measured").energy.mwh() / 1_000;
        findings.iter().map(|f| (quarter(f.since), f.until.map(quarter), wh(f))).collect()
    }

    /// The limit is an hour: four quarter hours are within it, five are not.
    #[test]
    fn a_lamp_is_told_of_once_it_was_lit_longer_than_the_limit() {
        assert_eq!(found("rssssd"), []);
        assert_eq!(found("rsssssd"), [(1, Some(6), 2_500)]);
        assert_eq!(found("rsssssrsssssss"), [(1, Some(6), 2_500), (7, None, 3_500)]);
        assert_eq!(found("rsssussss"), [], "what nobody saw is not held against anybody");
    }
}
