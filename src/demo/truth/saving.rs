//! What the conversion really saved: what the bridge should find.
//!
//! Beside each press stands one that kept its arc lamps and prints the same jobs at the same times. Printing takes it as
//! many times as long as LED is faster, so that the same web comes of it at the speed of the baseline; its stops come once
//! in so many printed minutes at either speed, and so are as many times more. Make-ready is the same on either.

use crate::attribute::LampState;
use crate::demo::chance::Chance;
use crate::demo::dates::{ACCEPTED, END, ZONE, at, date};
use crate::demo::hall::{MIXED, PRESSES, first_station};
use crate::demo::model::{COOLING, FAN_WATTS, Model};
use crate::demo::press::PressAtWork;
use crate::plant::LampKind;
use crate::time::{At, MINUTE, Period};
use serde::Serialize;

/// The savings of all presses, added up minute by minute over the whole days since the acceptance.
#[derive(Debug)]
pub struct Saving {
    period: Period,
    kept: Vec<PressAtWork>,
    chance: Chance,
    sums: [Sums; PRESSES.len()],
    /// Minutes in which the fan would run, had the arc lamps on its duct stayed.
    fan_spared: i64,
    /// Minutes in which it ran for a lamp that was left on.
    fan_alone: i64,
}

/// Lamps in a state.
#[derive(Clone, Copy, Debug, Default)]
struct Lamps {
    watt_minutes: i64,
    minutes: i64,
    /// Thousandths of full level, times minutes.
    levels: i64,
}

/// Sums of a press.
#[derive(Clone, Copy, Debug, Default)]
struct Sums {
    minutes: i64,
    /// Minutes in which any lamp cured.
    cured: i64,
    led_curing: Lamps,
    led_other: Lamps,
    /// While printing: taken in the end for as long as it would have lasted.
    arc_printing: Lamps,
    /// Standing by while printing: in stops of the web.
    arc_stopped: Lamps,
    arc_make_ready: Lamps,
    arc_standby: Lamps,
    arc_off: Lamps,
}

/// The true factors of a press's saving. Minutes are those of lamps, all converted stations together.
#[derive(Serialize)]
pub struct SavingRow {
    from: String,
    until: String,
    minutes: i64,
    stations: i64,
    minutes_in_which_any_lamp_cured: i64,
    led_curing: StateRow,
    led_other: StateRow,
    arc_curing: StateRow,
    arc_standby: StateRow,
    arc_off: StateRow,
    avoided_wh: i64,
}

/// What a shared load was really spared.
#[derive(Serialize)]
pub struct LoadRow {
    /// For want of arc lamps.
    avoided_wh: i64,
    /// What it drew while nobody was there.
    for_lamps_left_on_wh: i64,
}

/// Lamps in a state; warm-up is standby.
#[derive(Serialize)]
struct StateRow {
    minutes: i64,
    wh: i64,
    /// Mean level in thousandths.
    #[serde(skip_serializing_if = "Option::is_none")]
    level: Option<f64>,
}

/// Arc lamps as they would have cured, stood by and rested, and all that the LED lamps drew.
struct Drawn {
    curing: Lamps,
    standby: Lamps,
    off: Lamps,
    led: Lamps,
}

impl Drawn {
    fn arc(&self) -> Lamps {
        self.curing.plus(self.standby).plus(self.off)
    }

    fn avoided_wh(&self) -> i64 {
        (self.arc().watt_minutes - self.led.watt_minutes) / 60
    }
}

impl Default for Saving {
    fn default() -> Self {
        let eve = date(ACCEPTED).pred_opt().expect("no constant is the first of all dates");
        Self {
            period: Period::new(at(ACCEPTED, 0, 0), ZONE.day(ZONE.date(END)).start),
            kept: (0..PRESSES.len()).map(|press| PressAtWork::before(press, eve)).collect(),
            chance: Chance::of(u64::MAX / 3),
            sums: [Sums::default(); PRESSES.len()],
            fan_spared: 0,
            fan_alone: 0,
        }
    }
}

