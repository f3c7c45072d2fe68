//! The runs that are known: which run a job message or a line of a job table speaks of, and what it then looks like.

use crate::names::{PressId, RunId};
use crate::readings::{Event, Happening, Rank, Run};
use crate::sources::{JobMessage, JobStep};
use crate::time::At;
use std::collections::HashMap;

/// Runs by press and job, in the order of their ordinals.
///
/// A run is identified by its source's id, or else as `press/job/ordinal`. Each statement about it is an event of the
/// same identity with the next revision, so that a repeated statement changes nothing and a lost one can be repeated.
#[derive(Clone, Debug, Default)]
pub struct Runs {
    by_job: HashMap<(PressId, String), Vec<Known>>,
}

#[derive(Clone, Debug)]
struct Known {
    run: Run,
    revision: u32,
    rank: Rank,
}

impl Runs {
    /// The runs among the events in force.
    pub fn new<'a>(events: impl IntoIterator<Item = &'a Event>) -> Self {
        let mut runs = Self::default();
        for event in events {
            if let Happening::Run(run) = &event.what {
                let key = (run.press.clone(), run.job.clone());
                let known = Known { run: run.clone(), revision: event.revision, rank: event.rank };
                runs.by_job.entry(key).or_default().push(known);
            }
        }
        runs.by_job.values_mut().for_each(|list| list.sort_by_key(|known| known.run.start));
        runs
    }

    /// What a live message says about a run. `redelivered`: the broker says that it has sent the message before.
    ///
    /// # Errors
    /// What was expected: the start of the run.
    pub fn tell(
        &mut self,
        press: &PressId,
        message: &JobMessage,
        arrived: At,
        redelivered: bool,
    ) -> Result<Event, String> {
        let at = message.at.unwrap_or(arrived);
        let key = (press.clone(), message.job.clone());
        let missing = || format!("a start of job {} on press {press} before it", message.job);
        // A job that nobody began is not kept: numbers that somebody makes up must not fill the memory.
        if !matches!(message.step, JobStep::Start) && !self.by_job.contains_key(&key) {
            return Err(missing());
        }
        let list = self.by_job.entry(key).or_default();
        // A repeated message without a time of its own looks like a new one, but begins nothing.
        let again = redelivered && message.at.is_none();
        let place = list.iter().rposition(|known| {
            let run = &known.run;
            match (&message.id, message.step) {
                (Some(id), _) => run.id.as_str() == id,
                (None, JobStep::Start) => again || run.start == at || run.end.is_none() && run.start < at,
                (None, _) => run.start <= at,
            }
        });
        let place = match (place, message.step) {
            (Some(place), _) => place,
            (None, JobStep::Start) => begin(list, press, message, at),
            (None, _) => return Err(missing()),
        };
        let known = &mut list[place];
        let mut run = known.run.clone();
        match message.step {
            JobStep::Start if message.id.is_some() && message.at.is_some() => run.start = at,
            JobStep::Start => {}
            JobStep::Ready if message.at.is_some() || run.ready.is_none() => run.ready = Some(at),
            JobStep::End if message.at.is_some() || run.end.is_none() => run.end = Some(at),
            JobStep::Ready | JobStep::End => {}
        }
        run.product = message.product.clone().or(run.product);
        run.width_mm = message.width_mm.or(run.width_mm);
        run.planned_mm = message.planned_mm.or(run.planned_mm);
        run.good_mm = message.good_mm.or(run.good_mm);
        Ok(known.state(run, Rank::Live))
    }

    /// What a line of a job table says about a run; `id` is the source's own, where the table has one. A run of the
    /// same job that it overlaps is the same run.
    pub fn import(&mut self, run: Run, id: Option<&str>) -> Event {
        let list = self.by_job.entry((run.press.clone(), run.job.clone())).or_default();
        let overlaps = |other: &Run| {
            let ends_after = |a: &Run, b: &Run| a.end.is_none_or(|end| b.start < end);
            other.start == run.start || ends_after(other, &run) && ends_after(&run, other)
        };
        let place = list.iter().position(|known| match id {
            Some(id) => known.run.id.as_str() == id,
            None => overlaps(&known.run),
        });
        let known = match place {
            Some(place) => &mut list[place],
            None => {
                let id = id.map_or_else(|| next_id(list, &run.press, &run.job), RunId::from);
                list.push(Known { run: Run { id, ..run.clone() }, revision: 0, rank: Rank::Import });
                list.last_mut().expect("one was pushed")
            }
        };
        let run = Run { id: known.run.id.clone(), ..run };
        known.state(run, Rank::Import)
    }
}

impl Known {
    /// The event that states the run; a new revision where it differs from what the same source said before.
    fn state(&mut self, run: Run, rank: Rank) -> Event {
        if rank > self.rank {
            // A source of higher rank speaks for the first time.
            (self.rank, self.revision, self.run) = (rank, 0, run);
        } else if self.run != run {
            self.revision += 1;
            self.run = run;
        }
        Event {
            id: self.run.id.to_string(),
            at: self.run.start,
            rank,
            revision: self.revision,
            what: Happening::Run(self.run.clone()),
            note: None,
        }
    }
}

