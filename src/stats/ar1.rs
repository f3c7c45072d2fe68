//! First-order autoregressive errors: each day carries a part rho of the day before.
//!
//! Two days apart by d correlate by rho^d, whether the days between are in the data or not; so gaps need only the
//! numbers of the days (any count of days, ascending without repeats) and no filling.

/// What each value brings that the day before did not announce: u_t = e_t - rho e_{t-1}; `None` where the day before is missing.
///
/// Control charts need these: on autocorrelated values they alarm several times too often (Alwan and Roberts 1988).
pub fn innovations(values: &[f64], days: &[i64], rho: f64) -> Vec<Option<f64>> {
    let first = std::iter::once(None).take(values.len());
    first
        .chain(values.windows(2).zip(days.windows(2)).map(|(e, d)| (d[1] - d[0] == 1).then(|| e[1] - rho * e[0])))
        .collect()
}

/// a' R a with R_ij = rho^|d_i - d_j|: the variance of a weighted sum of errors, in units of their variance.
///
/// One pass: what has gone before fades by rho^gap from day to day.
pub fn variance_of_sum(weights: impl IntoIterator<Item = f64>, days: &[i64], rho: f64) -> f64 {
    let mut before = Fading::new(rho);
    weights.into_iter().zip(days).map(|(weight, &day)| weight * (weight + 2.0 * before.then(weight, day))).sum()
}

/// 1' R 1: the variance of the plain sum of the errors of these days. Without gaps it is m + 2 Σ (m - k) rho^k.
pub fn variance_of_total(days: &[i64], rho: f64) -> f64 {
    variance_of_sum(days.iter().map(|_| 1.0), days, rho)
}

/// X' R X for the columns of X: what a frozen baseline keeps in place of its design, because the variance of its sum
/// over any later days is g' (X' R X) g (see [`crate::stats::savings_uncertainty`]).
pub fn cross_product(columns: &[&[f64]], days: &[i64], rho: f64) -> Vec<Vec<f64>> {
    let earlier: Vec<Vec<f64>> = columns
        .iter()
        .map(|column| {
            let mut before = Fading::new(rho);
            column.iter().zip(days).map(|(x, day)| before.then(*x, *day)).collect()
        })
        .collect();
    let one_way = |i: usize, j: usize| -> f64 { columns[i].iter().zip(&earlier[j]).map(|(x, s)| x * s).sum() };
    let same_day = |i: usize, j: usize| -> f64 { columns[i].iter().zip(columns[j]).map(|(x, y)| x * y).sum() };
    let all = 0..columns.len();
    all.clone().map(|i| all.clone().map(|j| same_day(i, j) + one_way(i, j) + one_way(j, i)).collect()).collect()
}

/// The sum of all earlier values, each faded by rho for each day since.
struct Fading {
    rho: f64,
    sum: f64,
    day: Option<i64>,
}

impl Fading {
    fn new(rho: f64) -> Self {
        Self { rho, sum: 0.0, day: None }
    }

    /// The faded sum of what came before this day; the day's own value then joins it.
    fn then(&mut self, value: f64, day: i64) -> f64 {
        let gap = self.day.map_or(0, |before| day - before);
        let before = self.sum * self.rho.powf(gap as f64);
        (self.sum, self.day) = (before + value, Some(day));
        before
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two blocks with a gap between them, and a day on its own.
    const DAYS: [i64; 6] = [10, 11, 12, 20, 21, 40];
    const WEIGHTS: [f64; 6] = [0.5, -2.0, 3.0, 1.0, 0.25, -4.0];

    /// The definition, term by term.
    fn defined(x: &[f64], y: &[f64], rho: f64) -> f64 {
        let term = |i: usize, j: usize| x[i] * y[j] * rho.powi((DAYS[i] - DAYS[j]).abs() as i32);
        (0..x.len()).flat_map(|i| (0..y.len()).map(move |j| (i, j))).map(|(i, j)| term(i, j)).sum()
    }

    #[test]
    fn one_pass_agrees_with_the_definition_over_gaps() {
        for rho in [-0.3, 0.0, 0.35, 0.9] {
            let ones = [1.0; 6];
            assert!((variance_of_sum(WEIGHTS, &DAYS, rho) - defined(&WEIGHTS, &WEIGHTS, rho)).abs() < 1e-12);
            assert!((variance_of_total(&DAYS, rho) - defined(&ones, &ones, rho)).abs() < 1e-12);
            let cross = cross_product(&[&ones, &WEIGHTS], &DAYS, rho);
            assert!((cross[0][1] - defined(&ones, &WEIGHTS, rho)).abs() < 1e-12);
            assert_eq!(cross[0][1], cross[1][0]);
            assert!((cross[1][1] - defined(&WEIGHTS, &WEIGHTS, rho)).abs() < 1e-12);
        }
    }

    #[test]
    fn without_gaps_the_total_has_its_closed_form() {
        let (m, rho): (i32, f64) = (90, 0.3);
        let closed = f64::from(m) + 2.0 * (1..m).map(|k| f64::from(m - k) * rho.powi(k)).sum::<f64>();
        let days: Vec<i64> = (0..i64::from(m)).collect();
        assert!((variance_of_total(&days, rho) - closed).abs() < 1e-10);
        assert_eq!(variance_of_total(&[], rho), 0.0);
    }

    #[test]
    fn a_day_after_a_gap_has_no_innovation() {
        let found = innovations(&[1.0, 2.0, 3.0, 4.0, 5.0, 6.0], &DAYS, 0.5);
        assert_eq!(found, [None, Some(1.5), Some(2.0), None, Some(3.0), None]);
        assert!(innovations(&[], &[], 0.5).is_empty());
    }
}
