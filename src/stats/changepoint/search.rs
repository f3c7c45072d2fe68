//! Where the change points of a form lie: every candidate is tried.

use super::Form;
use crate::stats::design::{Column, Design, Refusal};
use crate::stats::least_squares;

/// Points that must stand on each side of a change point, one at its own temperature among them.
const EACH_SIDE: usize = 4;

/// Temperatures at which a change point may stand, ascending: each with enough points on either side of it.
fn places(temperature: &[f64]) -> Vec<f64> {
    let mut sorted = temperature.to_vec();
    sorted.sort_by(f64::total_cmp);
    let inner = sorted.len().saturating_sub(EACH_SIDE - 1);
    let mut places: Vec<f64> = sorted.get(EACH_SIDE - 1..inner).unwrap_or_default().to_vec();
    places.dedup();
    places
}

/// The search for the change points of one form.
pub(super) struct Search<'a> {
    form: Form,
    temperature: &'a [f64],
    energy: &'a [f64],
    drivers: &'a [Column],
    places: Vec<f64>,
}

/// One side of a change point that is being sought: a piece that need not meet the rest.
#[derive(Clone, Copy)]
enum Side {
    Below,
    Above,
}

impl<'a> Search<'a> {
    pub(super) fn new(form: Form, temperature: &'a [f64], energy: &'a [f64], drivers: &'a [Column]) -> Self {
        Self { form, temperature, energy, drivers, places: places(temperature) }
    }

    /// The change points with the least sum of squares.
    pub(super) fn knots(&self) -> Result<Vec<f64>, Refusal> {
        match self.form.knots() {
            0 => Ok(Vec::new()),
            1 => self.best_of_one(),
            _ => self.best_of_two(),
        }
    }

    pub(super) fn design(&self, knots: &[f64]) -> Result<Design, Refusal> {
        self.with(self.form.columns(self.temperature, knots))
    }

    fn with(&self, columns: Vec<Column>) -> Result<Design, Refusal> {
        Design::with_constant(self.temperature.len(), columns.into_iter().chain(self.drivers.iter().cloned()).collect())
    }

    /// Sum of squares with these change points; infinite where the data cannot tell the terms apart.
    fn sse(&self, knots: &[f64]) -> f64 {
        self.design(knots)
            .and_then(|design| least_squares::fit(&design, self.energy))
            .map_or(f64::INFINITY, |fit| fit.sse)
    }

    fn best_of_one(&self) -> Result<Vec<f64>, Refusal> {
        let meeting = |gap: &[f64]| {
            let fixed = if self.form == Form::Both { Form::Line.columns(self.temperature, &[]) } else { Vec::new() };
            let side = if self.form == Form::Heating { Side::Below } else { Side::Above };
            self.meeting(&[(side, [gap[0], gap[1]])], fixed)
        };
        let between = self.places.windows(2).filter_map(meeting);
        let candidates = self.places.iter().map(|place| vec![*place]).chain(between);
        self.least(candidates)
    }

    /// From the best pair of a coarse grid, each change point is sought with the other held until neither moves; then both
    /// at once in their gaps.
    fn best_of_two(&self) -> Result<Vec<f64>, Refusal> {
        const GRID: usize = 20;
        // A handful is enough; the limit keeps rounding from going round in circles.
        const MOVES: u32 = 50;
        let every = self.places.len().div_ceil(GRID).max(1);
        let coarse: Vec<f64> = self.places.iter().step_by(every).copied().collect();
        let pairs = coarse.iter().enumerate().flat_map(|(i, low)| coarse[i + 1..].iter().map(|high| vec![*low, *high]));
        let mut best = self.least(pairs)?;
        for _ in 0..MOVES {
            let before = best.clone();
            for moved in [Side::Below, Side::Above] {
                best = self.least(std::iter::once(best.clone()).chain(self.moves(moved, &best)))?;
            }
            best = self.least(std::iter::once(best.clone()).chain(self.meeting_of_both(&best)))?;
            if best == before {
                break;
            }
        }
        Ok(best)
    }

    /// Pairs with one change point anywhere on its side of the other.
    fn moves(&self, moved: Side, knots: &[f64]) -> Vec<Vec<f64>> {
        let (low, high) = (knots[0], knots[1]);
        let (held, free): (Column, Vec<f64>) = match moved {
            Side::Below => (
                Form::Cooling.columns(self.temperature, &[high]).swap_remove(0),
                self.places.iter().copied().filter(|place| *place < high).collect(),
            ),
            Side::Above => (
                Form::Heating.columns(self.temperature, &[low]).swap_remove(0),
                self.places.iter().copied().filter(|place| *place > low).collect(),
            ),
        };
        let pair = |place: f64| match moved {
            Side::Below => vec![place, high],
            Side::Above => vec![low, place],
        };
        let meeting = |gap: &[f64]| self.meeting(&[(moved, [gap[0], gap[1]])], vec![held.clone()]);
        let between = free.windows(2).filter_map(meeting).map(|knot| pair(knot[0]));
        free.iter().map(|place| pair(*place)).chain(between).collect()
    }

    /// Both change points at once, within the gaps in which they stand.
    fn meeting_of_both(&self, knots: &[f64]) -> Option<Vec<f64>> {
        let gap =
            |knot: f64| self.places.windows(2).find(|gap| gap[0] < knot && knot < gap[1]).map(|gap| [gap[0], gap[1]]);
        self.meeting(&[(Side::Below, gap(knots[0])?), (Side::Above, gap(knots[1])?)], Vec::new())
    }

    /// Where pieces that need not meet the rest do meet it; `None` unless each does within its gap.
    fn meeting(&self, sought: &[(Side, [f64; 2])], fixed: Vec<Column>) -> Option<Vec<f64>> {
        let piece = |i: usize, (side, gap): &(Side, [f64; 2])| {
            let inside = |x: f64| match side {
                Side::Below => x <= gap[0],
                Side::Above => x >= gap[1],
            };
            let part = |name: &str, of: &dyn Fn(f64) -> f64| {
                let values = self.temperature.iter().map(|x| if inside(*x) { of(*x) } else { 0.0 });
                Column::new(format!("{name} {i}"), values.collect())
            };
            [part("step", &|_| 1.0), part("slope", &|x| x)]
        };
        let pieces: Vec<Column> = sought.iter().enumerate().flat_map(|(i, sought)| piece(i, sought)).collect();
        let design = self.with(pieces.into_iter().chain(fixed).collect()).ok()?;
        let terms = least_squares::fit(&design, self.energy).ok()?.model.terms;
        let meets = |(i, (_, gap)): (usize, &(Side, [f64; 2]))| {
            let knot = -terms[1 + 2 * i].coefficient / terms[2 + 2 * i].coefficient;
            (gap[0] < knot && knot < gap[1]).then_some(knot)
        };
        sought.iter().enumerate().map(meets).collect()
    }

    /// The candidate with the least sum of squares.
    fn least(&self, candidates: impl Iterator<Item = Vec<f64>>) -> Result<Vec<f64>, Refusal> {
        let scored = candidates.map(|knots| (self.sse(&knots), knots));
        let best = scored.min_by(|a, b| a.0.total_cmp(&b.0)).filter(|(sse, _)| sse.is_finite());
        best.map(|(_, knots)| knots).ok_or(Refusal::NoChangePoint { form: self.form.name(), each_side: EACH_SIDE })
    }
}