impl Saving {
    /// Adds the present minute of the plant.
    pub fn tally(&mut self, model: &Model) {
        let now = model.now();
        if !self.period.contains(At(now.minute * MINUTE)) {
            return;
        }
        self.fan_spared += i64::from(now.fan_is_spared);
        self.fan_alone += i64::from(now.fan_is_alone);
        for (press, (kept, sums)) in self.kept.iter_mut().zip(&mut self.sums).enumerate() {
            kept.go_to(now.minute);
            let job = model.job(press);
            let prints = job.is_some_and(|job| job.ready <= now.minute);
            let (arc_level, led_level) = job.map_or((0, 0), |job| (job.arc_level, job.led_level));
            let mut cures = false;
            for station in (0..PRESSES[press].stations()).filter(|station| (press, *station) != MIXED) {
                let k = first_station(press) + station;
                let is_curing = now.lamps[k] == LampState::Curing;
                cures |= is_curing;
                let led = if is_curing { &mut sums.led_curing } else { &mut sums.led_other };
                led.add(now.watts[k], led_level);
                let arc = kept.lamp(now.minute, station, LampKind::Arc, false, &mut self.chance);
                let sum = match arc.state {
                    LampState::Curing if prints => &mut sums.arc_printing,
                    LampState::Curing => &mut sums.arc_make_ready,
                    LampState::Standby if prints => &mut sums.arc_stopped,
                    LampState::Standby | LampState::WarmingUp => &mut sums.arc_standby,
                    LampState::Off => &mut sums.arc_off,
                };
                sum.add(arc.watts, arc_level);
            }
            sums.minutes += 1;
            sums.cured += i64::from(cures);
        }
    }

    /// What the extraction fan was really spared, and the chiller by all presses, in watt-hours.
    pub fn loads(&self) -> [(&'static str, LoadRow); 2] {
        let cooled: i64 = (0..PRESSES.len())
            .map(|press| {
                let drawn = self.drawn(press);
                drawn.arc().watt_minutes * COOLING[0] - drawn.led.watt_minutes * COOLING[1]
            })
            .sum();
        [
            ("chiller", LoadRow { avoided_wh: cooled / 100 / 60, for_lamps_left_on_wh: 0 }),
            (
                "fan",
                LoadRow {
                    avoided_wh: self.fan_spared * FAN_WATTS / 60,
                    for_lamps_left_on_wh: self.fan_alone * FAN_WATTS / 60,
                },
            ),
        ]
    }

    fn drawn(&self, press: usize) -> Drawn {
        let (sums, hall) = (&self.sums[press], &PRESSES[press]);
        let slower = |lamps: Lamps| lamps.times(hall.led_speed, hall.arc_speed);
        let curing = slower(sums.arc_printing).plus(sums.arc_make_ready);
        let standby = slower(sums.arc_stopped).plus(sums.arc_standby);
        let off = sums.minutes * converted(press) - curing.minutes - standby.minutes;
        let off = sums.arc_off.times(off, sums.arc_off.minutes);
        Drawn { curing, standby, off, led: sums.led_curing.plus(sums.led_other) }
    }

    /// The true factors of a press.
    pub fn row(&self, press: usize) -> SavingRow {
        let sums = &self.sums[press];
        let drawn = self.drawn(press);
        SavingRow {
            from: ZONE.stamp(self.period.start),
            until: ZONE.stamp(self.period.end),
            minutes: sums.minutes,
            stations: converted(press),
            minutes_in_which_any_lamp_cured: sums.cured,
            led_curing: sums.led_curing.row(true),
            led_other: sums.led_other.row(false),
            arc_curing: drawn.curing.row(true),
            arc_standby: drawn.standby.row(false),
            arc_off: drawn.off.row(false),
            avoided_wh: drawn.avoided_wh(),
        }
    }
}

/// How many stations of a press were converted.
const fn converted(press: usize) -> i64 {
    (PRESSES[press].stations() - (press == MIXED.0) as usize) as i64
}

impl Lamps {
    fn add(&mut self, watts: i64, level: i64) {
        self.watt_minutes += watts;
        self.minutes += 1;
        self.levels += level;
    }

    fn plus(self, other: Self) -> Self {
        Self {
            watt_minutes: self.watt_minutes + other.watt_minutes,
            minutes: self.minutes + other.minutes,
            levels: self.levels + other.levels,
        }
    }

    fn times(self, above: i64, below: i64) -> Self {
        let times = |sum: i64| sum * above / below;
        Self { watt_minutes: times(self.watt_minutes), minutes: times(self.minutes), levels: times(self.levels) }
    }

    fn row(self, has_level: bool) -> StateRow {
        let level = has_level.then(|| self.levels as f64 / self.minutes as f64);
        StateRow { minutes: self.minutes, wh: self.watt_minutes / 60, level }
    }
}
