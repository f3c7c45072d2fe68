//! The truth file: JSON for people and tests.

use super::capacity::CapacityRow;
use super::saving::{LoadRow, SavingRow};
use super::{Sums, Truth};
use crate::demo::dates::{self, END, START, ZONE};
use crate::demo::hall::{METERS, PRESSES, SITE, meter_name, station_name};
use crate::demo::trouble;
use crate::plant::LampKind;
use crate::time::{At, MINUTE};
use serde::Serialize;
use std::collections::BTreeMap;

/// The truth file.
#[derive(Serialize)]
struct File {
    about: &'static str,
    from: String,
    until: String,
    troubles: Vec<Planted>,
    what_the_bridge_should_find: Bridge,
    what_capacity_should_find: Powers,
    months: BTreeMap<String, Rows>,
}

/// The saving of the conversion.
#[derive(Serialize)]
struct Bridge {
    about: &'static str,
    press: BTreeMap<&'static str, SavingRow>,
    load: BTreeMap<&'static str, LoadRow>,
}

/// Apparent power before and after the conversion.
#[derive(Serialize)]
struct Powers {
    about: &'static str,
    press: BTreeMap<&'static str, CapacityRow>,
    together: CapacityRow,
}

/// One planted trouble.
#[derive(Serialize)]
struct Planted {
    trouble: &'static str,
    about: String,
    from: String,
    until: Option<String>,
    what: String,
    /// Energy that it cost within the history.
    wh: Option<i64>,
}

/// One month.
#[derive(Serialize)]
struct Rows {
    meter_wh: BTreeMap<String, i64>,
    press: BTreeMap<&'static str, PressRow>,
    lamps: Vec<LampRow>,
}

/// What a press did in a month.
#[derive(Serialize)]
struct PressRow {
    manned_minutes: i64,
    moving_minutes: i64,
    web_m: i64,
    jobs: i64,
}

/// What a station's lamp of one kind drew in one state in a month.
#[derive(Serialize)]
struct LampRow {
    station: String,
    lamp: &'static str,
    state: &'static str,
    minutes: i64,
    wh: i64,
}

impl Sums {
    fn rows(&self) -> Rows {
        let press = |p: usize| PressRow {
            manned_minutes: self.manned[p],
            moving_minutes: self.moving[p],
            web_m: self.web[p] / 1_000,
            jobs: self.jobs[p],
        };
        let states = ["off", "warming-up", "standby", "curing"];
        let mut lamps = Vec::new();
        for (station, kinds) in self.lamps.iter().enumerate() {
            for (kind, sums) in LampKind::ALL.into_iter().zip(kinds) {
                for (state, (energy, minutes)) in states.into_iter().zip(*sums).filter(|(_, (_, minutes))| *minutes > 0)
                {
                    let station = station_name(station);
                    lamps.push(LampRow { station, lamp: kind.word(), state, minutes, wh: energy / 60 });
                }
            }
        }
        Rows {
            meter_wh: (0..METERS).map(|k| (meter_name(k), self.meters[k] / 60)).collect(),
            press: (0..PRESSES.len()).map(|p| (PRESSES[p].id, press(p))).collect(),
            lamps,
        }
    }
}

impl Truth {
    /// The truth file: JSON, with every planted trouble and the true sums of each month.
    pub fn json(&self) -> String {
        let file = File {
            about: "What really happened in the invented plant. Nothing in Inkwatt reads this file.",
            from: ZONE.stamp(START),
            until: ZONE.stamp(END),
            troubles: self.planted(),
            what_the_bridge_should_find: Bridge {
                about: "What the LED lamps of the converted stations did, and what arc lamps would have done for the same \
                        web in the same jobs at the speed of the arc lamps.",
                press: (0..PRESSES.len()).map(|p| (PRESSES[p].id, self.saving.row(p))).collect(),
                load: self.saving.loads().into(),
            },
            what_capacity_should_find: Powers {
                about: "The highest apparent power at the press mains, quarter hour by quarter hour, at as many stations \
                        lit before and after.",
                press: (0..PRESSES.len()).map(|p| (PRESSES[p].id, self.capacity.row(p))).collect(),
                together: self.capacity.together(),
            },
            months: self.months.iter().map(|(month, sums)| (month.to_string(), sums.rows())).collect(),
        };
        let mut text = serde_json::to_string_pretty(&file).expect("texts and whole numbers are JSON");
        text.push('\n');
        text
    }

    /// Every planted trouble.
    fn planted(&self) -> Vec<Planted> {
        let line = |trouble, about: &str, from: At, until: Option<At>, what: &str, wh: Option<i64>| Planted {
            trouble,
            about: about.into(),
            from: ZONE.stamp(from),
            until: until.map(|at| ZONE.stamp(at)),
            what: what.into(),
            wh,
        };
        let exchange =
            |(meter, day), what| line("meter exchanged", &meter_name(meter), dates::at(day, 12, 20), None, what, None);
        let accepted = dates::at(dates::ACCEPTED, 0, 0);
        let mut planted = vec![
            line(
                "draws above its baseline",
                &station_name(trouble::HIGH_DRAW.0),
                dates::at(trouble::HIGH_DRAW.1, 6, 0),
                None,
                "16 % more while curing, at the same level",
                Some(self.high_draw / 60),
            ),
            exchange(trouble::EXCHANGED, "both counts read"),
            exchange(trouble::EXCHANGED_UNREAD, "no count read: what was drawn in between cannot be known"),
            line(
                "wrong ratio",
                &meter_name(trouble::WRONG_RATIO.0),
                trouble::wrong_ratio_since(),
                None,
                "transformers 250/5, meter programmed for 200/5: it shows 0.8 of the truth; a recorded event corrects it",
                None,
            ),
            line(
                "gateway away",
                "all meters of p1",
                trouble::gateway_outage().start,
                Some(trouble::gateway_outage().end),
                "nine hours without readings; the registers went on counting",
                None,
            ),
            line(
                "late data",
                &meter_name(SITE),
                trouble::late_supply().start,
                Some(trouble::late_supply().end),
                "the supply's half hours of three days come in late/supply.csv",
                Some(self.late.iter().map(|r| r.count * 100).sum()),
            ),
            line(
                "fewer hours",
                "p1, p2",
                accepted,
                None,
                "p1 gave up Friday's late shift, p2 two of four nights",
                None,
            ),
            line(
                "extraction goes on",
                "fan",
                accepted,
                None,
                "one arc lamp stays on its duct: it runs whenever p2 or p3 is manned, though the promise lets it stop",
                None,
            ),
            line(
                "higher speed",
                "p1, p2, p3",
                accepted,
                None,
                "average job speed 62, 58, 55 before; 72, 66, 60 m/min after",
                None,
            ),
        ];
        let (press, vars) = trouble::CAPACITORS;
        planted.push(line(
            "capacitors left over",
            PRESSES[press].id,
            At(dates::converted(press) * MINUTE),
            None,
            &format!("{vars} vars sized for the ballasts stay on the main: the power factor leads at light load"),
            None,
        ));
        planted.extend(trouble::left_on().zip(self.left_on).map(|(p, energy)| {
            let about = station_name(trouble::mixed_station());
            line(
                "left on at the weekend",
                &about,
                p.start,
                Some(p.end),
                "arc lamp on standby from Friday's last job to Monday 05:30",
                Some(energy / 60),
            )
        }));
        planted.extend(self.rolled_over.map(|at| {
            line(
                "rolled over",
                &meter_name(trouble::ROLLS_OVER),
                at,
                None,
                "register back to zero after 99,999,999 Wh",
                None,
            )
        }));
        planted
    }
}
