//! Which of several statements about the same thing is in force. The outcome depends on what was stated, never on
//! the order in which it arrived.

use crate::found::{Found, Issue, Remark};
use crate::readings::{Event, Happening, Rank, Run};
use crate::time::{At, Period};

/// What one source says that a series showed at an instant.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Statement {
    /// Who says so.
    pub rank: Rank,
    /// The clock epoch in which the agent read it; 0 for what it did not read itself.
    pub epoch: u32,
    /// Which version of a correction; 0 for readings and imports.
    pub revision: u32,
    /// The count.
    pub count: i64,
}

/// What holds for a series at an instant.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// This count.
    InForce(i64),
    /// Statements of equal standing differ: these counts, sorted. None is used.
    Contested(Vec<i64>),
    /// Only an older clock epoch says something about a time that a newer one covers.
    Superseded,
}

impl Verdict {
    /// The count, where one is in force.
    pub fn count(&self) -> Option<i64> {
        match self {
            Self::InForce(count) => Some(*count),
            Self::Contested(_) | Self::Superseded => None,
        }
    }
}

/// When the agent's clock epochs began, each by its own clock. Epoch 0 has no beginning.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Epochs {
    /// For each epoch the earliest beginning of a newer one.
    ends: Vec<At>,
}

impl Epochs {
    /// The epochs 1, 2, ... in the order in which the clock was set.
    pub fn new(begins: &[At]) -> Self {
        let mut ends: Vec<At> = begins.to_vec();
        for k in (1..ends.len()).rev() {
            ends[k - 1] = ends[k - 1].min(ends[k]);
        }
        Self { ends }
    }

    /// The newest epoch.
    pub fn newest(&self) -> u32 {
        self.ends.len() as u32
    }

    /// Whether the clock was never set, so that no reading can be superseded.
    pub fn is_single(&self) -> bool {
        self.ends.is_empty()
    }

    /// Whether a reading of an epoch counts: where epochs overlap, the newer one's readings do.
    pub fn counts(&self, epoch: u32, at: At) -> bool {
        self.ends.get(epoch as usize).is_none_or(|end| at < *end)
    }
}

/// What is in force at `at`: the statement of the highest rank, then of the newest epoch, then of the highest
/// revision. Different counts of equal standing are contested.
pub fn verdict(at: At, statements: &[Statement], epochs: &Epochs) -> Verdict {
    let counts = |s: &&Statement| s.rank != Rank::Live || epochs.counts(s.epoch, at);
    let standing = |s: &Statement| (s.rank, s.epoch, s.revision);
    let Some(best) = statements.iter().filter(counts).map(standing).max() else { return Verdict::Superseded };
    let mut said: Vec<i64> = statements.iter().filter(|s| standing(s) == best).map(|s| s.count).collect();
    said.sort_unstable();
    said.dedup();
    match said[..] {
        [count] => Verdict::InForce(count),
        _ => Verdict::Contested(said),
    }
}

/// The events in force among all that were stated, sorted by kind, instant and identity: of each identity the
/// statement of the highest rank, then revision, unless that one withdraws it; of runs, those that no import of the same job overlaps.
pub fn events(mut all: Vec<Event>) -> Found<Vec<Event>> {
    let mut issues = Vec::new();
    all.sort_by(|a, b| identity(a).cmp(&identity(b)).then_with(|| standing(b).cmp(&standing(a))));
    let mut kept: Vec<Event> = Vec::new();
    for same in all.chunk_by(|a, b| identity(a) == identity(b)) {
        let best = &same[0];
        let of_equal_standing = same.iter().take_while(|e| standing(e) == standing(best));
        let mut rivals: Vec<&Event> = Vec::new();
        for event in of_equal_standing.clone() {
            if !rivals.iter().any(|e| e.at == event.at && e.what == event.what) {
                rivals.push(event);
            }
        }
        if rivals.len() == 1 {
            // Of two notes on the same fact either would do; the lesser one does, whichever came first.
            kept.extend(of_equal_standing.min_by(|a, b| a.note.cmp(&b.note)).cloned());
        } else {
            issues.push(contested(&rivals));
        }
    }
    kept.retain(|event| !matches!(event.what, Happening::Withdrawn(_)));
    let imported: Vec<Run> = kept.iter().filter(|e| e.rank > Rank::Live).filter_map(run).cloned().collect();
    kept.retain(|event| {
        event.rank > Rank::Live || run(event).is_none_or(|live| !imported.iter().any(|other| same_job(live, other)))
    });
    kept.sort_by(|a, b| (kind(a), a.at, &a.id).cmp(&(kind(b), b.at, &b.id)));
    Found { value: kept, issues }
}

