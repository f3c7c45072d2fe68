//! The energy of a meter as a cumulative curve: what lies between two cuts is the difference of the curve, so that
//! whatever is cut anywhere adds up, and days that are computed apart agree at midnight.

use crate::attribute::grain::joins;
use crate::attribute::jump::Jump;
use crate::attribute::track::ALWAYS;
use crate::attribute::{Amount, Placed};
use crate::time::{At, MINUTE, Period};
use crate::units::{Energy, muldiv};

/// A cut inside a piece that is longer than this leaves the place within it open: nobody looked at the meter near it.
const NEAR: i64 = 5 * MINUTE;

/// Energy that is known for a period, evenly spread within it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Piece {
    /// When; never empty.
    pub period: Period,
    /// How much.
    pub energy: Energy,
    /// How the amount is known.
    pub amount: Amount,
    /// How its place is known.
    pub placed: Placed,
}

impl Piece {
    /// What lies between its start and an instant inside: the whole part of the even share.
    fn until(&self, at: At) -> Energy {
        let (total, run, length) = (self.energy.mwh(), at - self.period.start, self.period.millis());
        let share = match total.checked_mul(run) {
            Some(product) => product / length,
            None => total.signum() * muldiv(total.unsigned_abs().into(), run.into(), length.into()) as i64,
        };
        Energy::from_mwh(share)
    }

    /// The part inside a period that it has something in common with.
    pub fn clip(&self, period: Period) -> Option<Self> {
        let common = self.period.overlap(period)?;
        if common == self.period {
            return Some(*self);
        }
        let energy = self.until(common.end) - self.until(common.start);
        let far = self.period.millis() > NEAR && self.energy != Energy::ZERO;
        let placed = if far { self.placed.max(Placed::Within) } else { self.placed };
        Some(Self { period: common, energy, placed, ..*self })
    }

    /// The mean draw in watts.
    pub fn watts(&self) -> i64 {
        self.energy.mean_watts(self.period.millis()).unwrap_or(0.0) as i64
    }
}

/// What a curve says about the time between two neighbouring cuts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Part {
    /// The time between the cuts.
    pub period: Period,
    /// The energy of that part of it that is known.
    pub energy: Energy,
    /// How many milliseconds of it are known.
    pub known: i64,
    /// How the amount is known, at its worst.
    pub amount: Amount,
    /// How the place is known, at its worst.
    pub placed: Placed,
}

impl Part {
    const fn nothing(period: Period) -> Self {
        Self { period, energy: Energy::ZERO, known: 0, amount: Amount::Metered, placed: Placed::Measured }
    }

    /// Whether the energy of all of it is known.
    pub fn is_known(&self) -> bool {
        self.known == self.period.millis()
    }

    fn add(&mut self, piece: &Piece) {
        if let Some(inside) = piece.clip(self.period) {
            self.energy += inside.energy;
            self.known += inside.period.millis();
            self.amount = self.amount.max(inside.amount);
            self.placed = self.placed.max(inside.placed);
        }
    }
}

/// The pieces of a meter, in order of time, not overlapping. Where there is none, the energy is not known.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Curve(Vec<Piece>);

impl Curve {
    /// The curve of pieces that stand in order and do not overlap.
    pub fn new(pieces: Vec<Piece>) -> Self {
        debug_assert!(pieces.windows(2).all(|w| w[0].period.end <= w[1].period.start), "pieces in order of time");
        Self(pieces)
    }

    /// Its pieces.
    pub fn pieces(&self) -> &[Piece] {
        &self.0
    }

    /// The parts of a period of which nothing is known, in order.
    pub fn holes(&self, period: Period) -> Vec<Period> {
        let first = self.0.partition_point(|p| p.period.end <= period.start);
        let mut known_to = period.start;
        let mut holes = Vec::new();
        for piece in self.0[first..].iter().take_while(|p| p.period.start < period.end) {
            holes.push(Period::new(known_to, piece.period.start));
            known_to = piece.period.end;
        }
        holes.push(Period::new(known_to, period.end));
        holes.retain(|hole| !hole.is_empty());
        holes
    }

    /// Adds a piece that begins where the last one ends, or later. Short neighbours that are known alike become one.
    pub fn push(&mut self, next: Piece) {
        let alike = |last: &Piece| (last.amount, last.placed) == (next.amount, next.placed);
        match self.0.last_mut().filter(|last| alike(last) && joins(last.period, next.period)) {
            Some(last) => {
                last.period.end = next.period.end;
                last.energy += next.energy;
            }
            None => self.0.push(next),
        }
    }

    /// Forgets what can never fill a hole of another curve that only grows. The last piece stays: it may grow as well.
    pub fn keep_for_holes_of(&mut self, other: &Self) {
        let Some(last) = self.0.pop() else { return };
        let holes = other.holes(ALWAYS);
        let mut next = 0;
        self.0.retain(|piece| {
            next += holes[next..].iter().take_while(|hole| hole.end <= piece.period.start).count();
            holes.get(next).is_some_and(|hole| hole.start < piece.period.end)
        });
        self.0.push(last);
    }

    /// This curve where it is known, and the other one in its holes.
    pub fn or(self, other: &Self) -> Self {
        let fill = self.holes(ALWAYS).into_iter().flat_map(|hole| {
            let first = other.0.partition_point(|p| p.period.end <= hole.start);
            other.0[first..].iter().map_while(move |piece| piece.clip(hole))
        });
        let mut pieces: Vec<Piece> = fill.collect();
        pieces.extend(self.0);
        pieces.sort_by_key(|piece| piece.period.start);
        Self(pieces)
    }

