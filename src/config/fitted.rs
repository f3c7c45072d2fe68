//! Checks of the lamps in their stations.

use super::hall::ReadPress;
use crate::plant::{Bands, Clash, Lamp, LampKind, clashes};

/// Notes lamps that stand in two places at once, and bands that cannot decide.
pub fn check(presses: &[ReadPress<'_>], lamps: &[Lamp], kind_is_signalled: bool) {
    one_place(presses);
    if !kind_is_signalled {
        presses.iter().for_each(|press| bands(press, lamps));
    }
}

/// A lamp is one thing and stands in one place.
fn one_place(presses: &[ReadPress<'_>]) {
    let stations = || presses.iter().flat_map(|read| read.stations.iter().zip(&read.press.stations));
    for Clash { lamp, first, second, .. } in clashes(stations().map(|(_, station)| station)) {
        let (first, second) = (first.0, second.0);
        if let Some((section, _)) = stations().find(|(_, station)| station.id == *second) {
            section.say_help(
                "lamp",
                &format!("lamp \"{lamp}\" stands in station \"{first}\" at the same time"),
                "give the instants of the exchange with since, or correct one of the two",
            );
        }
    }
}

/// On a press with both kinds, a station whose lamp nobody states cannot be judged by its draw where an LED at work
/// draws no more than an arc lamp on standby.
fn bands(read: &ReadPress<'_>, lamps: &[Lamp]) {
    let fitted: Vec<&Lamp> = read
        .press
        .stations
        .iter()
        .flat_map(|station| station.fitted.iter())
        .filter_map(|(_, lamp)| lamps.iter().find(|known| Some(&known.id) == lamp.as_ref()))
        .collect();
    let of = |kind: LampKind| fitted.iter().find(|lamp| lamp.kind == kind).map(|lamp| lamp.bands);
    let (Some(arc), Some(led)) = (of(LampKind::Arc), of(LampKind::Led)) else { return };
    for (section, _) in read.stations.iter().zip(&read.press.stations).filter(|(_, s)| s.fitted.is_empty()) {
        if overlap(arc, led) {
            section.say_help(
                "id",
                &format!(
                    "nobody states which kind of lamp is fitted, and its draw cannot tell: from {} W on an LED lamp \
                     cures, up to {} W an arc lamp is on standby",
                    led.curing, arc.curing
                ),
                "write lamp, or map a topic with is = \"lamp-kind\"",
            );
        }
    }
}

/// Whether a draw may mean an LED that cures or an arc lamp on standby.
const fn overlap(arc: Bands, led: Bands) -> bool {
    led.curing < arc.curing
}
