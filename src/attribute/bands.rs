//! The state of a lamp told from its draw.

use crate::attribute::lamp::States;
use crate::attribute::track::Changes;
use crate::attribute::{LampState, Piece, Placed};
use crate::plant::{Bands, Dated, Plant, Station};
use crate::time::{At, Period};

/// The bands of the lamps of a station. Without a record of the lamp there is no band and no state.
pub fn bands(plant: &Plant, station: &Station) -> Dated<Option<Bands>> {
    let of = |lamp: &Option<_>| plant.lamp(lamp.as_ref()?).map(|lamp| lamp.bands);
    Dated::new(station.fitted.iter().map(|(since, lamp)| (*since, of(lamp))).collect())
}

/// The draw of a station on its way to the states of its lamp, taken piece by piece.
///
/// A state is left once the draw has stayed beyond a border for the dwell; it is left at the instant at which the
/// draw went there. While nobody looked, the state is not known.
#[derive(Clone, Debug)]
pub struct Draw {
    lamps: Dated<Option<Bands>>,
    bands: Option<Bands>,
    next_lamp: At,
    states: Changes<Option<LampState>>,
    current: Option<LampState>,
    pending: Option<(LampState, At)>,
    /// The end of the last piece of the present lamp that says something about its state.
    known_to: Option<At>,
    /// The end of the last piece.
    end: Option<At>,
    /// Within which periods the meter was read, in order.
    looked: Vec<Period>,
}

impl Draw {
    /// A draw of which nothing is known yet, by the bands of the lamps.
    pub fn new(lamps: Dated<Option<Bands>>) -> Self {
        let next_lamp = lamps.iter().next().map_or(At(i64::MAX), |(since, _)| *since);
        Self {
            lamps,
            bands: None,
            next_lamp,
            states: Changes::default(),
            current: None,
            pending: None,
            known_to: None,
            end: None,
            looked: Vec::new(),
        }
    }

    /// Whether it is told by these bands.
    pub fn is_by(&self, lamps: &Dated<Option<Bands>>) -> bool {
        self.lamps == *lamps
    }

    /// Takes the next piece.
    pub fn push(&mut self, piece: &Piece) {
        self.look(piece);
        let mut rest = *piece;
        while let Some(after) = rest.clip(Period::new(self.next_lamp, rest.period.end)) {
            rest.clip(Period::new(rest.period.start, self.next_lamp)).into_iter().for_each(|before| self.tell(&before));
            self.change_lamp();
            rest = after;
        }
        self.tell(&rest);
        self.end = Some(piece.period.end);
    }

    /// The states up to the end of the last piece.
    pub fn states(&self) -> States {
        let mut states = self.states.clone();
        self.end.into_iter().for_each(|end| states.push(end, None));
        states.values()
    }

    /// Moves the instants of changes: `to` says where each belongs that is better known from elsewhere. None passes another.
    pub fn move_changes(&mut self, to: impl Fn(At) -> Option<At>) {
        let mut states = Changes::default();
        for (at, state) in self.states.values() {
            states.push(to(at).unwrap_or(at), state);
        }
        self.states = states;
    }

    /// The parts of a period within which the meter was read, in order.
    pub fn looked_at(&self, period: Period) -> impl Iterator<Item = Period> + '_ {
        self.looked.iter().filter_map(move |looked| looked.overlap(period))
    }

    fn look(&mut self, piece: &Piece) {
        if piece.placed == Placed::Measured {
            match self.looked.last_mut().filter(|last| last.end == piece.period.start) {
                Some(last) => last.end = piece.period.end,
                None => self.looked.push(piece.period),
            }
        }
    }

    fn change_lamp(&mut self) {
        let at = self.next_lamp;
        self.states.push(at, None);
        (self.current, self.pending, self.known_to) = (None, None, None);
        self.bands = self.lamps.at(at).copied().flatten();
        let later = self.lamps.iter().map(|(since, _)| *since).find(|since| *since > at);
        self.next_lamp = later.unwrap_or(At(i64::MAX));
    }

    fn tell(&mut self, piece: &Piece) {
        let Some(bands) = self.bands else { return };
        let Period { start, end } = piece.period;
        if piece.placed >= Placed::Interpolated {
            self.states.push(start, None);
            (self.current, self.pending) = (None, None);
            return;
        }
        if let Some(known_to) = self.known_to.replace(end).filter(|known_to| *known_to < start) {
            self.states.push(known_to, None);
            (self.current, self.pending) = (None, None);
        }
        let Some(state) = self.current else {
            let state = bands.plain(piece.watts());
            self.states.push(start, Some(state));
            self.current = Some(state);
            return;
        };
        let target = bands.beyond(state, piece.watts());
        self.pending = match self.pending {
            _ if target == state => None,
            Some((other, since)) if other == target => Some((other, since)),
            _ => Some((target, start)),
        };
        if let Some((target, since)) = self.pending.filter(|(_, since)| end - *since >= bands.dwell) {
            self.states.push(since, Some(target));
            (self.current, self.pending) = (Some(target), None);
        }
    }
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
