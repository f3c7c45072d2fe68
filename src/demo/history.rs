//! The history of the invented plant, local day by local day, in bounded memory.

use super::dates::{END, START, ZONE};
use super::hall::{MAIN, PRESSES, SITE, first_station, meter_name, station_name};
use super::happened::{device_exchange, device_exchanges, recorded};
use super::keying;
use super::model::Model;
use super::trouble;
use super::truth::Truth;
use crate::attribute::LampState;
use crate::names::{MeterId, PressId, StationId};
use crate::readings::{Event, Quantity, Reading, Series, Subject};
use crate::time::{At, MINUTE, Period};
use chrono::NaiveDate;

/// The stations of presses 1 and 2 signal state and level of their lamps; at press 3 the bands of its lamps decide.
pub const SIGNALLED: usize = first_station(2);

/// The first column of reactive energy: after those of the meters, the supply and the webs.
const REACTIVE: usize = 2 * SITE + 1 + 2 * PRESSES.len();

/// One local day of the history.
#[derive(Debug)]
pub struct Day {
    /// The date.
    pub date: NaiveDate,
    /// Its readings, in order of time.
    pub readings: Vec<(Series, Vec<Reading>)>,
    /// The events that fall into it.
    pub events: Vec<Event>,
}

/// Gives the days from the first to the last, which ends where live data join.
#[derive(Debug)]
pub struct History {
    model: Model,
    truth: Truth,
    absences: Vec<Vec<Period>>,
    exchanges: Vec<(usize, i64)>,
    /// What each lamp's signals last said: its state and its level.
    said: [Option<(LampState, i64)>; SIGNALLED],
}

impl Default for History {
    fn default() -> Self {
        Self {
            model: Model::default(),
            truth: Truth::default(),
            absences: (0..SITE).map(absences).collect(),
            exchanges: device_exchanges(),
            said: [None; SIGNALLED],
        }
    }
}

impl Iterator for History {
    type Item = Day;

    fn next(&mut self) -> Option<Day> {
        let start = At(self.model.now().minute * MINUTE);
        let date = ZONE.date(start);
        let period = Period::new(start, ZONE.day(date).end.min(END));
        if period.is_empty() {
            return None;
        }
        let mut day = Day { date, readings: columns(), events: recorded(period) };
        self.said = [None; SIGNALLED];
        while self.model.now().minute * MINUTE < period.end.0 {
            self.meters(&mut day);
            self.signals(&mut day);
            self.truth.tally(&self.model);
            self.exchange(&mut day);
            self.model.step();
        }
        day.readings.retain(|(_, readings)| !readings.is_empty());
        Some(day)
    }
}

impl History {
    /// What really happened in the days given so far.
    pub fn truth(&self) -> &Truth {
        &self.truth
    }

    /// The plant at the end of the days given so far, to be stepped on.
    pub fn into_model(self) -> Model {
        self.model
    }

    /// The readings of every meter at the present minute.
    fn meters(&mut self, day: &mut Day) {
        let at = At(self.model.now().minute * MINUTE);
        for (meter, absences) in self.absences.iter().enumerate() {
            if !absences.iter().any(|away| away.contains(at)) {
                day.readings[2 * meter].1.push(Reading { at, count: self.model.import(meter, at) });
                day.readings[2 * meter + 1].1.push(Reading { at, count: self.model.power(meter) });
                if let Some(press) = meter.checked_sub(MAIN).filter(|press| *press < PRESSES.len()) {
                    for (side, count) in self.model.reactive(press, at).into_iter().enumerate() {
                        day.readings[REACTIVE + 2 * press + side].1.push(Reading { at, count });
                    }
                }
            }
        }
        let reading = self.model.half_hour();
        if reading.at == at && at > START {
            let late = trouble::late_supply().contains(at - 1);
            if late { self.truth.late.push(reading) } else { day.readings[2 * SITE].1.push(reading) }
        }
    }

    /// What the presses signal and report in the present minute.
    fn signals(&mut self, day: &mut Day) {
        let (now, at) = (self.model.now(), At(self.model.now().minute * MINUTE));
        for press in 0..PRESSES.len() {
            let first = 2 * SITE + 1 + 2 * press;
            day.readings[first].1.push(Reading { at, count: now.speed[press] });
            day.readings[first + 1].1.push(Reading { at, count: self.model.web(press, at) });
            let begins = self.model.job(press).filter(|job| job.start == now.minute);
            day.events.extend(begins.and_then(|job| keying::reported(press, job, END)).map(keying::event));
        }
        for (station, said) in self.said.iter_mut().enumerate() {
            let (state, level) = (now.lamps[station], now.levels[station]);
            let last = said.replace((state, level));
            let column = REACTIVE + 2 * PRESSES.len() + 2 * station;
            if last.is_none_or(|(last, _)| last != state) {
                day.readings[column].1.push(Reading { at, count: state as i64 });
            }
            // Thousandths of full are tenths of a per cent.
            if last.is_none_or(|(_, last)| last != level) {
                day.readings[column + 1].1.push(Reading { at, count: level });
            }
        }
    }

    /// The exchange of a meter's device that takes effect with the next minute.
    fn exchange(&self, day: &mut Day) {
        let next = self.model.now().minute + 1;
        let due = self.exchanges.iter().filter(|(_, due)| *due == next);
        day.events.extend(due.map(|(meter, _)| device_exchange(&self.model, *meter, At(next * MINUTE))));
    }
}

/// The empty columns of a day, in the order in which they are filled: import and power of every meter, the supply's
/// half hours, speed and length of every press, the reactive energy of its main, state and level of every lamp that is
/// signalled.
fn columns() -> Vec<(Series, Vec<Reading>)> {
    let meter = |k: usize| Subject::Meter(MeterId::from(meter_name(k).as_str()));
    let press = |k: usize| Subject::Press(PressId::from(PRESSES[k].id));
    let station = |k: usize| Subject::Station(StationId::from(station_name(k).as_str()));
    let meters = (0..SITE).flat_map(|k| [Quantity::Import, Quantity::Power].map(|q| Series::new(meter(k), q)));
    let supply = [Series::new(meter(SITE), Quantity::IntervalEnergy)];
    let webs =
        (0..PRESSES.len()).flat_map(|k| [Quantity::Speed, Quantity::WebLength].map(|q| Series::new(press(k), q)));
    let reactive = (MAIN..MAIN + PRESSES.len())
        .flat_map(|k| [Quantity::ReactiveLag, Quantity::ReactiveLead].map(|q| Series::new(meter(k), q)));
    let lamps =
        (0..SIGNALLED).flat_map(|k| [Quantity::LampState, Quantity::LampLevel].map(|q| Series::new(station(k), q)));
    meters
        .chain(supply)
        .chain(webs)
        .chain(reactive)
        .chain(lamps)
        .map(|series| (series, Vec::with_capacity(1_500)))
        .collect()
}

/// When a meter gives no readings.
fn absences(meter: usize) -> Vec<Period> {
    let behind_gateway = meter < first_station(1) || meter == MAIN;
    trouble::exchange(meter).into_iter().chain(behind_gateway.then(trouble::gateway_outage)).collect()
}
