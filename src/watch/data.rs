//! Remarks on the data that ask for somebody, one finding an event.

use super::{Finding, Rule};
use crate::found::{Issue, Remark};
use crate::names::MeterId;
use crate::time::{At, HOUR, MINUTE, Period};
use crate::units::counted;
use std::collections::BTreeMap;

/// Remarks of one kind about one thing belong together where no more than this lies between them.
const APART: i64 = 36 * HOUR;
/// Meters behind one gateway that fall silent within this time of each other fell silent together (own judgement).
const TOGETHER: i64 = 15 * MINUTE;

/// The gateway by which each meter is reached, where it is reached by one.
pub type Gateways = BTreeMap<MeterId, String>;

/// The remarks met, by kind and thing.
#[derive(Clone, Debug, Default)]
pub struct Troubles(BTreeMap<(Rule, String), Vec<Trouble>>);

#[derive(Clone, Debug)]
struct Trouble {
    period: Period,
    text: String,
    times: usize,
}

impl Troubles {
    /// Takes the remarks of a day.
    pub fn take(&mut self, issues: &[Issue]) {
        for issue in issues {
            let Some(rule) = rule(issue.remark) else { continue };
            let all = self.0.entry((rule, issue.about.clone())).or_default();
            match all.last_mut() {
                Some(last) if issue.period.start - last.period.end <= APART => {
                    let is_told_twice = last.period == issue.period && last.text == issue.text;
                    let start = last.period.start.min(issue.period.start);
                    last.period = Period::new(start, last.period.end.max(issue.period.end));
                    last.times += usize::from(!is_told_twice);
                }
                _ => all.push(Trouble { period: issue.period, text: issue.text.clone(), times: 1 }),
            }
        }
    }

    /// One finding for each event; meters that fell silent together with their gateway are one.
    pub fn findings(self, gateways: &Gateways, until: At) -> Vec<Finding> {
        let (silent, others): (Vec<_>, Vec<_>) = self
            .0
            .into_iter()
            .flat_map(|((rule, about), all)| all.into_iter().map(move |trouble| (rule, about.clone(), trouble)))
            .partition(|(rule, ..)| *rule == Rule::Silent);
        let silent = silent.into_iter().map(|(_, about, trouble)| (about, trouble)).collect();
        let silent = together(gateways, silent).into_iter().map(|(about, trouble)| (Rule::Silent, about, trouble));
        others
            .into_iter()
            .chain(silent)
            .map(|(rule, about, trouble)| {
                let goes_on = trouble.period.end >= until;
                let how_long = if goes_on { "so far" } else { "until it ended" };
                let again = (trouble.times > 1).then(|| format!("Said {} times {how_long}.", trouble.times));
                Finding {
                    rule,
                    about,
                    station: None,
                    since: trouble.period.start,
                    is_about: false,
                    raised: trouble.period.start,
                    until: (!goes_on).then_some(trouble.period.end),
                    above: None,
                    evidence: std::iter::once(trouble.text).chain(again).collect(),
                }
            })
            .collect()
    }
}

/// Silent meters, those of one gateway that fell silent together as one.
fn together(gateways: &Gateways, silent: Vec<(String, Trouble)>) -> Vec<(String, Trouble)> {
    let gateway = |about: &str| gateways.get(&MeterId::from(about.strip_prefix("meter ")?)).map(String::as_str);
    let (mut behind, mut alone): (Vec<_>, Vec<_>) = silent.into_iter().partition(|(about, _)| gateway(about).is_some());
    behind.sort_by(|(a, one), (b, other)| (gateway(a), one.period.start, a).cmp(&(gateway(b), other.period.start, b)));
    for all in behind
        .chunk_by(|(a, one), (b, other)| gateway(a) == gateway(b) && other.period.start - one.period.start <= TOGETHER)
    {
        let (first, one) = &all[0];
        let Some(gateway) = gateway(first).filter(|_| all.len() > 1) else {
            alone.push(all[0].clone());
            continue;
        };
        let meters: Vec<&str> = all.iter().map(|(about, _)| about.trim_start_matches("meter ")).collect();
        let end = all.iter().map(|(_, trouble)| trouble.period.end).fold(one.period.end, Ord::max);
        let text = format!(
            "{} behind {gateway} had no readings ({}). The first of them: {}",
            counted(all.len(), "meter"),
            meters.join(", "),
            one.text
        );
        alone.push((
            format!("gateway {gateway}"),
            Trouble { period: Period::new(one.period.start, end), text, times: 1 },
        ));
    }
    alone
}

/// The rule that a remark falls under; `None` where it asks for nobody.
pub(super) const fn rule(remark: Remark) -> Option<Rule> {
    match remark {
        Remark::NegativeRest => Some(Rule::Balance),
        Remark::Reset => Some(Rule::Reset),
        Remark::Implausible => Some(Rule::Implausible),
        Remark::Gap => Some(Rule::Silent),
        Remark::Clock => Some(Rule::Clock),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_in_a_row_are_one_event() {
        let issue = |day: i64, remark| Issue {
            remark,
            about: "meter m".into(),
            period: Period::new(At(day * 24 * HOUR), At((day + 1) * 24 * HOUR)),
            text: format!("day {day}"),
        };
        let mut troubles = Troubles::default();
        for day in [0, 1, 2, 9] {
            troubles.take(&[issue(day, Remark::NegativeRest), issue(day, Remark::CoarseSteps)]);
        }
        let found = troubles.findings(&Gateways::new(), At(10 * 24 * HOUR));
        let told: Vec<_> = found.iter().map(|f| (f.since.0 / 24 / HOUR, f.until.map(|at| at.0 / 24 / HOUR))).collect();
        assert_eq!(told, [(0, Some(3)), (9, None)]);
        assert_eq!(found[0].evidence, ["day 0", "Said 3 times until it ended."]);
    }

    /// Of five meters two fall silent together behind one gateway, one behind it on another day, one behind another, one alone.
    #[test]
    fn meters_that_fell_silent_with_their_gateway_are_one_event() {
        let gateways: Gateways =
            [("a", "g"), ("b", "g"), ("c", "g"), ("d", "h")].map(|(m, g)| (m.into(), g.into())).into();
        let mut troubles = Troubles::default();
        for (meter, minutes) in [("a", 0), ("b", 10), ("c", 3_000), ("d", 0), ("e", 0)] {
            let start = At(minutes * MINUTE);
            troubles.take(&[Issue {
                remark: Remark::Gap,
                about: format!("meter {meter}"),
                period: Period::new(start, start + HOUR),
                text: "no readings".into(),
            }]);
        }
        let found = troubles.findings(&gateways, At(100 * 24 * HOUR));
        let mut told: Vec<&str> = found.iter().map(|finding| finding.about.as_str()).collect();
        told.sort_unstable();
        assert_eq!(told, ["gateway g", "meter c", "meter d", "meter e"]);
        let one = found.iter().find(|finding| finding.about == "gateway g").expect("one");
        assert_eq!((one.since, one.until), (At(0), Some(At(70 * MINUTE))));
    }
}
