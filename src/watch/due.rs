//! What a channel is to be told of findings, and what waits for what. Nothing is queued: what is due is what is known less what was
//! told already.

use super::kept::{Kept, Standing};
use crate::time::{At, HOUR, MINUTE, Zone, doubled};
use chrono::NaiveTime;
use std::collections::BTreeMap;

/// The first pause after an alert could not be sent; each further one is twice as long, up to an hour.
const PAUSE: i64 = MINUTE / 2;
/// The longest pause.
const LONGEST: i64 = HOUR;

/// What is new about a finding.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Word {
    /// The channel never heard of it.
    Raised,
    /// Its beginning or its draw is another than was told.
    Moved,
    /// It has ended.
    Ended,
    /// By what is known now it never was.
    Withdrawn,
    /// Nothing: somebody tries the channel.
    Trial,
}

impl Word {
    /// The word in an alert.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Raised => "raised",
            Self::Moved => "moved",
            Self::Ended => "ended",
            Self::Withdrawn => "withdrawn",
            Self::Trial => "trial",
        }
    }
}

/// A finding as it was told last, also one that was withdrawn.
#[derive(Clone, Debug, PartialEq)]
pub struct State {
    /// The finding with its answer.
    pub kept: Kept,
    /// Which wording of it.
    pub revision: u32,
    /// Whether it was withdrawn.
    pub is_withdrawn: bool,
}

/// How the plant wants to be spoken to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Manners {
    /// From when to when by the local clock nothing is sent; over midnight where the first is the later.
    pub quiet: Option<(NaiveTime, NaiveTime)>,
    /// The most alerts of a local day.
    pub most_a_day: usize,
}

/// What a channel was told of a finding last.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Told {
    /// Which wording.
    pub revision: u32,
    /// When.
    pub at: At,
}

/// A finding of which a channel could not be told.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Trial {
    /// How often it was tried.
    pub tries: u32,
    /// When it is tried again.
    pub next: At,
    /// Why it could not be sent.
    pub fault: String,
}

impl Trial {
    /// After one more attempt.
    pub fn after(before: Option<&Self>, now: At, fault: String) -> Self {
        let tries = before.map_or(0, |trial| trial.tries).saturating_add(1);
        Self { tries, next: now + doubled(PAUSE, LONGEST, tries), fault }
    }
}

/// An alert that is due.
#[derive(Clone, Debug, PartialEq)]
pub struct Due {
    /// The finding.
    pub state: State,
    /// What is new about it.
    pub word: Word,
    /// Why it is not sent now; `None` where it is.
    pub held: Option<Held>,
    /// The last attempt, where it could not be sent.
    pub trial: Option<Trial>,
}

/// Why an alert waits.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Held {
    /// It is quiet until then.
    Quiet(NaiveTime),
    /// The channel was told as often today as the plant wants.
    Enough(usize),
    /// It could not be sent, and is tried again later.
    Pause,
}

/// What a channel was told, and since when it is one.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Outlook {
    /// Since when.
    pub since: At,
    /// By finding.
    pub told: BTreeMap<String, Told>,
    /// By finding.
    pub failed: BTreeMap<String, Trial>,
    /// How many alerts it was sent on the present local day.
    pub today: usize,
}

/// What is due to a channel at an instant, in the order in which it was raised: nothing that it was told already, nothing of what
/// people rest, work on or have closed, and nothing of what was over before it was a channel.
pub fn outlook(states: &[State], channel: &Outlook, manners: &Manners, zone: Zone, now: At) -> Vec<Due> {
    let mut due: Vec<Due> = states
        .iter()
        .filter_map(|state| {
            let word = news(state, channel, now)?;
            let trial = channel.failed.get(&state.kept.id).cloned();
            Some(Due { state: state.clone(), word, held: None, trial })
        })
        .collect();
    due.sort_by(|a, b| {
        (a.state.kept.finding.raised, &a.state.kept.id).cmp(&(b.state.kept.finding.raised, &b.state.kept.id))
    });
    let quiet = manners.quiet.and_then(|quiet| quiet_until(quiet, zone, now));
    let mut left = manners.most_a_day.saturating_sub(channel.today);
    for one in &mut due {
        let pauses = one.trial.as_ref().is_some_and(|trial| trial.next > now);
        one.held = match quiet {
            Some(until) => Some(Held::Quiet(until)),
            None if pauses => Some(Held::Pause),
            None if left == 0 => Some(Held::Enough(manners.most_a_day)),
            None => {
                left -= 1;
                None
            }
        };
    }
    due
}

