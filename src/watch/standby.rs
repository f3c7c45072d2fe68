//! In-shift rule: arc lamps that stand by for longer than it takes to strike them anew, one finding for a press.

use super::lit::{Lit, Stand, lasted};
use super::{Above, Finding, Rule, Terms};
use crate::attribute::{LampState, Owner, PressState};
use crate::names::StationId;
use crate::plant::{LampKind, Plant};
use crate::time::{At, MINUTE, Period};
use crate::units::{Energy, Money, counted};

/// Whether a slice is of an arc lamp that stands by while a job is on. A LED array is at its power at once and has nothing to stand
/// by for; while no job is on, the lamp was left on.
pub(super) fn stands_by(owner: &Owner) -> bool {
    owner.lamp == Some(LampKind::Arc)
        && owner.lamp_state == Some(LampState::Standby)
        && owner.press_state.is_some_and(|state| state != PressState::Idle)
}

/// Lamps of a press that stood by at the same time.
struct Wait {
    period: Period,
    stations: Vec<StationId>,
    energy: Energy,
    cost: Money,
}

/// The times that lasted longer than the plant wants; those of one press are one event where less than that lies
/// between them.
pub(super) fn findings(lit: Lit, plant: &Plant, terms: &Terms, until: At) -> Vec<Finding> {
    let mut long: Vec<(StationId, Stand)> =
        lit.all().filter(|(_, stand)| stand.period.millis() > terms.standby).collect();
    long.sort_by_key(|(_, stand)| stand.period.start);
    let of_press = |id: &StationId, press: &crate::plant::Press| press.stations.iter().any(|own| own.id == *id);
    plant
        .presses
        .iter()
        .flat_map(|press| {
            let mut waits: Vec<Wait> = Vec::new();
            for (station, stand) in long.iter().filter(|(station, _)| of_press(station, press)) {
                match waits.last_mut().filter(|wait| stand.period.start <= wait.period.end + terms.standby) {
                    Some(wait) => wait.take(station, stand),
                    None => waits.push(Wait::of(station, stand)),
                }
            }
            waits.into_iter().map(|wait| finding(press.id.as_str(), &press.name, wait, terms, until))
        })
        .collect()
}

impl Wait {
    fn of(station: &StationId, stand: &Stand) -> Self {
        Self { period: stand.period, stations: vec![station.clone()], energy: stand.energy, cost: stand.cost }
    }

    fn take(&mut self, station: &StationId, stand: &Stand) {
        self.period = Period::new(self.period.start, self.period.end.max(stand.period.end));
        if !self.stations.contains(station) {
            self.stations.push(station.clone());
        }
        self.energy += stand.energy;
        self.cost += stand.cost;
    }
}

fn finding(id: &str, press: &str, wait: Wait, terms: &Terms, until: At) -> Finding {
    let Period { start, end } = wait.period;
    let ids: Vec<&str> = wait.stations.iter().map(|station| station.as_str()).collect();
    Finding {
        rule: Rule::LongStandby,
        about: id.into(),
        station: None,
        since: start,
        is_about: false,
        raised: start + terms.standby,
        until: (end < until).then_some(end),
        above: Some(Above {
            watts: wait.energy.mean_watts(wait.period.millis()).unwrap_or(0.0),
            watts_half: None,
            energy: wait.energy,
            energy_half: None,
            cost: wait.cost,
            ahead: None,
        }),
        evidence: vec![format!(
            "{} of {press} stood by for {} with a job on ({}); told after {} min.",
            counted(wait.stations.len(), "arc lamp"),
            lasted(wait.period),
            ids.join(", "),
            terms.standby / MINUTE
        )],
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plant::example;
    use crate::time::Zone;

    /// Two lamps wait together for an hour, one goes on for a while after a short run; a wait of half an hour is none.
    #[test]
    fn lamps_of_a_press_that_wait_together_are_one_finding() {
        let mut plant = example::plant(Zone::UTC);
        plant.presses = vec![example::press("p1", &["s1", "s2"])];
        let stand = |from: i64, to: i64| Stand {
            period: Period::new(At(from * MINUTE), At(to * MINUTE)),
            lamp: Some(LampKind::Arc),
            energy: Energy::from_wh(1_000),
            cost: Money::from_micros(250_000),
        };
        let mut lit = Lit::default();
        lit.take(&[
            ("p1/s1".into(), stand(0, 60)),
            ("p1/s1".into(), stand(70, 130)),
            ("p1/s1".into(), stand(600, 630)),
            ("p1/s2".into(), stand(5, 65)),
        ]);
        let found = findings(lit, &plant, &Terms::default(), At(700 * MINUTE));
        assert_eq!(found.len(), 1, "{found:#?}");
        assert_eq!((found[0].since, found[0].until, found[0].raised), (At(0), Some(At(130 * MINUTE)), At(45 * MINUTE)));
        assert_eq!(found[0].above.expect("measured").energy, Energy::from_wh(3_000));
        assert!(found[0].evidence[0].starts_with("2 arc lamps of"), "{:?}", found[0].evidence);
    }
}
