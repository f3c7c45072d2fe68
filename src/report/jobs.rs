//! Jobs: the energy, cost and carbon of each run, and how well the job records cover the web moving.

use super::lines::Line;
use super::sums::Sums;
use crate::attribute::{Claim, PressState};
use crate::names::{PressId, RunId};
use crate::readings::Run;
use crate::time::Period;
use crate::units::{Energy, divide_rounded};
use std::collections::BTreeMap;

/// Above this share the figures of single jobs are indicative, in per cent. A rule of this project.
const INDICATIVE_ABOVE: i64 = 5;

/// A run in the month.
#[derive(Clone, Debug)]
pub struct Job<'a> {
    /// The run.
    pub run: &'a Run,
    /// Everything charged to it in the month.
    pub all: Sums,
    /// Of this, what its own meters show.
    pub own: Energy,
    /// Of this, shares of shared loads.
    pub shared: Energy,
    /// Of this, during make-ready.
    pub make_ready: Energy,
    /// Whether the whole run lies inside the days of the month that are known; else figures per length would be of a part.
    pub whole: bool,
    /// Whether the job records of its press are too poor for single jobs.
    pub indicative: bool,
}

impl Job<'_> {
    /// Energy for 1,000 m of good length.
    pub fn per_length(&self) -> Option<Energy> {
        self.per(self.run.good_mm?, 1_000_000)
    }

    /// Energy for 1,000 m2 of good web.
    pub fn per_area(&self) -> Option<Energy> {
        self.per(self.run.good_mm?.checked_mul(self.run.width_mm?)?, 1_000_000_000)
    }

    fn per(&self, size: i64, unit: i128) -> Option<Energy> {
        let known = self.whole && self.all.unknown == 0 && size > 0;
        known
            .then(|| divide_rounded(i128::from(self.all.energy.mwh()) * unit, i128::from(size)))
            .and_then(|mwh| i64::try_from(mwh).ok())
            .map(Energy::from_mwh)
    }
}

/// How far job records and web agree on a press.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Coverage {
    /// Milliseconds in which the web moved.
    pub moving: i64,
    /// Of these, without a job.
    pub moving_without_job: i64,
    /// Milliseconds of jobs.
    pub booked: i64,
    /// Of these, in jobs during which the web never moved.
    pub booked_without_web: i64,
    /// Energy while the web moved without a job.
    pub energy_without_job: Energy,
}

impl Coverage {
    /// Whether single jobs of the press are indicative only.
    pub fn is_poor(&self) -> bool {
        let above = |part: i64, whole: i64| part * 100 > whole * INDICATIVE_ABOVE;
        above(self.moving_without_job, self.moving) || above(self.booked_without_web, self.booked)
    }
}

/// How far job records and web agree, press by press.
pub type Coverages = BTreeMap<PressId, Coverage>;

/// The coverage of every press with any state known.
pub fn coverage(lines: &[Line]) -> Coverages {
    let mut spans: BTreeMap<&PressId, Vec<&Line>> = BTreeMap::new();
    for line in lines {
        if let (Some(press), Some(_)) = (&line.slice.owner.press, line.slice.owner.press_state) {
            spans.entry(press).or_default().push(line);
        }
    }
    spans.into_iter().map(|(press, lines)| (press.clone(), cover(&lines))).collect()
}

fn cover(lines: &[&Line]) -> Coverage {
    let time = |wanted: &dyn Fn(&Line) -> bool| {
        merged(lines.iter().filter(|line| wanted(line)).map(|line| line.slice.usage.period).collect())
    };
    let state = |line: &Line| line.slice.owner.press_state;
    let run = |line: &Line| line.slice.owner.run.clone();
    let without_job = time(&|line| state(line) == Some(PressState::NoJob));
    let with_job = time(&|line| state(line) == Some(PressState::Running));
    let moved: std::collections::BTreeSet<RunId> =
        lines.iter().filter(|l| state(l) == Some(PressState::Running)).filter_map(|l| run(l)).collect();
    let booked = time(&|line| run(line).is_some());
    Coverage {
        moving: with_job + without_job,
        moving_without_job: without_job,
        booked,
        booked_without_web: time(&|line| run(line).is_some_and(|id| !moved.contains(&id))),
        energy_without_job: lines.iter().filter(|l| state(l) == Some(PressState::NoJob)).map(|l| l.energy()).sum(),
    }
}

/// Milliseconds that the periods cover together.
fn merged(mut periods: Vec<Period>) -> i64 {
    periods.sort();
    let (mut sum, mut reached) = (0, i64::MIN);
    for period in periods {
        let start = period.start.0.max(reached);
        sum += (period.end.0 - start).max(0);
        reached = reached.max(period.end.0);
    }
    sum
}

/// The runs that were charged with anything in the part of the month that is known, by press and start.
pub fn jobs<'a>(runs: &'a [Run], lines: &[Line], coverage: &Coverages, known: Period) -> Vec<Job<'a>> {
    let mut sums: BTreeMap<&RunId, (Sums, Energy, Energy, Energy)> = BTreeMap::new();
    for line in lines {
        let Some(run) = &line.slice.owner.run else { continue };
        let (all, own, shared, make_ready) = sums.entry(run).or_default();
        all.add(line);
        match line.slice.owner.claim {
            Claim::Shared => *shared += line.energy(),
            _ => *own += line.energy(),
        }
        if line.slice.owner.press_state == Some(PressState::MakeReady) {
            *make_ready += line.energy();
        }
    }
    let inside = |run: &Run| known.contains(run.start) && run.end.is_some_and(|end| end <= known.end);
    let mut jobs: Vec<Job> = runs
        .iter()
        .filter_map(|run| {
            let (all, own, shared, make_ready) = *sums.get(&run.id)?;
            let indicative = coverage.get(&run.press).is_some_and(Coverage::is_poor);
            Some(Job { run, all, own, shared, make_ready, whole: inside(run), indicative })
        })
        .collect();
    jobs.sort_by(|a, b| (&a.run.press, a.run.start, &a.run.id).cmp(&(&b.run.press, b.run.start, &b.run.id)));
    jobs
}
