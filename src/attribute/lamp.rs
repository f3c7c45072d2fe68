//! What the lamp of a station was doing: as signalled, else by its level, else by its draw.

use crate::attribute::LampState;
use crate::attribute::bands::Draw;
use crate::attribute::track::{ALWAYS, Changes, joined, track};
use crate::plant::{Dated, LampKind, Plant, Station};
use crate::readings::Reading;
use crate::time::{At, MINUTE};

/// An arc lamp is ready to cure at the latest so long after it was struck (common practice, no source).
pub const LONGEST_WARM_UP: i64 = 10 * MINUTE;
/// An arc lamp at or below this level, in tenths of a per cent, is on standby (common practice, no source).
const ARC_STANDBY_LEVEL: i64 = 400;
/// A lamp that draws its curing power while the web stands this long is on standby, however much it draws; for a
/// shorter time, web and meter were merely read at different instants.
const STANDING: i64 = 2 * MINUTE;

/// What was fitted to a station and what it did; `None` inside where nobody knows or nothing is fitted.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct StationLine {
    /// The kind of the lamp fitted.
    pub kind: Dated<Option<LampKind>>,
    /// What it was doing.
    pub state: Dated<Option<LampState>>,
}

/// States with the instants from which they hold.
pub type States = Vec<(At, Option<LampState>)>;

/// What the signals of a station said on their way through the day.
#[derive(Clone, Debug, Default)]
pub struct Signals {
    kind: Changes<Option<LampKind>>,
    state: Changes<Option<LampState>>,
    level: Changes<Level>,
}

/// What the level of a lamp means.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Level {
    Nothing,
    /// An arc lamp keeps warm at it.
    Low,
    Full,
}

impl Signals {
    /// Takes the next readings of each.
    pub fn push(&mut self, kind: &[Reading], state: &[Reading], level: &[Reading]) {
        kind.iter().for_each(|reading| self.kind.push(reading.at, kind_of(reading.count)));
        state.iter().for_each(|reading| self.state.push(reading.at, state_of(reading.count)));
        level.iter().for_each(|reading| self.level.push(reading.at, level_of(reading.count)));
    }
}

/// The line of a station; `draw` is the draw of its meter, if it has one.
pub fn station_line(
    plant: &Plant,
    station: &Station,
    signals: &Signals,
    moving: &Dated<Option<bool>>,
    draw: Option<&Draw>,
) -> StationLine {
    let kind = kinds(plant, station, signals.kind.track());
    let state = if !signals.state.is_empty() {
        signals.state.track()
    } else if !signals.level.is_empty() {
        let states = joined(&signals.level.track(), &kind, |level, kind| state_at(*level?, (*kind?)?));
        as_the_web_moves(states, &kind, moving)
    } else {
        let states = draw.map(Draw::states).unwrap_or_default();
        as_the_web_moves(track(states), &kind, moving)
    };
    StationLine { kind, state }
}

/// The kind by the lamps recorded as fitted; before the first record by the signal.
fn kinds(plant: &Plant, station: &Station, signal: Dated<Option<LampKind>>) -> Dated<Option<LampKind>> {
    joined(&station.fitted, &signal, |fitted, signal| match fitted {
        Some(lamp) => plant.lamp(lamp.as_ref()?).map(|lamp| lamp.kind),
        None => *signal?,
    })
}

const fn kind_of(count: i64) -> Option<LampKind> {
    match count {
        1 => Some(LampKind::Arc),
        2 => Some(LampKind::Led),
        _ => None,
    }
}

const fn state_of(count: i64) -> Option<LampState> {
    match count {
        0 => Some(LampState::Off),
        1 => Some(LampState::WarmingUp),
        2 => Some(LampState::Standby),
        3 => Some(LampState::Curing),
        _ => None,
    }
}

const fn level_of(count: i64) -> Level {
    match count {
        ..=0 => Level::Nothing,
        1..=ARC_STANDBY_LEVEL => Level::Low,
        _ => Level::Full,
    }
}

const fn state_at(level: Level, kind: LampKind) -> Option<LampState> {
    match (level, kind) {
        (Level::Nothing, _) => Some(LampState::Off),
        (Level::Low, LampKind::Arc) => Some(LampState::Standby),
        _ => Some(LampState::Curing),
    }
}

/// Curing takes a moving web; an arc lamp warms up from the moment when it is struck until it first cures.
fn as_the_web_moves(
    states: Dated<Option<LampState>>,
    kind: &Dated<Option<LampKind>>,
    moving: &Dated<Option<bool>>,
) -> Dated<Option<LampState>> {
    let cures_still = joined(&states, moving, |state, moves| {
        state.copied().flatten() == Some(LampState::Curing) && moves.copied().flatten() == Some(false)
    });
    let stands: Vec<(At, bool)> = cures_still
        .spans(ALWAYS)
        .map(|(span, stands)| (span.start, *stands && span.end.0.saturating_sub(span.start.0) >= STANDING))
        .collect();
    let states = joined(&states, &track(stands), |state, stands| match stands {
        Some(true) => Some(LampState::Standby),
        _ => state.copied().flatten(),
    });
    warming_up(states, kind)
}

fn warming_up(states: Dated<Option<LampState>>, kind: &Dated<Option<LampKind>>) -> Dated<Option<LampState>> {
    let mut warmed: States = Vec::new();
    let mut before = None;
    let mut struck: Option<At> = None;
    for (at, state) in states.into_values() {
        if let Some(ready) = struck.map(|at| at + LONGEST_WARM_UP).filter(|ready| *ready <= at) {
            warmed.push((ready, before));
            struck = None;
        }
        match (before, state) {
            (Some(LampState::Off), Some(LampState::Standby)) if kind.at(at) == Some(&Some(LampKind::Arc)) => {
                struck = Some(at);
            }
            (_, Some(LampState::Standby)) => {}
            _ => struck = None,
        }
        warmed.push((at, if struck.is_some() { Some(LampState::WarmingUp) } else { state }));
        before = state;
    }
    warmed.extend(struck.map(|at| (at + LONGEST_WARM_UP, before)));
    track(warmed)
}
