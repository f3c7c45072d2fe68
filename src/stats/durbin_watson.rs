//! Bounds of the Durbin-Watson test, computed for any number of points and drivers instead of read between table rows.

use std::f64::consts::PI;

/// What the Durbin-Watson test says about positive autocorrelation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// Below the lower bound: days carry over to the next.
    Autocorrelated,
    /// Between the bounds: the test does not decide.
    Open,
    /// Above the upper bound: no sign of it.
    Independent,
}

/// The lower and upper bound of the one-sided test against positive autocorrelation (Durbin and Watson 1951).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bounds {
    /// d_L.
    pub lower: f64,
    /// d_U.
    pub upper: f64,
}

impl Bounds {
    /// What a statistic says.
    pub fn judge(&self, statistic: f64) -> Verdict {
        match statistic {
            d if d < self.lower => Verdict::Autocorrelated,
            d if d > self.upper => Verdict::Independent,
            _ => Verdict::Open,
        }
    }
}

/// Bounds for n points and k drivers beside a constant at a level such as 0.05.
///
/// They are the quantiles of Σ λ_j ξ_j² / Σ ξ_j² over the n - k - 1 smallest and largest of λ_j = 2 (1 - cos(π j / n)).
/// Not valid without a constant. `None` where fewer than six degrees of freedom are left.
pub fn bounds(points: usize, drivers: usize, level: f64) -> Option<Bounds> {
    let left = points.checked_sub(drivers + 1).filter(|left| *left >= 6)?;
    if !(level > 0.0 && level < 0.5) {
        return None;
    }
    let roots: Vec<f64> = (1..points).map(|j| 2.0 * (1.0 - (PI * j as f64 / points as f64).cos())).collect();
    Some(Bounds { lower: quantile(&roots[..left], level), upper: quantile(&roots[drivers..], level) })
}

/// The d with P(Σ (λ_j - d) ξ_j² < 0) = level, by false position with halved ends (the Illinois rule).
fn quantile(roots: &[f64], level: f64) -> f64 {
    let excess = |d: f64| probability(roots, d) - level;
    let (mut low, mut high) = (roots[0], roots[roots.len() - 1]);
    let (mut below, mut above) = (-level, 1.0 - level);
    loop {
        let d = (low * above - high * below) / (above - below);
        let value = excess(d);
        if value.abs() < 1e-12 || high - low < 1e-12 {
            return d;
        }
        if value < 0.0 {
            (low, below, above) = (d, value, above / if below.abs() < above { 2.0 } else { 1.0 });
        } else {
            (high, above, below) = (d, value, below / if below.abs() > above { 2.0 } else { 1.0 });
        }
    }
}

/// P(Σ a_j ξ_j² < 0) with a_j = λ_j - d: Imhof (1961), summed at midpoints as Davies (1973) does, whose error falls
/// exponentially with the step.
fn probability(roots: &[f64], d: f64) -> f64 {
    let a: Vec<f64> = roots.iter().map(|root| root - d).collect();
    let widest = a.iter().fold(0.0, |most: f64, a| most.max(a.abs()));
    let spread = (2.0 * a.iter().map(|a| a * a).sum::<f64>()).sqrt();
    // Beyond this the sum does not come with a probability of 1e-13.
    let reach = a.iter().sum::<f64>().abs() + 8.0 * spread + 60.0 * widest;
    let step = 2.0 * PI / reach;
    let mut sum = 0.0;
    for k in 0.. {
        let (place, u) = (f64::from(k) + 0.5, (f64::from(k) + 0.5) * step);
        let (angle, length) = a.iter().fold((0.0, 1.0), |(angle, length), a| {
            let x = 2.0 * u * a;
            (angle + 0.5 * x.atan(), length * (1.0 + x * x))
        });
        let length = length.powf(-0.25);
        sum += length * angle.sin() / place;
        if length / place < 1e-13 {
            break;
        }
    }
    0.5 - sum / PI
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Bounds for 12 to 365 points and 1 to 4 drivers at 5 and 1 %: own computation by Imhof's integral with scipy;
    /// n = 15 and n = 100 with one driver agree with the printed tables of Savin and White (1977).
    #[test]
    fn every_bound_of_the_table_comes_out() {
        let mut rows = 0;
        for line in include_str!("../../tests/reference/stats/durbin_watson_bounds.csv").lines().skip(1) {
            let cell: Vec<f64> = line.split(',').map(|text| text.parse().unwrap()).collect();
            for (level, expected) in [(0.05, &cell[2..4]), (0.01, &cell[4..6])] {
                let found = bounds(cell[0] as usize, cell[1] as usize, level).unwrap();
                assert!((found.lower - expected[0]).abs() < 2e-8, "{line}: {found:?}");
                assert!((found.upper - expected[1]).abs() < 2e-8, "{line}: {found:?}");
            }
            rows += 1;
        }
        assert_eq!(rows, 60);
    }

    #[test]
    fn between_the_bounds_the_test_does_not_decide() {
        let bounds = bounds(365, 2, 0.05).unwrap();
        assert_eq!(bounds.judge(1.386), Verdict::Autocorrelated);
        assert_eq!(bounds.judge(1.82), Verdict::Open);
        assert_eq!(bounds.judge(1.84), Verdict::Independent);
    }

    #[test]
    fn too_few_points_have_no_bounds() {
        assert_eq!(bounds(7, 1, 0.05), None);
        assert_eq!(bounds(2, 5, 0.05), None);
        assert_eq!(bounds(30, 1, 0.7), None);
    }
}
