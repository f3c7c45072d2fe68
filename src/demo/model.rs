//! The invented plant minute by minute: one model feeds the history and the live simulated meters.

use super::chance::Chance;
use super::dates::{self, START};
use super::fitting::{Fitting, exchanges};
use super::hall::{CHILLER, FAN, MAIN, METERS, MIXED, PRESSES, SITE, STATIONS, first_station, meter_name};
use super::job::Job;
use super::lamp::{vars, vars_of_drives};
use super::press::PressAtWork;
use super::register::{Register, exchange_minute, first_count, mistake_minute};
use super::trouble;
use crate::attribute::LampState;
use crate::plant::LampKind;
use crate::readings::Reading;
use crate::time::{At, MINUTE};
use chrono::Datelike;

/// A supply interval in milliseconds.
const HALF_HOUR: i64 = 30 * MINUTE;
/// Watts of what nobody meters while nobody works: compressed air, air handling, light, offices. Own estimate for a hall
/// of three presses, no source.
const NIGHT_LOAD: i64 = 4_500;
/// Minutes for which the extraction fan runs on after the last shift or arc lamp.
const RUN_ON: i64 = 10;

/// Watts of the extraction fan at its one speed.
pub const FAN_WATTS: i64 = 4_050;
/// Watts of the chiller for a hundred of arc lamps and of LED lamps.
pub const COOLING: [i64; 2] = [12, 18];

/// What the extraction of presses 2 and 3 is needed for.
#[derive(Clone, Copy, Debug, Default)]
struct Duct {
    /// An arc lamp stands on it, lit or not.
    arc_fitted: bool,
    /// People are at one of the presses, or an arc lamp is lit.
    wanted: bool,
}

/// What holds throughout one minute.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Minute {
    /// Minutes since 1970.
    pub minute: i64,
    /// True watts through every meter.
    pub watts: [i64; METERS],
    /// True vars through the main of every press, inductive above zero.
    pub vars: [i64; PRESSES.len()],
    /// State of every lamp.
    pub lamps: [LampState; STATIONS],
    /// Level of every lamp in thousandths.
    pub levels: [i64; STATIONS],
    /// Kind of every lamp.
    pub kinds: [LampKind; STATIONS],
    /// Web speed of every press in millimetres a minute.
    pub speed: [i64; PRESSES.len()],
    /// Whether people are at each press.
    pub manned: [bool; PRESSES.len()],
    /// Whether the extraction fan rests only because no arc lamp stands on its duct any more.
    pub fan_is_spared: bool,
    /// Whether it runs for a lamp alone, while nobody is at a press.
    pub fan_is_alone: bool,
}

/// The plant, stepped forward minute by minute.
#[derive(Debug)]
pub struct Model {
    presses: Vec<PressAtWork>,
    exchanges: Vec<Fitting>,
    exchanged: usize,
    registers: Vec<Register>,
    /// What the main of each press counted of reactive energy: inductive, and capacitive.
    reactive: [[Register; 2]; PRESSES.len()],
    devices: Vec<Option<i64>>,
    left_on: Vec<(i64, i64)>,
    high_draw_since: i64,
    mistake: i64,
    /// The supply's last whole half hour, and the register's count at its end.
    half_hour: Reading,
    supply: i64,
    web: [i64; PRESSES.len()],
    run_on: i64,
    base: i64,
    chance: Chance,
    now: Minute,
}

