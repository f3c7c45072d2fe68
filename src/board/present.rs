//! What is so right now, from the newest readings.

use crate::agent::Now;
use crate::attribute::LampState;
use crate::plant::{Covers, Lamp, LampKind, Meter, Press, Station};
use crate::readings::{Quantity, Series, Subject};
use crate::time::{At, MINUTE};

/// A value older than this is no longer what happens now.
const FRESH: i64 = 5 * MINUTE;

/// The draw that a meter shows, in watts; `None` where it is not fresh.
pub(super) fn watts(now: &Now, meter: &Meter, at: At) -> Option<f64> {
    let count = value(now, &Series::new(Subject::Meter(meter.id.clone()), Quantity::Power), at)?;
    let device = meter.device.at(at)?;
    Some(count as f64 * device.mw_per_count.to_f64() * device.transformers.to_f64() / 1e3)
}

/// The newest value of a series. A state holds until the next; any other value must be fresh.
pub(super) fn value(now: &Now, series: &Series, at: At) -> Option<i64> {
    let reading = now.latest.get(series)?;
    let holds = matches!(series.quantity, Quantity::LampState | Quantity::LampKind) || at - reading.at <= FRESH;
    holds.then_some(reading.count)
}

/// The speed of the web in millimetres a minute.
pub(super) fn speed(now: &Now, press: &Press, at: At) -> Option<i64> {
    value(now, &Series::new(Subject::Press(press.id.clone()), Quantity::Speed), at)
}

/// The draw of a station, in watts.
pub(super) fn draw(now: &Now, station: &Station, at: At) -> Option<f64> {
    let meter = now.plant.meters.iter().find(|meter| meter.covers == Covers::Station(station.id.clone()))?;
    watts(now, meter, at)
}

/// The lamp that is fitted.
pub(super) fn lamp<'a>(now: &'a Now, station: &Station, at: At) -> Option<&'a Lamp> {
    now.plant.lamp(station.fitted.at(at)?.as_ref()?)
}

/// The kind of the lamp, in words.
pub(super) fn lamp_words(now: &Now, station: &Station, at: At) -> &'static str {
    match lamp(now, station, at).map(|lamp| lamp.kind) {
        Some(LampKind::Arc) => "arc",
        Some(LampKind::Led) => "LED",
        None => "no lamp",
    }
}

/// The state of the lamp: as it is signalled, else by its draw.
pub(super) fn state(now: &Now, station: &Station, at: At) -> Option<LampState> {
    let signal = value(now, &Series::new(Subject::Station(station.id.clone()), Quantity::LampState), at);
    let by_draw = || {
        let (bands, draw) = (lamp(now, station, at)?.bands, draw(now, station, at)? as i64);
        Some(if draw >= bands.curing { 3 } else { i64::from(draw >= bands.standby) * 2 })
    };
    match signal.or_else(by_draw)? {
        0 => Some(LampState::Off),
        1 => Some(LampState::WarmingUp),
        2 => Some(LampState::Standby),
        3 => Some(LampState::Curing),
        _ => None,
    }
}

/// The state in words.
pub(super) const fn words(state: LampState) -> &'static str {
    match state {
        LampState::Off => "off",
        LampState::WarmingUp => "warming up",
        LampState::Standby => "standby",
        LampState::Curing => "curing",
    }
}

/// The state as the style sheet knows it.
pub(super) const fn class(state: LampState) -> &'static str {
    match state {
        LampState::WarmingUp => "warming",
        other => words(other),
    }
}

/// What a station that cures is expected to draw, in watts: what it drew at full level when the watch began with its lamp, at the
/// level that is signalled now.
pub(super) fn expected(now: &Now, station: &Station, at: At) -> Option<f64> {
    if state(now, station, at) != Some(LampState::Curing) {
        return None;
    }
    let drawn = now.watched.as_ref()?.watched.drawn.get(&station.id)?;
    let level = value(now, &Series::new(Subject::Station(station.id.clone()), Quantity::LampLevel), at);
    match (drawn.has_level, level) {
        (true, Some(level)) => Some(drawn.watts * level as f64 / 1e3),
        (true, None) => None,
        (false, _) => Some(drawn.watts),
    }
}

/// Whether the watch knows what a station should draw.
pub(super) fn is_charted(now: &Now, station: &Station) -> bool {
    now.watched.as_ref().is_some_and(|looked| looked.watched.drawn.contains_key(&station.id))
}

/// A number with one decimal.
pub(super) fn tenths(number: f64) -> String {
    format!("{number:.1}")
}

/// A change as a share, such as `8 % more`.
pub(super) fn change(share: f64) -> String {
    let percent = (share * 100.0).round();
    match percent {
        0.0 => "as much".into(),
        more if more > 0.0 => format!("{more} % more"),
        less => format!("{} % less", -less),
    }
}

/// Letters of a name that are shown where it stands among others.
const SHORT: usize = 40;

/// A name of bearable length, without control characters.
pub(super) fn short(name: &str) -> String {
    let plain: String = name.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    match plain.char_indices().nth(SHORT) {
        Some((cut, _)) => format!("{}…", &plain[..cut]),
        None => plain,
    }
}
