//! The line of a press: runs as scheduling reports them, made to fit: one at a time on a press, with an end, and agreeing with the web.

use crate::attribute::PressState;
use crate::attribute::runs::LONGEST_OPEN;
use crate::attribute::track::{ALWAYS, time_of, track};
use crate::found::{Found, Issue, Remark};
use crate::names::{PressId, RunId};
use crate::plant::Dated;
use crate::readings::Run;
use crate::time::{At, HOUR, MINUTE, Period};

/// A border of a run that lies this near to a start or stop of the web is moved there: it was keyed late or early.
const NEAR: i64 = 10 * MINUTE;
/// Up to this a run and the web agree as they are.
const AGREE: i64 = MINUTE;
/// The web has come to print once it moves this long (common practice, no source).
const SUSTAINED: i64 = 5 * MINUTE;
/// A make-ready of which nobody states the end lasts no longer than this (common practice, no source).
pub const LONGEST_MAKE_READY: i64 = 2 * HOUR;
/// Shorter stretches of a moving web without a job are not worth a remark.
const WORTH_SAYING: i64 = 5 * MINUTE;

/// What a press was doing: its web, its state, and the run that was on; `None` inside where nobody knows.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PressLine {
    /// Whether its web moved.
    pub moving: Dated<Option<bool>>,
    /// Its state.
    pub state: Dated<Option<PressState>>,
    /// The run that was on.
    pub run: Dated<Option<RunId>>,
}

/// One run after it was made to fit.
struct Fitted<'a> {
    run: &'a Run,
    start: At,
    ready: Option<At>,
    end: At,
}

/// The line of a press from its runs and its web; remarks are made about `span` only.
pub fn press_line(press: &PressId, runs: &[Run], moving: Dated<Option<bool>>, span: Period) -> Found<PressLine> {
    let mut issues = Vec::new();
    let mut about = |remark, period, text| {
        issues.push(Issue { remark, about: format!("press {press}"), period, text });
    };
    let mut own: Vec<&Run> = runs.iter().filter(|run| run.press == *press).collect();
    own.sort_by(|a, b| (a.start, &a.id).cmp(&(b.start, &b.id)));
    let mut fitted = one_at_a_time(&own, span.end, &mut about);
    agree_with_web(&mut fitted, &moving);
    let (state, run) = states(&fitted, &moving);
    coverage(&fitted, &moving, &state, span, &mut about);
    Found { value: PressLine { moving, state, run }, issues }
}

fn one_at_a_time<'a>(runs: &[&'a Run], now: At, about: &mut impl FnMut(Remark, Period, String)) -> Vec<Fitted<'a>> {
    let mut fitted = Vec::with_capacity(runs.len());
    for (k, run) in runs.iter().enumerate() {
        let next = runs.get(k + 1).map(|next| next.start);
        let stated = run.end.unwrap_or(run.start + LONGEST_OPEN);
        let end = next.map_or(stated, |next| next.min(stated));
        let period = Period::new(run.start, end);
        match (run.end, next) {
            (Some(stated), Some(next)) if next < stated => {
                let text =
                    format!("Job {} overlaps the next one on the press; it is ended where that begins.", run.job);
                about(Remark::RunConflict, Period::new(next, stated), text);
            }
            (None, Some(next)) if next == end => {
                let text = format!("Job {} has no end; it is ended where the next one begins.", run.job);
                about(Remark::RunConflict, period, text);
            }
            // The last one may still go on for as long as its day is not over.
            (None, next) if next.is_some() || end <= now => {
                let text = format!("Job {} has no end; it is ended a day after its start.", run.job);
                about(Remark::RunConflict, period, text);
            }
            (Some(stated), _) if stated <= run.start => {
                let text = format!("Job {} ends before it starts; it is passed over.", run.job);
                about(Remark::RunConflict, Period::new(stated, run.start + 1), text);
            }
            _ => {}
        }
        if !period.is_empty() {
            fitted.push(Fitted { run, start: run.start, ready: run.ready.filter(|ready| *ready >= run.start), end });
        }
    }
    fitted
}