/// The kind of an event, a word that never changes: it is part of its identity.
pub fn kind(event: &Event) -> &'static str {
    kind_of(&event.what)
}

fn kind_of(what: &Happening) -> &'static str {
    match what {
        Happening::Run(_) => "run",
        Happening::LampFitted { .. } => "lamp",
        Happening::DeviceExchanged { .. } => "device",
        Happening::RatioCorrected { .. } => "ratio",
        Happening::ClockEpoch { .. } => "clock",
        Happening::Adjustment { .. } => "adjustment",
        Happening::StaticFactor { .. } => "static",
        Happening::BoundaryCorrected { .. } => "boundary",
        Happening::Instrument(_) => "instrument",
        Happening::SupplierBill(_) => "bill",
        Happening::Found(_) => "finding",
        Happening::Answered(_) => "answer",
        Happening::Withdrawn(former) => kind_of(former),
    }
}

fn identity(event: &Event) -> (&'static str, &str) {
    (kind(event), &event.id)
}

const fn standing(event: &Event) -> (u8, u32) {
    (event.rank as u8, event.revision)
}

fn run(event: &Event) -> Option<&Run> {
    match &event.what {
        Happening::Run(run) => Some(run),
        _ => None,
    }
}

/// Whether two runs are of one job on one press and overlap.
fn same_job(a: &Run, b: &Run) -> bool {
    let span = |r: &Run| Period::new(r.start, r.end.unwrap_or(At(i64::MAX)));
    a.press == b.press && a.job == b.job && (a.start == b.start || span(a).overlap(span(b)).is_some())
}

