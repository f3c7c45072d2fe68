//! In-shift rule: a lamp that stays energised while its press stands.

use super::lit::{Lit, Stand, lasted};
use super::{Above, Finding, Rule, Terms};
use crate::attribute::{LampState, Owner, PressState};
use crate::names::StationId;
use crate::plant::{LampKind, Plant};
use crate::time::{At, HOUR, Period};

/// Whether a slice is of a lamp that is energised while its press stands. A state that is not known is none: what nobody saw is
/// not held against anybody.
pub(super) fn is_left_on(owner: &Owner) -> bool {
    owner.press_state == Some(PressState::Idle) && owner.lamp_state.is_some_and(|state| state != LampState::Off)
}

/// The times that lasted longer than the plant wants.
pub(super) fn findings(lit: Lit, plant: &Plant, terms: &Terms, until: At) -> Vec<Finding> {
    let long = lit.all().filter(|(_, stand)| stand.period.millis() > terms.left_on);
    long.map(|(station, stand)| finding(plant, terms, station, stand, until)).collect()
}

fn finding(plant: &Plant, terms: &Terms, station: StationId, stand: Stand, until: At) -> Finding {
    let Period { start, end } = stand.period;
    let name = plant
        .station(&station)
        .map_or_else(|| station.to_string(), |(press, station)| format!("{} of {}", station.name, press.name));
    let lasted = lasted(stand.period);
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
    use crate::attribute::{Amount, Claim, Placed, Slice, Usage};
    use crate::plant::example;
    use crate::time::{MINUTE, Zone};
    use crate::units::{Energy, Money};
    use crate::watch::lit::stands;

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
        let mut left_on = Lit::default();
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
            left_on.take(&stands(day.iter().map(|slice| (slice, Money::ZERO)), is_left_on));
        }
        let begin = slice(0, PressState::Idle, None).usage.period.start;
        let until = begin + quarters.len() as i64 * 15 * MINUTE;
        let findings = findings(left_on, &example::plant(Zone::UTC), &Terms::default(), until);
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
