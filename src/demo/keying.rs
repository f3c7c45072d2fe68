//! How jobs are reported. Presses 1 and 2 have a controller that knows; at press 3 people key them in, so that some are
//! late, overlap the next, have no end, are given in feet, or are missing.

use super::chance::Chance;
use super::hall::PRESSES;
use super::job::Job;
use crate::names::{PressId, RunId};
use crate::readings::{Event, Happening, Rank, Run};
use crate::time::{At, MINUTE};

/// The press whose jobs are keyed by hand.
const BY_HAND: usize = 2;

/// The run of a job as the controller of its press knows it.
pub fn run(press: usize, job: &Job) -> Run {
    let at = |minute: i64| At(minute * MINUTE);
    Run {
        id: RunId::from(format!("{}-{}", PRESSES[press].id, job.number).as_str()),
        press: PressId::from(PRESSES[press].id),
        job: job.number.clone(),
        product: Some(job.product.name.into()),
        start: at(job.start),
        ready: Some(at(job.ready)),
        end: Some(at(job.end())),
        width_mm: Some(job.product.width_mm),
        planned_mm: Some((job.printed_mm() / 1_000_000 + 1) * 1_000_000),
        good_mm: Some(job.printed_mm() * 975 / 1_000),
    }
}

/// The run as it is reported, as far as is known at an instant. `None` where nobody keyed it.
pub fn reported(press: usize, job: &Job, known: At) -> Option<Run> {
    let at = |minute: i64| At(minute * MINUTE);
    let mut run = run(press, job);
    run.ready = run.ready.filter(|ready| *ready <= known);
    run.end = run.end.filter(|end| *end <= known);
    run.good_mm = run.good_mm.filter(|_| run.end.is_some());
    if press != BY_HAND {
        return Some(run);
    }
    let mut chance = Chance::of((job.start as u64) << 8);
    match chance.between(1, 100) {
        1..=4 => return None,
        5..=8 => run.start = at((job.start + chance.between(10, 25)).min(job.end() - 1)),
        9..=12 => run.end = None,
        13..=16 => run.end = run.end.map(|end| end + chance.between(12, 30) * MINUTE).filter(|end| *end <= known),
        17 | 18 => run.good_mm = run.good_mm.map(|mm| mm * 10_000 / 3_048),
        _ => {}
    }
    run.ready = run.ready.filter(|ready| *ready > run.start);
    Some(run)
}

/// The event of a run, as the press signals gave it.
pub fn event(run: Run) -> Event {
    Event {
        id: run.id.to_string(),
        at: run.start,
        rank: Rank::Live,
        revision: 0,
        what: Happening::Run(run),
        note: None,
    }
}
