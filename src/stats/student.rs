//! Student's t distribution, two-sided.
//!
//! The degrees of freedom need not be whole: the effective ones of GUM G.4 and of autocorrelated data are not.

use super::{beta, normal};

/// The t that |T| exceeds with probability 1 - confidence; infinite degrees of freedom give the normal quantile.
///
/// "68 %" means 0.68 here, which is 0.9945 at infinity, not one standard error (0.6827).
/// `None` unless 0 < confidence < 1 and the degrees of freedom are positive.
///
/// Newton's method on the tail, which is convex, from the normal quantile, which lies to its left.
pub fn two_sided(confidence: f64, freedom: f64) -> Option<f64> {
    if freedom.is_nan() || freedom <= 0.0 {
        return None;
    }
    let mut t = normal::quantile(0.5 + confidence / 2.0).filter(|z| *z >= 0.0)?;
    if freedom.is_infinite() {
        return Some(t);
    }
    loop {
        let step = (tails(t, freedom) - (1.0 - confidence)) / (2.0 * density(t, freedom));
        if step > 2.0 * f64::EPSILON * t {
            t += step;
        } else {
            return Some(t);
        }
    }
}

/// Probability that |T| exceeds |t|: the p value of a coefficient.
pub fn p_value(t: f64, freedom: f64) -> Option<f64> {
    (freedom > 0.0 && !t.is_nan()).then(|| match freedom.is_infinite() {
        true => 2.0 * normal::cdf(-t.abs()),
        false => tails(t, freedom),
    })
}

/// I_{ν/(ν+t²)}(ν/2, 1/2): Abramowitz and Stegun 26.7.1.
fn tails(t: f64, freedom: f64) -> f64 {
    let whole = freedom + t * t;
    if whole.is_infinite() {
        return 0.0;
    }
    beta::incomplete(freedom / 2.0, 0.5, freedom / whole, t * t / whole).0
}

/// Density of t.
fn density(t: f64, freedom: f64) -> f64 {
    let power = -0.5 * (freedom + 1.0) * (t * t / freedom).ln_1p();
    (power - beta::ln_beta(freedom / 2.0, 0.5)).exp() / freedom.sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_value_of_the_table_comes_out_to_twelve_decimals() {
        let mut values = 0;
        for line in include_str!("../../tests/reference/stats/student_t_two_sided.csv").lines().skip(1) {
            let cell: Vec<&str> = line.split(',').collect();
            let freedom: f64 = cell[0].parse().unwrap();
            for (confidence, text) in [0.6827, 0.68, 0.80, 0.90, 0.95, 0.99].into_iter().zip(&cell[1..]) {
                let expected: f64 = text.parse().unwrap();
                let found = two_sided(confidence, freedom).unwrap();
                assert!((found - expected).abs() < 1e-12, "{freedom} at {confidence}: {found} for {expected}");
                values += 1;
            }
        }
        assert_eq!(values, 240);
    }

    /// tests/reference/mv_synthetic/expected.json, 50 digits: n' - p = 190.6026373999139172628 degrees of freedom.
    #[test]
    fn degrees_of_freedom_need_not_be_whole() {
        let t = two_sided(0.90, 190.602_637_399_913_92).unwrap();
        assert!((t - 1.652_887_342_584_011).abs() < 1e-13, "{t}");
    }

    /// p values of the synthetic press, statsmodels 0.15.0, in the same file.
    #[test]
    fn p_values_keep_their_digits_far_out() {
        for (t, p) in [(27.89428045287111, 3.348835812465633e-92), (10.797753354980689, 9.50384292200057e-24)] {
            let found = p_value(t, 362.0).unwrap();
            assert!((found / p - 1.0).abs() < 1e-11, "{found}");
        }
    }

    #[test]
    fn nonsense_has_no_quantile() {
        assert_eq!(two_sided(0.9, 0.0), None);
        assert_eq!(two_sided(0.9, -3.0), None);
        assert_eq!(two_sided(0.9, f64::NAN), None);
        assert_eq!(two_sided(1.0, 5.0), None);
        assert_eq!(two_sided(-0.1, 5.0), None);
        assert_eq!(two_sided(0.0, 5.0), Some(0.0));
        assert_eq!(p_value(f64::NAN, 5.0), None);
    }
}
