//! How long a CUSUM chart runs before it alarms: falsely, and after a shift.

use super::normal;
use nalgebra::{DMatrix, DVector};

/// A chart of independent normal values in standard deviations.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Chart {
    /// Allowance k.
    pub allowance: f64,
    /// Decision interval h.
    pub decision: f64,
}

/// Which sides of a chart are watched.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sides {
    /// A rise only.
    One,
    /// Rise and fall.
    Two,
}

impl Chart {
    /// Average run length of a chart that watches for a rise, the mean shifted by `shift`, begun at `start` (0 or a head start).
    /// Infinity above 10¹², beyond which floating point cannot tell a run from an endless one.
    pub fn one_sided(&self, shift: f64, start: f64) -> f64 {
        match self.lengths(shift, start) {
            Some((_, length)) if (1.0..1e12).contains(&length) => length,
            _ => f64::INFINITY,
        }
    }

    /// The same watching both sides, each begun at `start`: (L⁺ₛ L⁻₀ + L⁺₀ L⁻ₛ - L⁺₀ L⁻₀) / (L⁺₀ + L⁻₀), which is
    /// 1/ARL = 1/L⁺ + 1/L⁻ from zero (Lucas and Crosier 1982).
    pub fn two_sided(&self, shift: f64, start: f64) -> f64 {
        let Some((near, near_start)) = self.lengths(shift.abs(), start) else {
            return f64::INFINITY;
        };
        // The far side may run so long that its lengths have few digits; their ratio keeps them.
        let (share, ratio) =
            self.lengths(-shift.abs(), start).map_or((0.0, 1.0), |(far, begun)| (near / far, begun / far));
        (near_start + near * (ratio - 1.0)) / (1.0 + share)
    }

    /// One-sided run lengths from zero and from `start`, by the integral equation of Page (1954) over Gauss-Legendre nodes:
    /// L(s) = 1 + L(0) Φ(k - μ - s) + ∫₀ʰ L(y) φ(y - s + k - μ) dy. `None` where no alarm can be told from never.
    fn lengths(&self, shift: f64, start: f64) -> Option<(f64, f64)> {
        let Self { allowance, decision } = *self;
        let nodes = nodes(decision);
        let jump = |from: f64, to: f64| normal::density(to - from + allowance - shift);
        let to_zero = |from: f64| normal::cdf(allowance - shift - from);
        // Unknowns: L(0), then L at the nodes.
        let places: Vec<f64> = std::iter::once(0.0).chain(nodes.iter().map(|node| node.0)).collect();
        let chance = |from: f64, j: usize| match j {
            0 => to_zero(from),
            _ => nodes[j - 1].1 * jump(from, nodes[j - 1].0),
        };
        let count = places.len();
        let stays = DMatrix::from_fn(count, count, |i, j| f64::from(u8::from(i == j)) - chance(places[i], j));
        let lengths = stays.lu().solve(&DVector::from_element(count, 1.0))?;
        let begun = 1.0 + lengths.iter().enumerate().map(|(j, length)| length * chance(start, j)).sum::<f64>();
        Some((lengths[0], begun))
    }

    /// Siegmund's approximation from zero, one-sided: (e^(-2Δb) + 2Δb - 1) / (2Δ²), Δ = μ - k, b = h + 1.166; b² where Δ = 0
    /// (Siegmund 1985; Montgomery, Introduction to Statistical Quality Control, 9.1).
    pub fn siegmund(&self, shift: f64) -> f64 {
        let (drift, b) = (shift - self.allowance, self.decision + 1.166);
        match drift == 0.0 {
            true => b * b,
            false => ((-2.0 * drift * b).exp_m1() + 2.0 * drift * b) / (2.0 * drift * drift),
        }
    }

    /// The chart of this allowance whose false alarms come once in `length` steps on average, from zero.
    ///
    /// `None` unless the allowance is positive and the length lies between that of h = 0 and h = 50.
    pub fn for_length(allowance: f64, length: f64, sides: Sides) -> Option<Self> {
        let off = |decision: f64| {
            let rise = Self { allowance, decision }.one_sided(0.0, 0.0);
            // In control both sides run equally long, so two of them alarm twice as often.
            (if sides == Sides::Two { 0.5 * rise } else { rise }).ln() - length.ln()
        };
        let (mut low, mut high) = (0.0, 1.0);
        if allowance.is_nan() || allowance <= 0.0 || length.is_nan() || off(low) > 0.0 {
            return None;
        }
        while off(high) < 0.0 {
            (low, high) = (high, 2.0 * high);
            if high > 50.0 {
                return None;
            }
        }
        while high - low > 1e-12 * high {
            let middle = 0.5 * (low + high);
            if off(middle) < 0.0 { low = middle } else { high = middle }
        }
        Some(Self { allowance, decision: high })
    }
}

/// Nodes and weights of Gauss-Legendre on [0, h]: roots of the Legendre polynomial by Newton's method (DLMF 3.5(v)).
/// Eight to a standard deviation and thirty more leave nothing of the error to be seen.
fn nodes(width: f64) -> Vec<(f64, f64)> {
    let count = 30 + (8.0 * width) as u32;
    let n = f64::from(count);
    (0..count)
        .map(|i| {
            let mut x = (std::f64::consts::PI * (f64::from(i) + 0.75) / (n + 0.5)).cos();
            // The start is good to three digits, and each step doubles them.
            for _ in 0..6 {
                let (value, slope) = legendre(count, x);
                x -= value / slope;
            }
            let slope = legendre(count, x).1;
            (0.5 * width * (1.0 + x), width / ((1.0 - x * x) * slope * slope))
        })
        .collect()
}

