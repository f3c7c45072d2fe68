//! Findings as they are kept: one for one event, however often the watch looks and whatever comes late.

use super::due::State;
use crate::readings::{Answer, Event, Finding, Happening, Rank};
use crate::time::{At, HOUR};
use std::collections::{BTreeMap, BTreeSet};

/// What ended so long ago stays as it was told: what its time was judged by may be stored no longer (own judgement).
const LEFT_ALONE: i64 = 90 * 24 * HOUR;
/// A beginning that moves by less is no news (own judgement).
const SAME_BEGINNING: i64 = 24 * HOUR;
/// An end that moves by less is no news (own judgement).
const SAME_END: i64 = HOUR;
/// Nor is a draw that moves by less than this part, nor one that stays within its own uncertainty (own judgement).
const SAME_DRAW: f64 = 0.1;

/// A finding as it was told last, with what people answered.
#[derive(Clone, Debug, PartialEq)]
pub struct Kept {
    /// Its identity, which stays, whatever becomes known of it.
    pub id: String,
    /// What was told.
    pub finding: Finding,
    /// What was answered; `None` where nobody has.
    pub answer: Option<Answered>,
}

/// An answer with its circumstances.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Answered {
    /// The answer.
    pub answer: Answer,
    /// When it was given.
    pub at: At,
    /// By whom and why.
    pub note: String,
}

/// Where a finding stands, the most pressing first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Standing {
    /// It goes on, and nobody has answered.
    Open,
    /// It goes on; somebody looks into it.
    Acknowledged,
    /// It goes on, and is to rest until then.
    Snoozed(At),
    /// It has ended by itself.
    Over,
    /// Somebody has closed it.
    Closed,
}

impl Standing {
    /// The word in tables and files.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Open => "open",
            Self::Acknowledged => "acknowledged",
            Self::Snoozed(_) => "snoozed",
            Self::Over => "over",
            Self::Closed => "closed",
        }
    }
}

impl Kept {
    /// Where it stands at an instant.
    pub fn standing(&self, now: At) -> Standing {
        match self.answer.as_ref().map(|answered| answered.answer) {
            Some(Answer::Closed) => Standing::Closed,
            _ if self.finding.until.is_some() => Standing::Over,
            Some(Answer::Acknowledged) => Standing::Acknowledged,
            Some(Answer::Snoozed { until }) if now < until => Standing::Snoozed(until),
            _ => Standing::Open,
        }
    }
}

/// What is new about a finding.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Change {
    /// It was not known before.
    Raised,
    /// Its beginning or its draw is another than was told.
    Moved,
    /// It has ended.
    Ended,
    /// By what is known now it never was.
    Withdrawn,
}

/// All findings that were ever told, and all answers.
#[derive(Clone, Debug, Default)]
pub struct Findings {
    told: BTreeMap<String, Told>,
    answers: BTreeMap<String, (u32, Option<Answered>)>,
}

#[derive(Clone, Debug)]
struct Told {
    finding: Finding,
    revision: u32,
    is_withdrawn: bool,
}

impl Findings {
    /// From every version of every event.
    pub fn of(stated: &[Event]) -> Self {
        let mut findings = Self::default();
        stated.iter().for_each(|event| findings.take(event));
        findings
    }

    /// Takes an event, in any order; what is no finding and no answer is passed over.
    pub fn take(&mut self, event: &Event) {
        let (what, is_withdrawn) = match &event.what {
            Happening::Withdrawn(former) => (former.as_ref(), true),
            what => (what, false),
        };
        match what {
            Happening::Found(finding)
                if self.told.get(&event.id).is_none_or(|told| told.revision <= event.revision) =>
            {
                let told = Told { finding: (**finding).clone(), revision: event.revision, is_withdrawn };
                self.told.insert(event.id.clone(), told);
            }
            Happening::Answered(answer)
                if self.answers.get(&event.id).is_none_or(|(revision, _)| *revision <= event.revision) =>
            {
                let note = event.note.clone().unwrap_or_default();
                let answered = (!is_withdrawn).then_some(Answered { answer: *answer, at: event.at, note });
                self.answers.insert(event.id.clone(), (event.revision, answered));
            }
            _ => {}
        }
    }

    /// Whether nothing was ever told.
    pub fn is_empty(&self) -> bool {
        self.told.is_empty()
    }

    /// One finding; `None` where there is none, or it was withdrawn.
    pub fn get(&self, id: &str) -> Option<Kept> {
        let (id, told) = self.told.get_key_value(id)?;
        (!told.is_withdrawn).then(|| self.kept(id, told))
    }

    /// Those in force, by identity.
    pub fn iter(&self) -> impl Iterator<Item = Kept> {
        self.told.iter().filter(|(_, told)| !told.is_withdrawn).map(|(id, told)| self.kept(id, told))
    }

    /// Every one that was ever told, also what was withdrawn; by identity.
    pub fn wordings(&self) -> impl Iterator<Item = State> {
        self.told.iter().map(|(id, told)| State {
            kept: self.kept(id, told),
            revision: told.revision,
            is_withdrawn: told.is_withdrawn,
        })
    }

