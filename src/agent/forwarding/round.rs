//! One look at what is due: findings first, as they are few, then readings and quarter hours by day, the oldest first.

use super::Forwarding;
use crate::config::Configuration;
use crate::forward::influx::{AT_ONCE, finding_line};
use crate::store::{Access, ForwardBook, Sent, Store, StoreError};
use crate::time::{At, MINUTE, QUARTER};
use crate::watch::State;
use chrono::NaiveDate;
use std::collections::{BTreeMap, HashSet};
use std::path::PathBuf;
use std::sync::Arc;
use std::time::{Duration, Instant};
use tokio::sync::mpsc;

/// How often it is looked whether something came late for the part of today that was sent. What comes late for another day is noticed
/// at once.
const CHECKED_EVERY: Duration = Duration::from_secs(300);
/// A quarter hour is looked at so long after it ended: what was read at its end is stored by then.
const STORED: i64 = MINUTE;
/// What hashing begins with (FNV-1a, 64 bits: Internet-Draft draft-eastlake-fnv).
pub(super) const SEED: u64 = 0xcbf2_9ce4_8422_2325;

/// A line with the day and the part that it is of.
#[derive(Clone, Debug)]
pub(super) struct Ready {
    pub(super) day: Arc<str>,
    pub(super) part: Arc<str>,
    pub(super) line: String,
}

/// What is to be done, in its order.
#[derive(Debug)]
pub(super) enum Step {
    /// Lines are sent.
    Lines(Vec<Ready>),
    /// Parts of a day have been sent.
    Mark(String, Vec<(String, Sent)>),
    /// A part of a day is sent from its beginning.
    Anew(String, String),
    /// Everything up to a revision has been sent.
    Seen(i64),
}

/// Why a round ended early.
#[derive(Debug)]
pub(super) enum Ended {
    /// Nobody sends any more.
    Stopped,
    /// The store or the book cannot be read.
    Store(StoreError),
}

impl From<StoreError> for Ended {
    fn from(fault: StoreError) -> Self {
        Self::Store(fault)
    }
}

/// What one round leaves to the next.
#[derive(Debug, Default)]
pub(super) struct Carried {
    /// When the sent part of today was compared last, and which day that was.
    checked: Option<(NaiveDate, Instant)>,
    /// The quarter hour in which quarter hours were looked at last.
    quarter: Option<At>,
    /// The lines of today's quarter hours that were sent.
    pub(super) told: (Option<NaiveDate>, HashSet<String>),
}

/// One look.
pub(super) struct Round {
    pub(super) folder: PathBuf,
    /// As written, for the ledgers.
    pub(super) configuration: Arc<Configuration>,
    /// With what was recorded since, for the size of counts.
    pub(super) recorded: Arc<Configuration>,
    pub(super) store: Store,
    pub(super) book: ForwardBook,
    pub(super) now: At,
    findings: Vec<State>,
    out: mpsc::Sender<Step>,
    lines: Vec<Ready>,
    begun: Instant,
    waited: Duration,
}

impl Round {
    pub(super) fn new(forwarding: &Forwarding, out: mpsc::Sender<Step>) -> Result<Self, StoreError> {
        let (now, configuration) = (forwarding.live.now(), forwarding.configuration.clone());
        Ok(Self {
            folder: forwarding.folder.clone(),
            store: Store::open(&forwarding.folder, configuration.plant.zone, Access::Read)?,
            book: ForwardBook::open(&forwarding.folder)?,
            now: forwarding.clock.now(),
            findings: now.findings.wordings().collect(),
            recorded: Arc::new(Configuration { plant: (*now.plant).clone(), ..(*configuration).clone() }),
            configuration,
            out,
            lines: Vec::new(),
            begun: Instant::now(),
            waited: Duration::ZERO,
        })
    }

    pub(super) fn run(&mut self, carried: &mut Carried) -> Result<(), Ended> {
        self.findings()?;
        let today = self.store.zone().date(self.now);
        let fresh = |(day, at): (NaiveDate, Instant)| day == today && at.elapsed() < CHECKED_EVERY;
        let is_checked = !carried.checked.is_some_and(fresh);
        let mut has_past_changed = false;
        if self.configuration.influx.as_ref().is_some_and(|influx| influx.readings) {
            has_past_changed = self.all_readings(today, is_checked)?;
        }
        let quarter = (self.now - STORED).floor(QUARTER);
        if has_past_changed || carried.quarter != Some(quarter) {
            self.quarters(today, quarter, carried)?;
            carried.quarter = Some(quarter);
        }
        if is_checked {
            carried.checked = Some((today, Instant::now()));
        }
        Ok(())
    }

    /// How long it took without the time for which nobody wanted more.
    pub(super) fn busy(&self) -> Duration {
        self.begun.elapsed().saturating_sub(self.waited)
    }

    /// Findings whose words or figures are other than were sent.
    fn findings(&mut self) -> Result<(), Ended> {
        let (plant, day) = (self.configuration.plant.clone(), "");
        let sent = self.book.sent(day)?;
        let mut marks = Vec::new();
        for state in std::mem::take(&mut self.findings) {
            let Some(line) = finding_line(&plant.name, &plant.currency, &state, self.now) else { continue };
            let part = format!("finding {}", state.kept.id);
            let hash = line.bytes().fold(SEED, mixed).to_le_bytes().to_vec();
            if sent.get(&part).is_some_and(|sent| sent.hash == hash) {
                continue;
            }
            self.step(Step::Anew(day.into(), part.clone()))?;
            self.line(&day.into(), &part.as_str().into(), line)?;
            marks.push((part, Sent { hash, ..Sent::default() }));
        }
        self.mark(day, marks)
    }

    /// The subjects of which something changed, by day.
    pub(super) fn touched(&self, seen: i64) -> Result<BTreeMap<NaiveDate, BTreeMap<String, i64>>, StoreError> {
        let mut days: BTreeMap<NaiveDate, BTreeMap<String, i64>> = BTreeMap::new();
        for (day, subject, revision) in self.store.touched_since(seen)? {
            days.entry(day).or_default().insert(subject, revision);
        }
        Ok(days)
    }

    /// Hands a line on, with others.
    pub(super) fn line(&mut self, day: &Arc<str>, part: &Arc<str>, line: String) -> Result<(), Ended> {
        self.lines.push(Ready { day: day.clone(), part: part.clone(), line });
        if self.lines.len() < AT_ONCE { Ok(()) } else { self.flush() }
    }

    /// Notes how far parts of a day were sent, once their lines were.
    pub(super) fn mark(&mut self, day: &str, marks: Vec<(String, Sent)>) -> Result<(), Ended> {
        self.flush()?;
        if marks.is_empty() { Ok(()) } else { self.step(Step::Mark(day.into(), marks)) }
    }

    fn flush(&mut self) -> Result<(), Ended> {
        match std::mem::take(&mut self.lines) {
            lines if lines.is_empty() => Ok(()),
            lines => self.step(Step::Lines(lines)),
        }
    }

    pub(super) fn step(&mut self, step: Step) -> Result<(), Ended> {
        let begun = Instant::now();
        let sent = self.out.blocking_send(step);
        self.waited += begun.elapsed();
        sent.map_err(|_| Ended::Stopped)
    }

    /// Ends the round where nobody sends any more.
    pub(super) fn go_on(&self) -> Result<(), Ended> {
        if self.out.is_closed() { Err(Ended::Stopped) } else { Ok(()) }
    }
}

/// One step of hashing.
pub(super) const fn mixed(hash: u64, byte: u8) -> u64 {
    (hash ^ byte as u64).wrapping_mul(0x0100_0000_01b3)
}