impl Default for Model {
    /// The plant at the first instant of its history.
    fn default() -> Self {
        let before = dates::ZONE.date(START).pred_opt().expect("the history begins after the first date");
        let minute = START.0 / MINUTE;
        let mut model = Self {
            presses: (0..PRESSES.len()).map(|p| PressAtWork::before(p, before)).collect(),
            exchanges: exchanges(),
            exchanged: 0,
            registers: (0..METERS).map(Register::of).collect(),
            reactive: std::array::from_fn(|press| [(); 2].map(|()| Register::of(MAIN + press))),
            devices: (0..METERS).map(exchange_minute).collect(),
            left_on: trouble::left_on().map(|p| (p.start.0 / MINUTE, p.end.0 / MINUTE)).collect(),
            high_draw_since: dates::minute(dates::date(trouble::HIGH_DRAW.1), 6, 0),
            mistake: mistake_minute(),
            half_hour: Reading { at: START, count: 0 },
            supply: 0,
            web: [0; PRESSES.len()],
            run_on: 0,
            base: NIGHT_LOAD,
            chance: Chance::of(u64::MAX / 2),
            now: Minute {
                minute,
                watts: [0; METERS],
                vars: [0; PRESSES.len()],
                lamps: [LampState::Off; STATIONS],
                levels: [0; STATIONS],
                kinds: [LampKind::Arc; STATIONS],
                speed: [0; PRESSES.len()],
                manned: [false; PRESSES.len()],
                fan_is_spared: false,
                fan_is_alone: false,
            },
        };
        model.enter(minute);
        model
    }
}

impl Model {
    /// What holds in the present minute.
    pub fn now(&self) -> &Minute {
        &self.now
    }

    /// Goes on to the next minute.
    pub fn step(&mut self) {
        for (register, watts) in self.registers.iter_mut().zip(self.now.watts) {
            register.add(watts * MINUTE);
        }
        for (sides, vars) in self.reactive.iter_mut().zip(self.now.vars) {
            sides[0].add(vars.max(0) * MINUTE);
            sides[1].add((-vars).max(0) * MINUTE);
        }
        for (web, speed) in self.web.iter_mut().zip(self.now.speed) {
            *web += speed;
        }
        self.enter(self.now.minute + 1);
        let at = At(self.now.minute * MINUTE);
        if at.0 % HALF_HOUR == 0 {
            let count = self.import(SITE, at);
            self.half_hour = Reading { at, count: count - std::mem::replace(&mut self.supply, count) };
        }
    }

    /// The supply's last whole half hour, stamped at its end.
    pub fn half_hour(&self) -> Reading {
        self.half_hour
    }

    /// Goes on to the minute that holds an instant; stays where that is past.
    pub fn advance(&mut self, at: At) {
        while self.now.minute < at.0.div_euclid(MINUTE) {
            self.step();
        }
    }

    /// The position of a measuring point among the meters.
    pub fn position(&self, meter: &str) -> Option<usize> {
        (0..METERS).find(|k| meter_name(*k) == meter)
    }

    /// The count of a meter's energy register at an instant of the present minute.
    pub fn import(&self, meter: usize, at: At) -> i64 {
        let since = (at.0 - self.now.minute * MINUTE).clamp(0, MINUTE);
        self.registers[meter].count(self.now.watts[meter] * since)
    }

    /// The counts of the inductive and the capacitive register of a press main at an instant of the present minute.
    pub fn reactive(&self, press: usize, at: At) -> [i64; 2] {
        let since = (at.0 - self.now.minute * MINUTE).clamp(0, MINUTE);
        let [lag, lead] = &self.reactive[press];
        let vars = self.now.vars[press];
        [lag.count(vars.max(0) * since), lead.count((-vars).max(0) * since)]
    }

    /// Watts as a meter shows them.
    pub fn power(&self, meter: usize) -> i64 {
        self.registers[meter].shown(self.now.watts[meter])
    }

    /// Length of web that a press has run at an instant of the present minute, in millimetres.
    pub fn web(&self, press: usize, at: At) -> i64 {
        let since = (at.0 - self.now.minute * MINUTE).clamp(0, MINUTE);
        self.web[press] + self.now.speed[press] * since / MINUTE
    }

    /// The job that is on at a press.
    pub fn job(&self, press: usize) -> Option<&Job> {
        self.presses[press].job(self.now.minute)
    }