    /// The kept one that is the same event as a finding of the watch.
    pub fn same(&self, finding: &Finding) -> Option<Kept> {
        let same = self.told.iter().filter(|(_, told)| !told.is_withdrawn && is_same(&told.finding, finding));
        same.min_by_key(|(_, told)| told.finding.since).map(|(id, told)| self.kept(id, told))
    }

    fn kept(&self, id: &str, told: &Told) -> Kept {
        let answer = self.answers.get(id).and_then(|(_, answered)| answered.clone());
        Kept { id: id.into(), finding: told.finding.clone(), answer }
    }

    /// The event of an answer to a finding.
    pub fn answer(&self, id: &str, answer: Answer, at: At, note: String) -> Event {
        self.event_of(id, Happening::Answered(answer), at, note)
    }

    /// The event that takes an answer back; `None` where there is none.
    pub fn reopen(&self, id: &str, at: At, note: String) -> Option<Event> {
        let (_, answered) = self.answers.get(id)?;
        let former = Happening::Answered(answered.as_ref()?.answer);
        Some(self.event_of(id, Happening::Withdrawn(Box::new(former)), at, note))
    }

    fn event_of(&self, id: &str, what: Happening, at: At, note: String) -> Event {
        let revision = self.answers.get(id).map_or(0, |(revision, _)| revision + 1);
        Event { id: id.into(), at, rank: Rank::Correction, revision, what, note: Some(note) }
    }

    /// What is new in what the watch finds now, and the event that keeps it. Of two findings about the same thing by the same
    /// rule those are one event that last at the same time.
    pub fn news(&self, found: &[Finding], now: At) -> Vec<(Change, Event)> {
        let mut met: BTreeSet<&str> = BTreeSet::new();
        let mut news = Vec::new();
        for finding in found {
            let same = self.told.iter().filter(|(id, told)| {
                !told.is_withdrawn && !met.contains(id.as_str()) && is_same(&told.finding, finding)
            });
            match same.min_by_key(|(_, told)| told.finding.since) {
                Some((id, told)) => {
                    met.insert(id);
                    let finding = Finding { raised: told.finding.raised, ..finding.clone() };
                    if let Some(change) = change(&told.finding, &finding).filter(|_| !is_left_alone(&told.finding, now))
                    {
                        news.push((change, event(id.clone(), told.revision + 1, Happening::Found(Box::new(finding)))));
                    }
                }
                None => {
                    let id = finding.id();
                    let revision = self.told.get(&id).map_or(0, |told| told.revision + 1);
                    news.push((Change::Raised, event(id, revision, Happening::Found(Box::new(finding.clone())))));
                }
            }
        }
        let gone = self.told.iter().filter(|(id, told)| {
            !told.is_withdrawn && !met.contains(id.as_str()) && !is_left_alone(&told.finding, now)
        });
        news.extend(gone.map(|(id, told)| {
            let former = Box::new(Happening::Found(Box::new(told.finding.clone())));
            (Change::Withdrawn, event(id.clone(), told.revision + 1, Happening::Withdrawn(former)))
        }));
        news
    }
}

fn event(id: String, revision: u32, what: Happening) -> Event {
    let finding = match &what {
        Happening::Withdrawn(former) => former.as_ref(),
        what => what,
    };
    let at = if let Happening::Found(finding) = finding { finding.raised } else { At(0) };
    Event { id, at, rank: Rank::Live, revision, what, note: None }
}

fn is_same(told: &Finding, found: &Finding) -> bool {
    let ends = |finding: &Finding| finding.until.unwrap_or(At(i64::MAX));
    (told.rule, &told.about) == (found.rule, &found.about) && told.since <= ends(found) && found.since <= ends(told)
}

fn is_left_alone(told: &Finding, now: At) -> bool {
    told.until.is_some_and(|until| now - until > LEFT_ALONE)
}

/// What is new in a finding against what was told; `None` where it is no news.
fn change(told: &Finding, found: &Finding) -> Option<Change> {
    match (told.until, found.until) {
        (None, Some(_)) => return Some(Change::Ended),
        (Some(_), None) => return Some(Change::Moved),
        (Some(a), Some(b)) if (a - b).abs() >= SAME_END => return Some(Change::Moved),
        _ => {}
    }
    let draws_other = match (told.above, found.above) {
        (Some(was), Some(is)) => {
            let moved = (was.watts - is.watts).abs();
            moved > SAME_DRAW * was.watts.abs() && moved > was.watts_half.unwrap_or(0.0)
        }
        (was, is) => was.is_some() != is.is_some(),
    };
    let is_moved = told.is_about != found.is_about || (told.since - found.since).abs() >= SAME_BEGINNING || draws_other;
    is_moved.then_some(Change::Moved)
}

#[cfg(test)]
#[allow(clippy::cloned_ref_to_slice_refs, reason = "lists of one stand beside lists of several")]
mod tests {
    use super::*;
    use crate::readings::{Above, Rule};
    use crate::units::{Energy, Money};

    const DAY: i64 = 24 * HOUR;
    const NOW: At = At(1_780_000_000_000);

