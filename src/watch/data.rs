//! Remarks on the data that ask for somebody, one finding an event.

use super::{Finding, Rule};
use crate::found::{Issue, Remark};
use crate::time::{At, HOUR, Period};
use std::collections::BTreeMap;

/// Remarks of one kind about one thing belong together where no more than this lies between them.
const APART: i64 = 36 * HOUR;

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

    /// One finding for each.
    pub fn findings(self, until: At) -> Vec<Finding> {
        let each = self
            .0
            .into_iter()
            .flat_map(|((rule, about), all)| all.into_iter().map(move |trouble| (rule, about.clone(), trouble)));
        each.map(|(rule, about, trouble)| {
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
        let found = troubles.findings(At(10 * 24 * HOUR));
        let told: Vec<_> = found.iter().map(|f| (f.since.0 / 24 / HOUR, f.until.map(|at| at.0 / 24 / HOUR))).collect();
        assert_eq!(told, [(0, Some(3)), (9, None)]);
        assert_eq!(found[0].evidence, ["day 0", "Said 3 times until it ended."]);
    }
}