fn agree_with_web(runs: &mut [Fitted], moving: &Dated<Option<bool>>) {
    let moves: Vec<Period> = movements(moving);
    let around = |at: At| moves.iter().find(|m| m.start < at && at < m.end);
    for k in 0..runs.len() {
        let free_from = k.checked_sub(1).map_or(At(i64::MIN), |before| runs[before].end);
        if let Some(movement) = around(runs[k].start) {
            let start = movement.start.max(free_from);
            if (AGREE..=NEAR).contains(&(runs[k].start - start)) {
                runs[k].start = start;
            }
        }
    }
    for k in 0..runs.len() {
        let free_to = runs.get(k + 1).map_or(At(i64::MAX), |next| next.start);
        let Fitted { start, end, .. } = runs[k];
        let stop = match around(end) {
            Some(movement) => Some(movement.end),
            None => moves.iter().rev().map(|m| m.end).find(|stop| *stop <= end),
        };
        if let Some(stop) = stop.filter(|stop| *stop > start && (AGREE..=NEAR).contains(&(*stop - end).abs())) {
            runs[k].end = stop.min(free_to);
        }
        let run = &mut runs[k];
        run.ready = run.ready.or_else(|| ready(run, &moves, moving)).map(|ready| ready.min(run.end));
    }
}

/// The end of a make-ready that nobody stated; `None` where the web says nothing.
fn ready(run: &Fitted, moves: &[Period], moving: &Dated<Option<bool>>) -> Option<At> {
    let longest = Period::new(run.start, run.start + LONGEST_MAKE_READY);
    if time_of(moving, longest, Option::is_some) == 0 {
        return None;
    }
    let printing = moves.iter().filter_map(|m| m.overlap(Period::new(run.start, run.end)));
    let first = printing.filter(|m| m.millis() >= SUSTAINED).map(|m| m.start).next();
    Some(first.unwrap_or(longest.end).min(longest.end))
}

fn movements(moving: &Dated<Option<bool>>) -> Vec<Period> {
    moving.spans(ALWAYS).filter(|(_, moves)| **moves == Some(true)).map(|(span, _)| span).collect()
}

type States = (Dated<Option<PressState>>, Dated<Option<RunId>>);

fn states(runs: &[Fitted], moving: &Dated<Option<bool>>) -> States {
    let borders = runs.iter().flat_map(|run| [Some(run.start), run.ready, Some(run.end)]).flatten();
    let mut changes: Vec<At> = borders.chain(moving.iter().map(|(at, _)| *at)).collect();
    changes.sort_unstable();
    changes.dedup();
    let (mut state, mut on) = (Vec::with_capacity(changes.len()), Vec::with_capacity(changes.len()));
    let mut next = 0;
    for at in changes {
        while runs.get(next).is_some_and(|run| run.end <= at) {
            next += 1;
        }
        let run = runs.get(next).filter(|run| run.start <= at);
        state.push((at, press_state(run, moving.at(at).copied().flatten(), at)));
        on.push((at, run.map(|run| run.run.id.clone())));
    }
    (track(state), track(on))
}

fn press_state(run: Option<&Fitted>, moving: Option<bool>, at: At) -> Option<PressState> {
    match (run, moving) {
        (Some(Fitted { ready: Some(ready), .. }), _) if at < *ready => Some(PressState::MakeReady),
        (Some(_), Some(true)) => Some(PressState::Running),
        (Some(_), Some(false)) => Some(PressState::Stopped),
        (None, Some(true)) => Some(PressState::NoJob),
        (None, Some(false)) => Some(PressState::Idle),
        (_, None) => None,
    }
}

fn coverage(
    runs: &[Fitted],
    moving: &Dated<Option<bool>>,
    state: &Dated<Option<PressState>>,
    span: Period,
    about: &mut impl FnMut(Remark, Period, String),
) {
    let jobless = time_of(state, span, |state| *state == Some(PressState::NoJob));
    if jobless >= WORTH_SAYING {
        let text = format!("The web moved for {} min without a job.", jobless / MINUTE);
        about(Remark::JobCoverage, span, text);
    }
    for run in runs {
        let period = Period::new(run.start, run.end);
        let seen = time_of(moving, period, Option::is_some) == period.millis();
        if seen && time_of(moving, period, |moves| *moves == Some(true)) == 0 {
            let text = format!("Job {} is recorded, but the web did not move.", run.run.job);
            about(Remark::JobCoverage, period, text);
        }
    }
}
