//! The truth of the invented plant: what really happened, added up month by month.

mod capacity;
mod file;
mod saving;

use super::dates::{self, ZONE};
use super::hall::{METERS, PRESSES, STATIONS, meter_name};
use super::model::{Minute, Model};
use super::trouble;
use crate::attribute::LampState;
use crate::readings::Reading;
use crate::time::{At, MINUTE, Month, Period};
use std::collections::BTreeMap;

/// What happened, added up minute by minute.
#[derive(Debug, Default)]
pub struct Truth {
    months: BTreeMap<Month, Sums>,
    present: Option<(Month, Period)>,
    high_draw: i64,
    left_on: [i64; trouble::LEFT_ON.len()],
    rolled_over: Option<At>,
    last_count: i64,
    saving: saving::Saving,
    capacity: capacity::Capacity,
    /// Supply readings that were held back, to be imported later.
    pub late: Vec<Reading>,
}

/// Sums of a month, in watt-minutes, minutes and millimetres.
#[derive(Debug)]
pub struct Sums {
    meters: [i64; METERS],
    lamps: Vec<[[(i64, i64); 4]; 2]>,
    web: [i64; PRESSES.len()],
    moving: [i64; PRESSES.len()],
    manned: [i64; PRESSES.len()],
    jobs: [i64; PRESSES.len()],
}

impl Default for Sums {
    fn default() -> Self {
        Self {
            meters: [0; METERS],
            lamps: vec![[[(0, 0); 4]; 2]; STATIONS],
            web: [0; PRESSES.len()],
            moving: [0; PRESSES.len()],
            manned: [0; PRESSES.len()],
            jobs: [0; PRESSES.len()],
        }
    }
}

impl Truth {
    /// Adds the present minute of the plant.
    pub fn tally(&mut self, model: &Model) {
        let now = model.now();
        let at = At(now.minute * MINUTE);
        if !self.present.is_some_and(|(_, period)| period.contains(at)) {
            let month = Month::of(ZONE.date(at));
            self.present = Some((month, ZONE.month(month)));
        }
        let Some((month, _)) = self.present else { return };
        let sums = self.months.entry(month).or_default();
        for (sum, watts) in sums.meters.iter_mut().zip(now.watts) {
            *sum += watts;
        }
        for (k, states) in sums.lamps.iter_mut().enumerate() {
            let (energy, minutes) = &mut states[now.kinds[k] as usize][now.lamps[k] as usize];
            *energy += now.watts[k];
            *minutes += 1;
        }
        for press in 0..PRESSES.len() {
            sums.web[press] += now.speed[press];
            sums.moving[press] += i64::from(now.speed[press] > 0);
            sums.manned[press] += i64::from(now.manned[press]);
            sums.jobs[press] += i64::from(model.job(press).is_some_and(|job| job.start == now.minute));
        }
        self.saving.tally(model);
        self.capacity.tally(model);
        self.troubles(model, now, at);
    }

    /// What the planted troubles cost in a minute.
    fn troubles(&mut self, model: &Model, now: &Minute, at: At) {
        let (station, since, more) = trouble::HIGH_DRAW;
        if now.lamps[station] == LampState::Curing && at >= dates::at(since, 6, 0) {
            self.high_draw += now.watts[station] * more / (1_000 + more);
        }
        let mixed = trouble::mixed_station();
        if now.lamps[mixed] != LampState::Off && !now.manned[super::hall::MIXED.0] {
            let weekend = trouble::left_on().position(|weekend| weekend.contains(at));
            self.left_on[weekend.expect("only a planted trouble lights a lamp at an unmanned press")] +=
                now.watts[mixed];
        }
        let count = model.import(trouble::ROLLS_OVER, at);
        if count < self.last_count {
            self.rolled_over = Some(at);
        }
        self.last_count = count;
    }

    /// The sums of a month; `None` outside the history.
    pub fn month(&self, month: Month) -> Option<&Sums> {
        self.months.get(&month)
    }
}

impl Sums {
    /// Watt-hours through a meter.
    pub fn meter_wh(&self, meter: &str) -> Option<i64> {
        (0..METERS).find(|k| meter_name(*k) == meter).map(|k| self.meters[k] / 60)
    }

    /// Metres of web run by a press.
    pub fn web_m(&self, press: &str) -> Option<i64> {
        (0..PRESSES.len()).find(|p| PRESSES[*p].id == press).map(|p| self.web[p] / 1_000)
    }
}
