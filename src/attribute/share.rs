//! How the energy of a shared load is charged to the presses that it serves.

use crate::attribute::books::Books;
use crate::attribute::track::time_of;
use crate::attribute::{LampState, Part};
use crate::plant::{Covers, Press, ShareRule, SharedLoad, Station};
use crate::time::Period;

/// What each press served weighs in a period within which no lamp is exchanged, in the order of their ids; `None` where
/// what the rule asks for is not known of one of them.
pub fn weights(books: &Books, load: &SharedLoad, period: Period) -> Option<Vec<i128>> {
    load.serves.iter().map(|id| weight(books, load, books.plant.press(id)?, period)).collect()
}

fn weight(books: &Books, load: &SharedLoad, press: &Press, period: Period) -> Option<i128> {
    let stations: Vec<&Station> = press.stations.iter().filter(|s| counts(books, load, s, period)).collect();
    if load.only.is_some() && stations.is_empty() {
        return Some(0);
    }
    match load.rule {
        ShareRule::Equal => Some(1),
        ShareRule::Energy => energy(books, press, &stations, period),
        ShareRule::LampTime => {
            let line = |s: &&Station| &books.timeline.stations[&s.id].state;
            let known: i64 = stations.iter().map(|s| time_of(line(s), period, Option::is_some)).sum();
            let lit = |state: &Option<LampState>| state.is_some_and(|state| state != LampState::Off);
            let time: i64 = stations.iter().map(|s| time_of(line(s), period, lit)).sum();
            (known > 0).then_some(time.into())
        }
        ShareRule::WebTime => {
            let moving = &books.timeline.presses[&press.id].moving;
            let known = time_of(moving, period, Option::is_some);
            (known > 0).then(|| time_of(moving, period, |moves| *moves == Some(true)).into())
        }
    }
}

/// Whether a station counts towards the rule: any, or those with a lamp of the kind that needs the load.
fn counts(books: &Books, load: &SharedLoad, station: &Station, period: Period) -> bool {
    let fitted = books.timeline.stations[&station.id].kind.at(period.start).copied().flatten();
    load.only.is_none_or(|kind| fitted == Some(kind))
}

/// The energy of the stations; of the press as a whole where no station has a meter and all of them count.
fn energy(books: &Books, press: &Press, stations: &[&Station], period: Period) -> Option<i128> {
    let metered = |covers: Covers| books.plant.meters.iter().filter(move |m| m.covers == covers);
    let own: Vec<_> = stations.iter().flat_map(|s| metered(Covers::Station(s.id.clone())).take(1)).collect();
    let whole: Vec<_> = metered(Covers::Press(press.id.clone())).take(1).collect();
    let meters = if own.is_empty() && stations.len() == press.stations.len() { whole } else { own };
    let parts: Vec<Part> = meters.iter().flat_map(|m| books.curves[&m.id].parts(&[period.start, period.end])).collect();
    let known = !parts.is_empty() && parts.iter().all(Part::is_known);
    known.then(|| parts.iter().map(|part| i128::from(part.energy.mwh())).sum())
}