/// The Legendre polynomial and its slope, by the recurrence of DLMF 18.9.
fn legendre(degree: u32, x: f64) -> (f64, f64) {
    let (mut before, mut value) = (1.0, x);
    for j in 2..=degree {
        let j = f64::from(j);
        (before, value) = (value, ((2.0 * j - 1.0) * x * value - (j - 1.0) * before) / j);
    }
    (value, f64::from(degree) * (x * value - before) / (x * x - 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::Value;

    #[track_caller]
    fn assert_close(found: f64, expected: f64, relative: f64, what: &str) {
        assert!((found / expected - 1.0).abs() < relative, "{what}: {found} for {expected}");
    }

    /// Own computation with 200 nodes (numpy); the two-sided lengths from zero equal those printed by Montgomery.
    #[test]
    fn every_run_length_of_the_table_comes_out() {
        let mut rows = 0;
        for line in include_str!("../../tests/reference/charts/cusum_arl.csv").lines().skip(1) {
            let cell: Vec<f64> = line.split(',').map(|text| text.parse().unwrap()).collect();
            let chart = Chart { allowance: cell[0], decision: cell[1] };
            let (shift, head) = (cell[2], cell[1] / 2.0);
            assert_close(chart.one_sided(shift, 0.0), cell[3], 1e-9, line);
            assert_close(chart.one_sided(shift, head), cell[6], 1e-9, line);
            assert_close(chart.siegmund(shift), cell[8], 1e-9, line);
            // Beyond this the reference itself has lost its digits.
            if (0.0..1e8).contains(&cell[7]) {
                assert_close(chart.one_sided(-shift, 0.0), cell[7], 1e-6, line);
            }
            assert_close(chart.two_sided(shift, 0.0), cell[4], 1e-8, line);
            assert_close(chart.two_sided(shift, head), cell[5], 1e-8, line);
            let two = 1.0 / (1.0 / chart.siegmund(shift) + 1.0 / chart.siegmund(-shift));
            assert_close(two, cell[9], 1e-9, line);
            rows += 1;
        }
        assert_eq!(rows, 60);
    }

    /// 200,000 to 2,000,000 simulated runs each (PCG64, seed 20240229) agree within four standard errors.
    #[test]
    fn simulated_runs_are_as_long_as_the_computed_ones() {
        let file: Value =
            serde_json::from_str(include_str!("../../tests/reference/charts/monte_carlo_arl.json")).unwrap();
        let mut cases = 0;
        for (name, run) in file["results"].as_object().unwrap() {
            let number = |key: &str| {
                name.split(key).nth(1).and_then(|rest| rest.split(' ').next()).map(|text| text.parse::<f64>().unwrap())
            };
            let (Some(decision), Some(shift), true) = (number("h="), number("mu="), name.starts_with("cusum")) else {
                continue;
            };
            if name.contains("rho") {
                continue;
            }
            let chart = Chart { allowance: number("k=").unwrap_or(0.5), decision };
            let start = if name.contains("FIR") { decision / 2.0 } else { 0.0 };
            let found =
                if name.contains("one") { chart.one_sided(shift, start) } else { chart.two_sided(shift, start) };
            let (mean, error) = (run["mean"].as_f64().unwrap(), run["se"].as_f64().unwrap());
            assert!((found - mean).abs() < 4.0 * error, "{name}: {found} for {mean}");
            cases += 1;
        }
        assert!(cases >= 12, "{cases}");
    }

    /// Own computation with scipy; Hawkins (1993) prints the first column to two decimals.
    #[test]
    fn the_decision_interval_of_a_wanted_length_is_found() {
        let file: Value = serde_json::from_str(include_str!("../../tests/reference/charts/arl_meta.json")).unwrap();
        for case in file["hawkins"].as_array().unwrap() {
            let allowance = case["k"].as_f64().unwrap();
            for (key, length, sides) in [
                ("h_two_ARL0_370", 370.0, Sides::Two),
                ("h_one_ARL0_370", 370.0, Sides::One),
                ("h_two_ARL0_500", 500.0, Sides::Two),
            ] {
                let found = Chart::for_length(allowance, length, sides).unwrap().decision;
                assert_close(found, case[key].as_f64().unwrap(), 1e-3, key);
            }
        }
    }

    #[test]
    fn a_chart_far_from_its_limit_runs_without_end() {
        let chart = Chart { allowance: 0.5, decision: 5.0 };
        assert_eq!(chart.one_sided(-100.0, 0.0), f64::INFINITY);
        assert!((chart.two_sided(100.0, 0.0) - 1.0).abs() < 1e-12);
        assert_eq!(chart.two_sided(-100.0, 2.5), chart.two_sided(100.0, 2.5));
    }

    #[test]
    fn no_chart_has_an_impossible_length() {
        assert_eq!(Chart::for_length(0.5, 1.0, Sides::One), None);
        assert_eq!(Chart::for_length(-1.0, 370.0, Sides::One), None);
        assert_eq!(Chart::for_length(0.5, f64::NAN, Sides::Two), None);
    }
}