/// What is new to a channel about a finding; `None` where nothing is.
fn news(state: &State, channel: &Outlook, now: At) -> Option<Word> {
    let finding = &state.kept.finding;
    let standing = state.kept.standing(now);
    let told = channel.told.get(&state.kept.id);
    match (told, state.is_withdrawn) {
        (None, true) => None,
        (None, false) => match standing {
            Standing::Open => Some(Word::Raised),
            Standing::Over => (finding.raised >= channel.since).then_some(Word::Ended),
            _ => None,
        },
        (Some(told), _) if told.revision >= state.revision => None,
        (Some(_), true) => Some(Word::Withdrawn),
        (Some(_), false) => match standing {
            Standing::Open => Some(Word::Moved),
            Standing::Over => Some(Word::Ended),
            _ => None,
        },
    }
}

/// Until when by the local clock it is quiet; `None` where it is not.
fn quiet_until((from, to): (NaiveTime, NaiveTime), zone: Zone, now: At) -> Option<NaiveTime> {
    let time = zone.local(now).time();
    let is_quiet = if from <= to { from <= time && time < to } else { from <= time || time < to };
    is_quiet.then_some(to)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::watch::{Answer, Answered, Finding, Rule};

    const DAY: i64 = 24 * HOUR;

    fn state(since: i64, until: Option<i64>, revision: u32) -> State {
        let finding = Finding {
            rule: Rule::LeftOn,
            about: "p1/s1".into(),
            station: None,
            since: At(since),
            is_about: false,
            raised: At(since + HOUR),
            until: until.map(At),
            above: None,
            evidence: Vec::new(),
        };
        State { kept: Kept { id: finding.id(), finding, answer: None }, revision, is_withdrawn: false }
    }

    fn channel(told: &[(&State, u32)]) -> Outlook {
        let told =
            told.iter().map(|(state, revision)| (state.kept.id.clone(), Told { revision: *revision, at: At(0) }));
        Outlook { since: At(10 * DAY), told: told.collect(), ..Outlook::default() }
    }

    fn words(states: &[&State], channel: &Outlook, manners: Manners, now: i64) -> Vec<(Word, bool)> {
        let states: Vec<State> = states.iter().map(|state| (*state).clone()).collect();
        let due = outlook(&states, channel, &manners, Zone::UTC, At(now));
        due.iter().map(|due| (due.word, due.held.is_some())).collect()
    }

    const PLAIN: Manners = Manners { quiet: None, most_a_day: 10 };

    #[test]
    fn nothing_is_said_twice_and_only_what_is_new_is_said() {
        let (on, over) = (state(11 * DAY, None, 3), state(11 * DAY, Some(12 * DAY), 4));
        let now = 12 * DAY + HOUR;
        assert_eq!(words(&[&on], &channel(&[]), PLAIN, now), [(Word::Raised, false)]);
        assert_eq!(words(&[&on], &channel(&[(&on, 3)]), PLAIN, now), []);
        assert_eq!(words(&[&on], &channel(&[(&on, 2)]), PLAIN, now), [(Word::Moved, false)]);
        assert_eq!(words(&[&over], &channel(&[(&over, 3)]), PLAIN, now), [(Word::Ended, false)]);
        let gone = State { is_withdrawn: true, revision: 5, ..on.clone() };
        assert_eq!(words(&[&gone], &channel(&[(&on, 3)]), PLAIN, now), [(Word::Withdrawn, false)]);
        assert_eq!(words(&[&gone], &channel(&[]), PLAIN, now), [], "what nobody was told of is not taken back");
    }

    /// What was over before the channel was set up is history; what came and went while it could not be told is news.
    #[test]
    fn what_was_over_before_is_not_told_and_what_passed_unheard_is() {
        let now = 12 * DAY;
        assert_eq!(words(&[&state(9 * DAY, Some(9 * DAY + HOUR), 1)], &channel(&[]), PLAIN, now), []);
        assert_eq!(words(&[&state(9 * DAY, None, 1)], &channel(&[]), PLAIN, now), [(Word::Raised, false)]);
        let passed = state(11 * DAY, Some(11 * DAY + HOUR), 1);
        assert_eq!(words(&[&passed], &channel(&[]), PLAIN, now), [(Word::Ended, false)]);
    }

    #[test]
    fn what_people_have_in_hand_is_not_spoken_of() {
        let answered = |answer, state: State| State {
            kept: Kept { answer: Some(Answered { answer, at: At(0), note: String::new() }), ..state.kept },
            ..state
        };
        let (on, now) = (state(11 * DAY, None, 3), 12 * DAY);
        for answer in [Answer::Acknowledged, Answer::Closed, Answer::Snoozed { until: At(13 * DAY) }] {
            assert_eq!(words(&[&answered(answer, on.clone())], &channel(&[(&on, 1)]), PLAIN, now), [], "{answer:?}");
        }
        let rested = answered(Answer::Snoozed { until: At(11 * DAY) }, on.clone());
        assert_eq!(words(&[&rested], &channel(&[(&on, 1)]), PLAIN, now), [(Word::Moved, false)]);
        let over = answered(Answer::Acknowledged, state(11 * DAY, Some(11 * DAY + HOUR), 4));
        assert_eq!(words(&[&over], &channel(&[(&on, 3)]), PLAIN, now), [(Word::Ended, false)]);
    }

    #[test]
    fn quiet_hours_and_the_limit_of_a_day_hold_it_and_nothing_is_lost() {
        let clock = |text: &str| text.parse::<NaiveTime>().expect("a time");
        let night = Manners { quiet: Some((clock("22:00:00"), clock("06:00:00"))), most_a_day: 10 };
        let on = state(11 * DAY, None, 0);
        for (hour, is_held) in [(21, false), (22, true), (29, true), (30, false)] {
            assert_eq!(
                words(&[&on], &channel(&[]), night, 11 * DAY + hour * HOUR),
                [(Word::Raised, is_held)],
                "{hour}"
            );
        }
        let many: Vec<State> = (0..4).map(|k| state(11 * DAY + k * MINUTE, None, 0)).collect();
        let many: Vec<&State> = many.iter().collect();
        let channel = Outlook { today: 8, ..channel(&[]) };
        let held: Vec<bool> = words(&many, &channel, PLAIN, 12 * DAY).into_iter().map(|(_, held)| held).collect();
        assert_eq!(held, [false, false, true, true]);
    }

    #[test]
    fn an_alert_that_failed_is_tried_again_after_ever_longer_pauses() {
        let mut trial: Option<Trial> = None;
        let mut pauses = Vec::new();
        for _ in 0..10 {
            let next = Trial::after(trial.as_ref(), At(0), "refused".into());
            pauses.push(next.next.0 / 1_000);
            trial = Some(next);
        }
        assert_eq!(pauses, [30, 60, 120, 240, 480, 960, 1_920, 3_600, 3_600, 3_600]);
        let on = state(11 * DAY, None, 0);
        let mut waits = channel(&[]);
        waits.failed.insert(on.kept.id.clone(), Trial { tries: 1, next: At(12 * DAY), fault: String::new() });
        assert_eq!(words(&[&on], &waits, PLAIN, 12 * DAY - 1), [(Word::Raised, true)]);
        assert_eq!(words(&[&on], &waits, PLAIN, 12 * DAY), [(Word::Raised, false)]);
    }
}
