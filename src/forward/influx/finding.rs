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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::readings::{Above, Finding, Rule};
    use crate::units::Money;
    use crate::watch::Kept;

    #[test]
    fn a_finding_keeps_its_place_and_what_is_not_known_of_it_is_left_out() {
        let finding = Finding {
            rule: Rule::HigherDraw,
            about: "p1/s1".into(),
            station: Some("p1/s1".into()),
            since: At(1_000),
            is_about: false,
            raised: At(5_000),
            until: None,
            above: Some(Above {
                watts: 339.0,
                watts_half: None,
                energy: Energy::from_wh(90),
                energy_half: None,
                cost: Money::from_micros(21_500_000),
                ahead: None,
            }),
            evidence: vec!["It draws more.".into(), "By a \"third\".".into()],
        };
        let kept = Kept { id: "higher-draw/p1/s1/1970".into(), finding, answer: None };
        let mut state = State { kept, revision: 0, is_withdrawn: false };
        let line = |state: &State| finding_line("Hall", "GBP", state, At(9_000)).expect("a line");
        let start = "finding,plant=Hall,finding=higher-draw/p1/s1/1970,rule=higher-draw,about=p1/s1,station=p1/s1 ";
        let end = "watts=339.0,energy_mwh=90000i,cost=21.5,currency=\"GBP\",evidence=\"It draws more. By a \\\"third\\\".\" 5000";
        assert_eq!(line(&state), format!("{start}standing=\"open\",goes_on=true,since_ms=1000i,{end}"));
        state.kept.finding.until = Some(At(8_000));
        assert_eq!(line(&state), format!("{start}standing=\"over\",goes_on=false,since_ms=1000i,until_ms=8000i,{end}"));
        state.is_withdrawn = true;
        assert!(line(&state).contains("standing=\"withdrawn\",goes_on=false"));
    }
}
