//! What stands in the invented hall. Ratings are common practice (no source): arc 140 W/cm, LED 53 W/cm, lamps of 40 cm.

use crate::plant::LampKind;

/// A press of the invented plant.
#[derive(Debug)]
pub struct Press {
    /// Its name.
    pub id: &'static str,
    /// How many colour stations it has.
    pub inks: usize,
    /// Whether a station for opaque white stands before the colours.
    pub white: bool,
    /// Web speed of an average job on arc lamps, in metres a minute.
    pub arc_speed: i64,
    /// The same on LED.
    pub led_speed: i64,
}

/// The presses.
pub const PRESSES: [Press; 3] = [
    Press { id: "p1", inks: 8, white: true, arc_speed: 62, led_speed: 72 },
    Press { id: "p2", inks: 7, white: true, arc_speed: 58, led_speed: 66 },
    Press { id: "p3", inks: 7, white: false, arc_speed: 55, led_speed: 60 },
];

/// All stations of all presses.
pub const STATIONS: usize = PRESSES[0].stations() + PRESSES[1].stations() + PRESSES[2].stations();
/// Position of the first press main among the meters; the stations stand before it.
pub const MAIN: usize = STATIONS;
/// Position of the extraction fan's meter.
pub const FAN: usize = MAIN + PRESSES.len();
/// Position of the chiller's meter.
pub const CHILLER: usize = FAN + 1;
/// Position of the supply meter of the site.
pub const SITE: usize = CHILLER + 1;
/// All meters.
pub const METERS: usize = SITE + 1;

/// The press and the number within it of the varnish station that keeps its arc lamp.
pub const MIXED: (usize, usize) = (2, PRESSES[2].stations() - 1);

impl Press {
    /// How many stations it has.
    pub const fn stations(&self) -> usize {
        self.inks + self.white as usize + 1
    }
}

/// Position of a press's first station among all stations.
pub const fn first_station(press: usize) -> usize {
    let (mut at, mut before) = (0, 0);
    while before < press {
        at += PRESSES[before].stations();
        before += 1;
    }
    at
}

/// Name of the measuring point at a position.
pub fn meter_name(position: usize) -> String {
    match position {
        FAN => "fan".into(),
        CHILLER => "chiller".into(),
        SITE => "supply".into(),
        _ if position >= MAIN => format!("{}-main", PRESSES[position - MAIN].id),
        _ => station_name(position).replace('/', "-"),
    }
}

/// Name of the station at a position, `press/station`.
pub fn station_name(position: usize) -> String {
    let press = (0..PRESSES.len()).rev().find(|&p| first_station(p) <= position).unwrap_or(0);
    format!("{}/s{}", PRESSES[press].id, position - first_station(press) + 1)
}

/// Rated watts of a lamp: W/cm x 40 cm.
pub const fn rated(kind: LampKind) -> i64 {
    match kind {
        LampKind::Arc => 140 * 40,
        LampKind::Led => 53 * 40,
    }
}