/// Adds the run that a start message begins; gives its place.
fn begin(list: &mut Vec<Known>, press: &PressId, message: &JobMessage, start: At) -> usize {
    let id = message.id.as_deref().map_or_else(|| next_id(list, press, &message.job), RunId::from);
    let run = Run {
        id,
        press: press.clone(),
        job: message.job.clone(),
        product: message.product.clone(),
        start,
        ready: None,
        end: None,
        width_mm: message.width_mm,
        planned_mm: message.planned_mm,
        good_mm: message.good_mm,
    };
    list.push(Known { run, revision: 0, rank: Rank::Live });
    list.len() - 1
}

/// The next free `press/job/ordinal`.
fn next_id(list: &[Known], press: &PressId, job: &str) -> RunId {
    let prefix = format!("{press}/{job}/");
    let ordinal = |known: &Known| known.run.id.as_str().strip_prefix(&prefix)?.parse::<u32>().ok();
    let last = list.iter().filter_map(ordinal).max().unwrap_or(0);
    RunId::from(format!("{prefix}{}", last + 1).as_str())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn message(step: JobStep, at: Option<i64>) -> JobMessage {
        JobMessage {
            step,
            job: "4711".into(),
            id: None,
            at: at.map(At),
            product: None,
            width_mm: None,
            planned_mm: None,
            good_mm: None,
        }
    }

    fn run(event: &Event) -> (&str, u32, i64, Option<i64>) {
        match &event.what {
            Happening::Run(run) => (&event.id, event.revision, run.start.0, run.end.map(|end| end.0)),
            other => panic!("a run was expected, found {other:?}"),
        }
    }

    #[test]
    fn a_run_grows_by_its_messages_and_keeps_its_identity() {
        let (mut runs, p1) = (Runs::default(), PressId::from("p1"));
        let mut tell = |step, at| runs.tell(&p1, &message(step, Some(at)), At(9_999), false).expect("told");
        assert_eq!(run(&tell(JobStep::Start, 10)), ("p1/4711/1", 0, 10, None));
        assert_eq!(run(&tell(JobStep::Ready, 15)), ("p1/4711/1", 1, 10, None));
        assert_eq!(run(&tell(JobStep::End, 20)), ("p1/4711/1", 2, 10, Some(20)));
        assert_eq!(run(&tell(JobStep::Start, 30)), ("p1/4711/2", 0, 30, None));
        assert_eq!(run(&tell(JobStep::End, 40)), ("p1/4711/2", 1, 30, Some(40)));
    }

    #[test]
    fn repeated_messages_change_nothing() {
        let (mut runs, p1) = (Runs::default(), PressId::from("p1"));
        for redelivered in [false, true, true] {
            let event = runs.tell(&p1, &message(JobStep::Start, None), At(10), redelivered).expect("told");
            assert_eq!(run(&event), ("p1/4711/1", 0, 10, None));
        }
        for (arrived, redelivered) in [(20, false), (25, true)] {
            let event = runs.tell(&p1, &message(JobStep::End, None), At(arrived), redelivered).expect("told");
            assert_eq!(run(&event), ("p1/4711/1", 1, 10, Some(20)));
        }
        let event = runs.tell(&p1, &message(JobStep::Start, None), At(26), true).expect("told");
        assert_eq!(run(&event), ("p1/4711/1", 1, 10, Some(20)));
    }

    #[test]
    fn runs_go_on_after_a_restart() {
        let (mut runs, p1) = (Runs::default(), PressId::from("p1"));
        let start = runs.tell(&p1, &message(JobStep::Start, Some(10)), At(10), false).expect("told");
        let mut after = Runs::new([&start]);
        let end = after.tell(&p1, &message(JobStep::End, Some(20)), At(20), false).expect("told");
        assert_eq!(run(&end), ("p1/4711/1", 1, 10, Some(20)));
    }

    #[test]
    fn an_end_without_a_start_is_refused() {
        let told = Runs::default().tell(&PressId::from("p1"), &message(JobStep::End, Some(5)), At(5), false);
        assert_eq!(told, Err("a start of job 4711 on press p1 before it".to_owned()));
    }

    #[test]
    fn an_import_speaks_of_the_live_run_that_it_overlaps() {
        let (mut runs, p1) = (Runs::default(), PressId::from("p1"));
        let start = runs.tell(&p1, &message(JobStep::Start, Some(10)), At(10), false).expect("told");
        let Happening::Run(live) = start.what else { panic!("a run") };
        let line = Run { id: "".into(), start: At(8), end: Some(At(20)), ..live };
        let first = runs.import(line.clone(), None);
        assert_eq!((run(&first), first.rank), (("p1/4711/1", 0, 8, Some(20)), Rank::Import));
        assert_eq!(runs.import(line.clone(), None), first);
        let corrected = runs.import(Run { end: Some(At(21)), ..line.clone() }, None);
        assert_eq!(run(&corrected), ("p1/4711/1", 1, 8, Some(21)));
        let later = runs.import(Run { start: At(30), end: Some(At(40)), ..line }, None);
        assert_eq!(run(&later), ("p1/4711/2", 0, 30, Some(40)));
    }
}
