//! A press at work: which job is on, how the web moves, and what each lamp does, minute by minute.

use super::chance::Chance;
use super::dates;
use super::hall::PRESSES;
use super::job::{Job, jobs};
use super::lamp::{WARM_UP, level, watts};
use crate::attribute::LampState;
use crate::plant::LampKind;
use chrono::{Days, NaiveDate};

/// An arc lamp that is needed again within so many minutes is left on standby: it cannot be restruck hot.
const KEEP_BURNING: i64 = 40;

/// A press at work, stepped forward minute by minute.
#[derive(Debug)]
pub struct PressAtWork {
    press: usize,
    next_day: NaiveDate,
    until: i64,
    manned: Option<(i64, i64)>,
    jobs: Vec<Job>,
    done: usize,
    /// For each station the minutes between which an arc lamp is kept burning.
    burning: Vec<Vec<(i64, i64)>>,
    /// For each station the minute in which its arc lamp was struck.
    struck: Vec<Option<i64>>,
}

/// What a lamp does in a minute.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LampNow {
    /// Its state.
    pub state: LampState,
    /// The level that its supply is set to, in thousandths.
    pub level: i64,
    /// Its draw in watts.
    pub watts: i64,
}

impl PressAtWork {
    /// The press before the production day that begins on a date.
    pub fn before(press: usize, day: NaiveDate) -> Self {
        Self {
            press,
            next_day: day,
            until: i64::MIN,
            manned: None,
            jobs: Vec::new(),
            done: 0,
            burning: Vec::new(),
            struck: vec![None; PRESSES[press].stations()],
        }
    }

    /// Goes to a minute, not before the one it is at.
    pub fn go_to(&mut self, minute: i64) {
        while minute >= self.until {
            let day = self.next_day;
            self.next_day = day + Days::new(1);
            self.until = dates::minute(self.next_day, 6, 0);
            self.manned = dates::manned(self.press, day);
            self.jobs = jobs(self.press, day);
            self.done = 0;
            self.burning = (0..PRESSES[self.press].stations()).map(|s| burning(&self.jobs, s)).collect();
        }
        while self.jobs.get(self.done).is_some_and(|job| job.end() <= minute) {
            self.done += 1;
        }
    }

    /// The job that is on.
    pub fn job(&self, minute: i64) -> Option<&Job> {
        self.jobs.get(self.done).filter(|job| job.start <= minute)
    }

    /// Whether people are at the press.
    pub fn is_manned(&self, minute: i64) -> bool {
        self.manned.is_some_and(|(from, until)| from <= minute && minute < until)
    }

    /// Web speed in millimetres a minute.
    pub fn speed(&self, minute: i64) -> i64 {
        self.job(minute).map_or(0, |job| job.speed_at(minute))
    }

    /// What the lamp of a station does; `left_on` keeps an arc lamp burning that burns.
    pub fn lamp(&mut self, minute: i64, station: usize, kind: LampKind, left_on: bool, chance: &mut Chance) -> LampNow {
        let wanted = kind == LampKind::Arc
            && (self.burning[station].iter().any(|(from, until)| *from <= minute && minute < *until)
                || (left_on && self.struck[station].is_some()));
        self.struck[station] = wanted.then(|| self.struck[station].unwrap_or(minute));
        let warm = self.struck[station].map_or(0, |struck| minute - struck);
        let job = self.job(minute).filter(|job| job.lit >> station & 1 == 1 && job.speed_at(minute) > 0);
        let state = match (kind, wanted, job) {
            (LampKind::Arc, false, _) | (LampKind::Led, _, None) => LampState::Off,
            (LampKind::Arc, true, _) if warm < WARM_UP => LampState::WarmingUp,
            (LampKind::Arc, true, None) => LampState::Standby,
            (_, _, Some(_)) => LampState::Curing,
        };
        let curing = job.map_or(0, |job| if kind == LampKind::Arc { job.arc_level } else { job.led_level });
        let level = level(state, curing);
        let steady = watts(kind, state, level, warm);
        LampNow { state, level, watts: if state == LampState::Off { steady } else { chance.about(steady, 6) } }
    }

    /// Watts of the press beyond its lamps: controls, drives, web guides, exhaust of its own.
    pub fn drives(&self, minute: i64, chance: &mut Chance) -> i64 {
        match self.speed(minute) {
            0 if self.is_manned(minute) => chance.about(1_450, 30),
            0 => 190,
            speed => chance.about(2_700 + speed * 46 / 1_000, 15),
        }
    }
}

/// From when to when an arc lamp of a station is kept burning for a day's jobs.
fn burning(jobs: &[Job], station: usize) -> Vec<(i64, i64)> {
    let mut spans: Vec<(i64, i64)> = Vec::new();
    for job in jobs.iter().filter(|job| job.lit >> station & 1 == 1) {
        let (from, until) = (job.first_move() - WARM_UP - 2, job.end() + 3);
        match spans.last_mut() {
            Some(last) if from - last.1 <= KEEP_BURNING => last.1 = until,
            _ => spans.push((from, until)),
        }
    }
    spans
}