fn contested(rivals: &[&Event]) -> Issue {
    let instants = rivals.iter().map(|event| event.at);
    let (first, last) = instants.fold((At(i64::MAX), At(i64::MIN)), |(first, last), at| (first.min(at), last.max(at)));
    Issue {
        remark: Remark::Contested,
        about: format!("{} {}", kind(rivals[0]), rivals[0].id),
        period: Period::new(first, last + 1),
        text: format!("{} statements of equal rank and revision differ; none of them is used", rivals.len()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::names::{PressId, RunId, StationId};
    use proptest::prelude::*;

    const NOON: At = At(1_780_000_000_000);

    fn said(rank: Rank, revision: u32, count: i64) -> Statement {
        Statement { rank, epoch: 0, revision, count }
    }

    fn read(epoch: u32, count: i64) -> Statement {
        Statement { rank: Rank::Live, epoch, revision: 0, count }
    }

    fn job(id: &str, rank: Rank, start: At, end: Option<At>) -> Event {
        let run = Run {
            id: RunId::from(id),
            press: PressId::from("p1"),
            job: "4711".into(),
            product: None,
            start,
            ready: None,
            end,
            width_mm: None,
            planned_mm: None,
            good_mm: None,
        };
        Event { id: id.into(), at: start, rank, revision: 0, what: Happening::Run(run), note: None }
    }

    fn lamp(revision: u32, station: &str) -> Event {
        let what = Happening::LampFitted { station: StationId::from(station), lamp: None };
        Event { id: "e1".into(), at: NOON, rank: Rank::Correction, revision, what, note: None }
    }

    #[test]
    fn the_highest_rank_is_in_force_then_the_highest_revision() {
        let all = [
            said(Rank::Correction, 0, 3),
            said(Rank::Live, 0, 1),
            said(Rank::Correction, 1, 4),
            said(Rank::Import, 0, 2),
        ];
        assert_eq!(verdict(NOON, &all, &Epochs::default()), Verdict::InForce(4));
        assert_eq!(verdict(NOON, &all[..2], &Epochs::default()), Verdict::InForce(3));
    }

    #[test]
    fn different_counts_of_equal_rank_are_contested_until_a_higher_rank_speaks() {
        let both = [said(Rank::Live, 0, 7), said(Rank::Live, 0, 5)];
        assert_eq!(verdict(NOON, &both, &Epochs::default()), Verdict::Contested(vec![5, 7]));
        let settled = [both[0], both[1], said(Rank::Import, 0, 6)];
        assert_eq!(verdict(NOON, &settled, &Epochs::default()), Verdict::InForce(6));
    }

    #[test]
    fn where_clock_epochs_overlap_the_newer_ones_readings_count() {
        // The clock ran an hour fast; at its 14:00 it was set to 13:00, then forward to 13:30.
        let epochs = Epochs::new(&[NOON, NOON + 1_800_000]);
        assert!(epochs.counts(0, NOON - 1));
        assert!(!epochs.counts(0, NOON));
        assert!(epochs.counts(1, NOON + 1_799_999));
        assert!(!epochs.counts(1, NOON + 1_800_000));
        assert_eq!(verdict(NOON, &[read(0, 9)], &epochs), Verdict::Superseded);
        assert_eq!(verdict(NOON, &[read(0, 9), read(1, 8)], &epochs), Verdict::InForce(8));
        // A clock set back twice: the second setting also ends epoch 0.
        assert!(!Epochs::new(&[NOON, NOON - 10]).counts(0, NOON - 5));
    }

    #[test]
    fn an_event_of_higher_revision_replaces_the_one_before() {
        let found = events(vec![lamp(1, "p1/s2"), lamp(0, "p1/s1")]);
        assert_eq!(found, Found::clean(vec![lamp(1, "p1/s2")]));
    }

    #[test]
    fn a_withdrawn_event_is_not_in_force_until_it_is_stated_again() {
        let first = lamp(0, "p1/s1");
        let withdrawn =
            Event { revision: 1, what: Happening::Withdrawn(Box::new(first.what.clone())), ..first.clone() };
        assert_eq!(events(vec![withdrawn.clone(), first.clone()]), Found::clean(Vec::new()));
        let again = lamp(2, "p1/s1");
        assert_eq!(events(vec![first, again.clone(), withdrawn]), Found::clean(vec![again]));
    }

    #[test]
    fn contested_events_are_not_used_and_said() {
        let found = events(vec![lamp(0, "p1/s2"), lamp(0, "p1/s1")]);
        assert!(found.value.is_empty());
        assert_eq!(found.issues[0].about, "lamp e1");
        assert_eq!(found.issues[0].text, "2 statements of equal rank and revision differ; none of them is used");
    }

    #[test]
    fn imported_runs_supersede_live_runs_of_the_same_job_that_they_overlap() {
        let live = job("live-1", Rank::Live, NOON, None);
        let later = job("live-2", Rank::Live, NOON + 90_000, Some(NOON + 95_000));
        let import = job("mis-1", Rank::Import, NOON + 10, Some(NOON + 80_000));
        let found = events(vec![later.clone(), live, import.clone()]);
        assert_eq!(found.value, [import, later]);
    }

    fn stated() -> impl Strategy<Value = Event> {
        let rank = prop::sample::select(vec![Rank::Live, Rank::Import]);
        let run = (0..3, rank, 0_i64..4, 1_i64..4)
            .prop_map(|(id, rank, start, long)| job(&format!("r{id}"), rank, NOON + start, Some(NOON + start + long)));
        prop_oneof![run, (0_u32..2, 0..2).prop_map(|(revision, k)| lamp(revision, ["p1/s1", "p1/s2"][k as usize]))]
    }

    proptest! {
        #[test]
        fn the_order_of_statements_does_not_matter(
            (all, other) in prop::collection::vec(stated(), 0..9)
                .prop_flat_map(|all| (Just(all.clone()), Just(all).prop_shuffle())),
            (counts, shuffled) in prop::collection::vec((0_u32..3, 0_u32..2, 0_i64..3), 1..8)
                .prop_flat_map(|all| (Just(all.clone()), Just(all).prop_shuffle())),
        ) {
            prop_assert_eq!(events(all), events(other));
            let of = |all: &[(u32, u32, i64)]| {
                let ranks = [Rank::Live, Rank::Import, Rank::Correction];
                let statements: Vec<Statement> = all
                    .iter()
                    .map(|&(rank, epoch, count)| Statement { rank: ranks[rank as usize], epoch, revision: 0, count })
                    .collect();
                verdict(NOON, &statements, &Epochs::new(&[NOON - 1]))
            };
            prop_assert_eq!(of(&counts), of(&shuffled));
        }
    }
}