    /// Works out what holds in a minute.
    fn enter(&mut self, minute: i64) {
        self.now.minute = minute;
        self.happen(minute);
        let mut lamp_watts = [0; 2];
        let mut duct = Duct::default();
        for (press, hall) in PRESSES.iter().enumerate() {
            let at_work = &mut self.presses[press];
            at_work.go_to(minute);
            let mut sum = at_work.drives(minute, &mut self.chance);
            let mut reactive = vars_of_drives(sum);
            for station in 0..hall.stations() {
                let k = first_station(press) + station;
                let left_on = (press, station) == MIXED && self.left_on.iter().any(|w| w.0 <= minute && minute < w.1);
                let mut lamp = at_work.lamp(minute, station, self.now.kinds[k], left_on, &mut self.chance);
                if k == trouble::HIGH_DRAW.0 && minute >= self.high_draw_since && lamp.state == LampState::Curing {
                    lamp.watts += lamp.watts * trouble::HIGH_DRAW.2 / 1_000;
                }
                (self.now.lamps[k], self.now.levels[k], self.now.watts[k]) = (lamp.state, lamp.level, lamp.watts);
                if press > 0 && self.now.kinds[k] == LampKind::Arc {
                    duct.arc_fitted = true;
                    duct.wanted |= lamp.state != LampState::Off;
                }
                lamp_watts[self.now.kinds[k] as usize] += lamp.watts;
                sum += lamp.watts;
                reactive += vars(self.now.kinds[k], lamp.state, lamp.watts);
            }
            // They hang on the main of the press, lit or not.
            let left_over = press == trouble::CAPACITORS.0 && self.now.kinds[first_station(press)] == LampKind::Led;
            self.now.vars[press] = reactive - if left_over { trouble::CAPACITORS.1 } else { 0 };
            self.now.watts[MAIN + press] = sum;
            self.now.speed[press] = at_work.speed(minute);
            self.now.manned[press] = at_work.is_manned(minute);
            duct.wanted |= press > 0 && self.now.manned[press];
        }
        self.serve(minute, duct, lamp_watts);
    }

    /// Exchanges of lamps and devices that fall into a minute.
    fn happen(&mut self, minute: i64) {
        while let Some(next) = self.exchanges.get(self.exchanged).filter(|f| f.at.0 / MINUTE <= minute) {
            self.now.kinds[next.station] = next.kind;
            self.exchanged += 1;
        }
        for (meter, due) in self.devices.iter().enumerate() {
            if *due == Some(minute) {
                self.registers[meter].exchange(first_count(meter));
            }
        }
        if minute == self.mistake {
            self.registers[trouble::WRONG_RATIO.0].mistake();
            self.reactive[trouble::WRONG_RATIO.0 - MAIN].iter_mut().for_each(Register::mistake);
        }
    }

    /// What serves all presses: the extraction fan of presses 2 and 3, the chiller, and the rest of the site.
    ///
    /// The fan has one speed and one switch: it runs while people are at either press, as long as a single arc lamp
    /// stands on its duct.
    fn serve(&mut self, minute: i64, duct: Duct, [arc, led]: [i64; 2]) {
        self.now.fan_is_spared = duct.wanted && !duct.arc_fitted;
        self.now.fan_is_alone = duct.wanted && !self.now.manned[1..].contains(&true);
        self.run_on = if duct.arc_fitted && duct.wanted { RUN_ON } else { (self.run_on - 1).max(0) };
        self.now.watts[FAN] = if self.run_on > 0 { self.chance.about(FAN_WATTS, 12) } else { 35 };
        let manned = self.now.manned.contains(&true);
        let cooling = if manned { 1_800 } else { 240 } + arc * COOLING[0] / 100 + led * COOLING[1] / 100;
        self.now.watts[CHILLER] = self.chance.about(cooling, 40);
        if minute % 15 == 0 {
            let winter = [5, 5, 4, 2, 1, 0, 0, 0, 1, 3, 4, 5];
            let month = dates::ZONE.local(At(minute * MINUTE)).month0() as usize;
            let rest = NIGHT_LOAD + winter[month] * 700 + if manned { 8_000 } else { 0 };
            self.base = self.chance.about(rest, 60);
        }
        let below: i64 = self.now.watts[MAIN..SITE].iter().sum();
        self.now.watts[SITE] = below + self.chance.about(self.base, 8);
    }
}
