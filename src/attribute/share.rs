//! How the energy of a shared load is charged to the presses that it serves.

use crate::attribute::books::Books;
use crate::attribute::cuts::in_order;
use crate::attribute::track::time_of;
use crate::attribute::{LampState, Part};
use crate::plant::{Covers, Press, ShareRule, SharedLoad, Station};
use crate::time::{At, Period};
use crate::units::Energy;

/// What each press served weighs in a period within which no lamp is exchanged, in the order of their ids; `None` where
/// what the rule asks for is not known of one of them.
pub fn weights(books: &Books, load: &SharedLoad, period: Period) -> Option<Vec<i128>> {
    load.serves.iter().map(|id| weight(books, load, books.plant.press(id)?, period)).collect()
}

/// A press's share of a period, shared on over what the press did meanwhile: by the same rule, or by time where the
/// rule does not tell within the period.
pub fn within(books: &Books, load: &SharedLoad, press: &Press, period: Period, share: Energy) -> Vec<(Period, Energy)> {
    let cuts = in_order(books.press_changes(&press.id, period).chain([period.start, period.end]));
    let spans: Vec<Period> = cuts.windows(2).map(|pair: &[At]| Period::new(pair[0], pair[1])).collect();
    let by_rule: Option<Vec<i128>> = spans.iter().map(|span| weight(books, load, press, *span)).collect();
    let by_time = || spans.iter().map(|span| span.millis().into()).collect::<Vec<_>>();
    let energies = by_rule.and_then(|weights| share.split(&weights)).or_else(|| share.split(&by_time()));
    spans.iter().copied().zip(energies.unwrap_or_default()).collect()
}

fn weight(books: &Books, load: &SharedLoad, press: &Press, period: Period) -> Option<i128> {
    let counted: Option<Vec<bool>> = press.stations.iter().map(|s| counts(books, load, s, period)).collect();
    let stations = press.stations.iter().zip(counted?).filter_map(|(station, counts)| counts.then_some(station));
    let stations: Vec<&Station> = stations.collect();
    if load.only.is_some() && stations.is_empty() {
        return Some(0);
    }
    match load.rule {
        ShareRule::Equal => Some(period.millis().into()),
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

/// Whether a station counts towards the rule: any, or those with a lamp of the kind that needs the load; `None` where
/// nobody knows which lamp is fitted.
fn counts(books: &Books, load: &SharedLoad, station: &Station, period: Period) -> Option<bool> {
    let Some(kind) = load.only else { return Some(true) };
    let empty = station.fitted.at(period.start).is_some_and(Option::is_none);
    let fitted = books.timeline.stations[&station.id].kind.at(period.start).copied().flatten();
    if empty { Some(false) } else { fitted.map(|fitted| fitted == kind) }
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
