//! Which lamp is fitted where and when.

use super::dates::{at, converted};
use super::hall::{PRESSES, STATIONS, first_station};
use super::trouble::mixed_station;
use crate::plant::LampKind;
use crate::time::{At, MINUTE};

/// A lamp is fitted to a station at an instant.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fitting {
    /// When.
    pub at: At,
    /// Position of the station.
    pub station: usize,
    /// The lamp's name in the plant.
    pub lamp: String,
    /// Its kind.
    pub kind: LampKind,
}

/// The name of a lamp that belongs to a station.
pub fn lamp_name(kind: LampKind, station: usize) -> String {
    format!("{}-{}", kind.word(), super::hall::station_name(station).replace('/', "-"))
}

/// Every exchange of the history, in order of time: the conversion, then the varnish lamp of the mixed press, which is
/// an LED array for some jobs and once goes to and fro within a day.
pub fn exchanges() -> Vec<Fitting> {
    let fitting =
        |at: At, station: usize, kind: LampKind| Fitting { at, station, lamp: lamp_name(kind, station), kind };
    let mixed = mixed_station();
    let conversion = (0..STATIONS).filter(|s| *s != mixed).map(|station| {
        let press = (0..PRESSES.len()).rev().find(|p| first_station(*p) <= station).unwrap_or(0);
        fitting(At(converted(press) * MINUTE), station, LampKind::Led)
    });
    let varnish = [
        (at((2026, 3, 10), 5, 40), LampKind::Led),
        (at((2026, 3, 13), 5, 45), LampKind::Arc),
        (at((2026, 4, 21), 9, 5), LampKind::Led),
        (at((2026, 4, 21), 15, 20), LampKind::Arc),
        (at((2026, 6, 2), 5, 35), LampKind::Led),
        (at((2026, 6, 5), 5, 50), LampKind::Arc),
    ];
    conversion.chain(varnish.map(|(at, kind)| fitting(at, mixed, kind))).collect()
}