    /// The energy of a period that begins and ends with pieces of the curve and is known throughout.
    pub fn just(&self, period: Period) -> Option<Energy> {
        let first = self.0.partition_point(|piece| piece.period.start < period.start);
        let (mut end, mut energy) = (period.start, Energy::ZERO);
        for piece in self.0[first..].iter().take_while(|piece| piece.period.end <= period.end) {
            if piece.period.start != end {
                return None;
            }
            (end, energy) = (piece.period.end, energy + piece.energy);
        }
        (end == period.end).then_some(energy)
    }

    /// Parts pieces at the jumps of power that they span; the jumps in order of time.
    pub fn part_at(&mut self, jumps: &[Jump]) {
        if jumps.is_empty() {
            return;
        }
        let mut jumps = jumps.iter().peekable();
        let mut parted = Vec::with_capacity(self.0.len());
        for piece in std::mem::take(&mut self.0) {
            while jumps.next_if(|jump| jump.period.start < piece.period.start).is_some() {}
            let jump = jumps.next_if(|jump| jump.period == piece.period);
            match jump.map(|jump| (jump.at(piece.energy), jump.drawn_before(piece.energy))) {
                Some((at, before)) if piece.period.start < at && at < piece.period.end => {
                    let Period { start, end } = piece.period;
                    parted.push(Piece { period: Period::new(start, at), energy: before, ..piece });
                    parted.push(Piece { period: Period::new(at, end), energy: piece.energy - before, ..piece });
                }
                _ => parted.push(piece),
            }
        }
        self.0 = parted;
    }

    /// What it says about the time between each two neighbouring cuts; the cuts in order of time.
    pub fn parts(&self, cuts: &[At]) -> Vec<Part> {
        let mut next = cuts.first().map_or(0, |first| self.0.partition_point(|p| p.period.end <= *first));
        let between = |pair: &[At]| {
            let mut part = Part::nothing(Period::new(pair[0], pair[1]));
            while let Some(piece) = self.0.get(next).filter(|piece| piece.period.start < part.period.end) {
                part.add(piece);
                if piece.period.end > part.period.end {
                    break;
                }
                next += 1;
            }
            part
        };
        cuts.windows(2).map(between).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn piece(start: i64, end: i64, mwh: i64) -> Piece {
        let (amount, placed) = (Amount::Metered, Placed::Measured);
        Piece { period: Period::new(At(start), At(end)), energy: Energy::from_mwh(mwh), amount, placed }
    }

    #[test]
    fn the_other_curve_speaks_only_where_the_first_is_silent() {
        let both = Curve::new(vec![piece(10, 20, 5), piece(30, 40, 5)]).or(&Curve::new(vec![piece(0, 100, 100)]));
        let energies: Vec<_> = both.pieces().iter().map(|p| (p.period.start.0, p.energy.mwh())).collect();
        assert_eq!(energies, [(0, 10), (10, 5), (20, 10), (30, 5), (40, 60)]);
    }

    #[test]
    fn holes_are_what_no_piece_covers() {
        let curve = Curve::new(vec![piece(10, 20, 5), piece(20, 25, 5), piece(30, 40, 5)]);
        let holes = |start, end| {
            curve.holes(Period::new(At(start), At(end))).iter().map(|h| (h.start.0, h.end.0)).collect::<Vec<_>>()
        };
        assert_eq!(holes(0, 50), [(0, 10), (25, 30), (40, 50)]);
        assert_eq!(holes(12, 22), []);
        assert_eq!(holes(26, 28), [(26, 28)]);
    }

    /// Two minutes of 0.5 and 18 Wh between readings of 30, 30 and 2,130 W: the lamp came on in the middle of the second.
    #[test]
    fn a_piece_is_parted_where_its_power_jumps() {
        let mut curve = Curve::new(vec![piece(0, MINUTE, 500), piece(MINUTE, 2 * MINUTE, 18_000)]);
        let jump = |start| Jump::between(Period::new(At(start), At(start + MINUTE)), 30_000, 2_130_000).expect("one");
        curve.part_at(&[jump(MINUTE), jump(3 * MINUTE)]);
        let half = MINUTE + MINUTE / 2;
        let parted = [piece(0, MINUTE, 500), piece(MINUTE, half, 250), piece(half, 2 * MINUTE, 17_750)];
        assert_eq!(curve.pieces(), parted);
        assert_eq!(curve.just(jump(MINUTE).period), Some(Energy::from_mwh(18_000)));
        assert_eq!(curve.just(Period::new(At(MINUTE + 1), At(2 * MINUTE))), None);
    }

    proptest! {
        #[test]
        fn energy_is_conserved_for_any_cutting(
            lengths in prop::collection::vec((1_i64..100_000, -1_000_i64..1_000_000_000), 1..30),
            cuts in prop::collection::vec(0_i64..3_000_000, 0..30),
        ) {
            let mut start = 0;
            let pieces: Vec<_> = lengths.iter().map(|&(length, mwh)| {
                start += length;
                piece(start - length, start, mwh)
            }).collect();
            let total: Energy = pieces.iter().map(|p| p.energy).sum();
            let mut cuts: Vec<_> = cuts.into_iter().chain([0, start]).map(At).filter(|at| at.0 <= start).collect();
            cuts.sort();
            cuts.dedup();
            let parts = Curve::new(pieces).parts(&cuts);
            prop_assert!(parts.iter().all(Part::is_known));
            prop_assert_eq!(parts.iter().map(|p| p.energy).sum::<Energy>(), total);
        }
    }
}
