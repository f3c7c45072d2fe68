//! A finding as it is forwarded.

use super::line::{Field, Line};
use crate::time::At;
use crate::units::Energy;
use crate::watch::State;

/// The line of a finding at the instant at which it could first be known, so that later wordings of it replace earlier ones.
pub fn finding_line(plant: &str, currency: &str, state: &State, now: At) -> Option<String> {
    let (kept, finding) = (&state.kept, &state.kept.finding);
    let standing = if state.is_withdrawn { "withdrawn" } else { kept.standing(now).word() };
    let above = finding.above.as_ref();
    let number = |of: fn(&crate::readings::Above) -> f64| above.map(|above| Field::Number(of(above)));
    Line::of("finding")
        .tag("plant", plant)
        .tag("finding", &kept.id)
        .tag("rule", finding.rule.word())
        .tag("about", &finding.about)
        .tag("station", finding.station.as_ref().map_or("", |station| station.as_str()))
        .field("standing", Field::Text(standing))
        .field("goes_on", Field::Flag(finding.until.is_none() && !state.is_withdrawn))
        .field("since_ms", Field::Whole(finding.since.0))
        .maybe("until_ms", finding.until.map(|until| Field::Whole(until.0)))
        .maybe("watts", number(|above| above.watts))
        .maybe("watts_half", above.and_then(|above| above.watts_half).map(Field::Number))
        .maybe("energy_mwh", above.map(|above| Field::Whole(above.energy.mwh())))
        .maybe(
            "energy_half_mwh",
            above.and_then(|above| above.energy_half).map(|half: Energy| Field::Whole(half.mwh())),
        )
        .maybe("cost", number(|above| above.cost.units()))
        .field("currency", Field::Text(currency))
        .field("evidence", Field::Text(&finding.evidence.join(" ")))
        .at(finding.raised)
}