    fn found(since: i64, until: Option<i64>, watts: f64) -> Finding {
        Finding {
            rule: Rule::HigherDraw,
            about: "p1/s6".into(),
            station: Some("p1/s6".into()),
            since: NOW + since * DAY,
            is_about: false,
            raised: NOW + (since + 1) * DAY,
            until: until.map(|day| NOW + day * DAY),
            above: Some(Above {
                watts,
                watts_half: Some(5.0),
                energy: Energy::from_wh(1),
                energy_half: None,
                cost: Money::ZERO,
                ahead: None,
            }),
            evidence: Vec::new(),
        }
    }

    /// The watch looks several times; what is new each time, and how many findings are in force in the end.
    fn looks(each: &[&[Finding]]) -> (Vec<Vec<Change>>, Findings) {
        let mut findings = Findings::default();
        let mut told = Vec::new();
        for found in each {
            let news = findings.news(found, NOW);
            news.iter().for_each(|(_, event)| findings.take(event));
            told.push(news.into_iter().map(|(change, _)| change).collect());
        }
        (told, findings)
    }

    use Change::{Ended, Moved, Raised, Withdrawn};

    #[test]
    fn one_event_is_one_finding_however_often_the_watch_looks() {
        let first = found(-20, None, 300.0);
        // A beginning some hours and a draw some watts off are no news; two days and a settled beginning are.
        let close = Finding { since: first.since + HOUR, ..found(-20, None, 304.0) };
        let moved = found(-18, None, 304.0);
        let over = found(-18, Some(-1), 304.0);
        let (told, findings) =
            looks(&[&[first.clone()], &[first.clone()], &[close], &[moved], &[over.clone()], &[over]]);
        assert_eq!(told, [vec![Raised], vec![], vec![], vec![Moved], vec![Ended], vec![]]);
        let all: Vec<Kept> = findings.iter().collect();
        assert_eq!(all.len(), 1);
        assert_eq!((all[0].id.as_str(), all[0].finding.raised), (first.id().as_str(), first.raised));
        assert_eq!(all[0].standing(NOW), Standing::Over);
    }

    #[test]
    fn late_data_may_take_an_event_away_and_bring_it_back_and_a_later_event_is_another() {
        let (first, second) = (found(-20, Some(-15), 300.0), found(-5, None, 300.0));
        let (told, findings) = looks(&[&[first.clone()], &[], &[first.clone()], &[first, second]]);
        assert_eq!(told, [vec![Raised], vec![Withdrawn], vec![Raised], vec![Raised]]);
        assert_eq!(findings.iter().count(), 2);
    }

    #[test]
    fn what_ended_long_ago_stays_as_it_was_told() {
        let (told, findings) = looks(&[&[found(-200, Some(-100), 300.0)], &[], &[found(-200, Some(-97), 300.0)]]);
        assert_eq!(told, [vec![Raised], vec![], vec![]]);
        assert_eq!(findings.iter().next().expect("kept").finding.until, Some(NOW - 100 * DAY));
    }

    #[test]
    fn two_events_that_turn_out_to_be_one_are_one_under_the_older_name() {
        let (first, second, both) = (found(-20, Some(-15), 300.0), found(-10, None, 300.0), found(-20, None, 300.0));
        let (told, findings) = looks(&[&[first.clone(), second], &[both]]);
        assert_eq!(told, [vec![Raised, Raised], vec![Moved, Withdrawn]]);
        assert_eq!(findings.iter().map(|kept| kept.id).collect::<Vec<_>>(), [first.id()]);
    }

    #[test]
    fn an_answer_holds_until_it_is_taken_back_or_its_time_is_over() {
        let (_, mut findings) = looks(&[&[found(-20, None, 300.0)]]);
        let id = findings.iter().next().expect("kept").id;
        let standing = |findings: &Findings, at: At| findings.get(&id).expect("kept").standing(at);
        assert_eq!(standing(&findings, NOW), Standing::Open);
        assert_eq!(findings.reopen(&id, NOW, "a: b".into()), None);
        let until = NOW + DAY;
        for (answer, then) in [
            (Answer::Acknowledged, Standing::Acknowledged),
            (Answer::Snoozed { until }, Standing::Snoozed(until)),
            (Answer::Closed, Standing::Closed),
        ] {
            let event = findings.answer(&id, answer, NOW, "anna: seen".into());
            findings.take(&event);
            assert_eq!(standing(&findings, NOW), then);
            let later = if then == Standing::Snoozed(until) { Standing::Open } else { then };
            assert_eq!(standing(&findings, until), later);
        }
        let event = findings.reopen(&id, NOW, "anna: wrong one".into()).expect("there is an answer");
        findings.take(&event);
        assert_eq!(standing(&findings, NOW), Standing::Open);
        // Whatever the order in which they are read.
        let mut stated: Vec<Event> = vec![event];
        stated.extend(findings.news(&[found(-20, None, 900.0)], NOW).into_iter().map(|(_, event)| event));
        assert_eq!(Findings::of(&stated).get(&id).expect("kept").standing(NOW), Standing::Open);
    }
}
