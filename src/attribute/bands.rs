//! The state of a lamp told from its draw.

use crate::attribute::lamp::States;
use crate::attribute::{LampState, Piece, Placed};
use crate::names::LampId;
use crate::plant::{Bands, Dated, Plant};
use crate::time::{At, Period};

/// States by the bands of the lamp fitted. Without a record of the lamp there is no band and no state.
pub fn by_draw(plant: &Plant, fitted: &Dated<Option<LampId>>, pieces: &[Piece]) -> States {
    let (Some(first), Some(last)) = (pieces.first(), pieces.last()) else { return Vec::new() };
    let known = Period::new(first.period.start, last.period.end);
    let mut states = vec![(At(i64::MIN), None)];
    for (span, lamp) in fitted.spans(known) {
        states.push((span.start, None));
        if let Some(lamp) = lamp.as_ref().and_then(|id| plant.lamp(id)) {
            let from = pieces.partition_point(|p| p.period.end <= span.start);
            let inside = pieces[from..].iter().filter_map(|piece| piece.clip(span));
            states.extend(by_bands(inside.take_while(|piece| piece.period.start < span.end), &lamp.bands));
        }
    }
    states.push((known.end, None));
    states
}

/// A state is left once the draw has stayed beyond a border for the dwell; it is left at the instant at which the
/// draw went there. While nobody looked, the state is not known.
fn by_bands(pieces: impl Iterator<Item = Piece>, bands: &Bands) -> States {
    let mut states: States = Vec::new();
    let mut current: Option<LampState> = None;
    let mut pending: Option<(LampState, At)> = None;
    let mut known_to = None;
    for piece in pieces {
        let Period { start, end } = piece.period;
        if piece.placed >= Placed::Interpolated {
            states.push((start, None));
            (current, pending) = (None, None);
            continue;
        }
        if known_to.is_some_and(|known_to| known_to < start) {
            states.extend(known_to.map(|at| (at, None)));
            (current, pending) = (None, None);
        }
        known_to = Some(end);
        let Some(state) = current else {
            let state = bands.plain(piece.watts());
            states.push((start, Some(state)));
            current = Some(state);
            continue;
        };
        let target = bands.beyond(state, piece.watts());
        pending = match pending {
            _ if target == state => None,
            Some((other, since)) if other == target => Some((other, since)),
            _ => Some((target, start)),
        };
        if let Some((target, since)) = pending.filter(|(_, since)| end - *since >= bands.dwell) {
            states.push((since, Some(target)));
            (current, pending) = (Some(target), None);
        }
    }
    states
}

impl Bands {
    /// The state of a draw where nothing is known of the time before.
    fn plain(&self, watts: i64) -> LampState {
        match watts {
            _ if watts >= self.curing => LampState::Curing,
            _ if watts >= self.standby => LampState::Standby,
            _ => LampState::Off,
        }
    }

    /// Where a draw leads from a state: across each border beyond which it lies by more than the hysteresis.
    fn beyond(&self, state: LampState, watts: i64) -> LampState {
        let up = self.plain(watts.saturating_sub(self.hysteresis));
        let down = self.plain(watts.saturating_add(self.hysteresis));
        if up > state { up } else { state.min(down) }
    }
}
