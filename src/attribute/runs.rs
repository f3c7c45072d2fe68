//! The runs that matter for a period, from the events in force.

use crate::names::PressId;
use crate::readings::{Event, Happening, Rank, Run};
use crate::time::{At, HOUR, Period};
use std::collections::BTreeMap;

/// A run without an end and without a run after it lasts no longer than this.
pub const LONGEST_OPEN: i64 = 24 * HOUR;

/// The runs that touch a period, by their events in force, sorted by press, start and id. A run from a file supersedes
/// the live runs of the same job that it overlaps. A run lasts until the next one on its press starts: one that a later
/// start ended long before the period does not touch it, whatever end is stated.
pub fn runs(events: &[Event], period: Period) -> Vec<Run> {
    let stated: Vec<(Rank, &Run)> = events
        .iter()
        .filter_map(|event| match &event.what {
            Happening::Run(run) => Some((event.rank, run)),
            _ => None,
        })
        .collect();
    let mut jobs: BTreeMap<(&PressId, &str), Vec<(Rank, &Run)>> = BTreeMap::new();
    for &(rank, run) in &stated {
        jobs.entry((&run.press, &run.job)).or_default().push((rank, run));
    }
    let superseded = |rank: Rank, run: &Run| {
        let same = jobs[&(&run.press, run.job.as_str())].iter();
        same.filter(|(higher, _)| *higher > rank).any(|(_, other)| extent(other).overlap(extent(run)).is_some())
    };
    let mut runs: Vec<&Run> =
        stated.iter().filter(|(rank, run)| !superseded(*rank, run)).map(|(_, run)| *run).collect();
    runs.sort_by(|a, b| (&a.press, a.start, &a.id).cmp(&(&b.press, b.start, &b.id)));
    let ended = |(k, run): &(usize, &&Run)| {
        let next = runs.get(k + 1).filter(|next| next.press == run.press).map_or(At(i64::MAX), |next| next.start);
        Period::new(run.start, extent(run).end.min(next)).overlap(period).is_none()
    };
    runs.iter().enumerate().filter(|run| !ended(run)).map(|(_, run)| (**run).clone()).collect()
}

/// From the start of a run to its end as stated.
fn extent(run: &Run) -> Period {
    Period::new(run.start, run.end.unwrap_or(run.start + LONGEST_OPEN).max(run.start + 1))
}
