//! Jobs: the energy, cost and carbon of each run, and how well the job records cover the web moving.

use super::accounts::{Account, group};
use super::lines::Ledger;
use super::sums::{Sums, total};
use crate::attribute::{Claim, PressState, Slice};
use crate::names::{PressId, RunId};
use crate::readings::Run;
use crate::time::Period;
use crate::units::{Energy, divide_rounded};
use std::collections::{BTreeMap, BTreeSet};

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

/// Why a job has no energy per length.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum NoFigure {
    /// Nobody recorded when it ended.
    NoEnd,
    /// Nobody recorded how much of it was good.
    NoLength,
    /// A part of it lies outside the days of the month that are known.
    Outside,
    /// The energy of a meter is missing while it ran.
    EnergyMissing,
}

impl Job<'_> {
    /// Why it has no energy per length; `None` where it has one.
    pub fn no_figure(&self) -> Option<NoFigure> {
        if self.run.end.is_none() {
            return Some(NoFigure::NoEnd);
        }
        if self.run.good_mm.is_none_or(|mm| mm <= 0) {
            return Some(NoFigure::NoLength);
        }
        if !self.whole {
            return Some(NoFigure::Outside);
        }
        (self.all.unknown > 0).then_some(NoFigure::EnergyMissing)
    }

    /// Energy for 1,000 m of good length.
    pub fn per_length(&self) -> Option<Energy> {
        self.per(self.run.good_mm?, LENGTH)
    }

    /// Energy for 1,000 m2 of good web.
    pub fn per_area(&self) -> Option<Energy> {
        self.per(self.run.good_mm?.checked_mul(self.run.width_mm?)?, AREA)
    }

    fn per(&self, size: i64, unit: i128) -> Option<Energy> {
        let mwh = self.all.energy.mwh();
        self.no_figure().is_none().then(|| per_size(mwh, size, unit)).flatten().map(Energy::from_mwh)
    }
}

/// 1,000 m in millimetres.
pub const LENGTH: i128 = 1_000_000;
/// 1,000 m2 in square millimetres.
pub const AREA: i128 = 1_000_000_000;

/// A count for a unit of a size, such as [`LENGTH`] of a length in millimetres; `None` for no size.
pub fn per_size(count: i64, size: i64, unit: i128) -> Option<i64> {
    (size > 0).then(|| divide_rounded(i128::from(count) * unit, size.into())).and_then(|each| i64::try_from(each).ok())
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
    /// Of these, in jobs during which the web is known never to have moved.
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

/// The coverage of every press of whose web anything is known.
pub fn coverage(ledger: &Ledger) -> Coverages {
    // A job record alone says make-ready; every other state takes a web that is seen.
    let of_web = |slice: &Slice| slice.owner.press_state.is_some_and(|state| state != PressState::MakeReady);
    let press = |slice: &Slice| slice.owner.press.clone();
    let seen: BTreeSet<PressId> =
        ledger.accounts.iter().map(|a| a.slice).filter(|s| of_web(s)).filter_map(press).collect();
    let presses = group(&ledger.accounts, |slice| slice.owner.press.as_ref().filter(|press| seen.contains(*press)));
    let of = |k: usize| presses.of.iter().map(|place| *place == Some(k)).collect::<Vec<_>>();
    presses.keys.iter().enumerate().map(|(k, press)| ((*press).clone(), cover(ledger, &of(k)))).collect()
}

/// The coverage of the press whose accounts are marked.
fn cover(ledger: &Ledger, own: &[bool]) -> Coverage {
    let accounts = || ledger.accounts.iter().zip(own).filter(|(_, own)| **own).map(|(account, _)| account);
    let state = |slice: &Slice| slice.owner.press_state;
    let running = accounts().filter(|a| state(a.slice) == Some(PressState::Running));
    let unseen = accounts().filter(|a| state(a.slice).is_none());
    // Of a job whose web is not known all the time nobody can say that it never moved.
    let moved: BTreeSet<&RunId> = running.chain(unseen).filter_map(|a| a.slice.owner.run.as_ref()).collect();
    let time = |wanted: &dyn Fn(&Slice) -> bool| {
        let wanted: Vec<bool> = ledger.accounts.iter().zip(own).map(|(a, own)| *own && wanted(a.slice)).collect();
        merged(ledger.lines.iter().filter(|line| wanted[line.account]).map(|line| line.slice.usage.period).collect())
    };
    let without_job = time(&|slice| state(slice) == Some(PressState::NoJob));
    let with_job = time(&|slice| state(slice) == Some(PressState::Running));
    Coverage {
        moving: with_job + without_job,
        moving_without_job: without_job,
        booked: time(&|slice| slice.owner.run.is_some()),
        booked_without_web: time(&|slice| slice.owner.run.as_ref().is_some_and(|id| !moved.contains(id))),
        energy_without_job: total(accounts().filter(|a| state(a.slice) == Some(PressState::NoJob))).energy,
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
pub fn jobs<'a>(runs: &'a [Run], accounts: &[Account], coverage: &Coverages, known: Period) -> Vec<Job<'a>> {
    let mut sums: BTreeMap<&RunId, (Sums, Energy, Energy, Energy)> = BTreeMap::new();
    for Account { slice, sums: posted } in accounts {
        let Some(run) = &slice.owner.run else { continue };
        let (all, own, shared, make_ready) = sums.entry(run).or_default();
        *all = *all + *posted;
        match slice.owner.claim {
            Claim::Shared => *shared += posted.energy,
            _ => *own += posted.energy,
        }
        if slice.owner.press_state == Some(PressState::MakeReady) {
            *make_ready += posted.energy;
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
