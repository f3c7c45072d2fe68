//! The normal distribution.

use std::f64::consts::{FRAC_1_SQRT_2, TAU};

/// Density of the standard normal distribution.
pub fn density(z: f64) -> f64 {
    (-0.5 * z * z).exp() / TAU.sqrt()
}

/// Probability of a standard normal value up to z: Φ(z) = erfc(-z / √2) / 2 (DLMF 7.18, error function of FreeBSD's libm).
pub fn cdf(z: f64) -> f64 {
    0.5 * libm::erfc(-z * FRAC_1_SQRT_2)
}

/// The z with Φ(z) = p; `None` unless 0 < p < 1.
///
/// Newton's method on the tail, which is convex there, from the left: it can only approach, never jump past.
pub fn quantile(p: f64) -> Option<f64> {
    if !(p > 0.0 && p < 1.0) {
        return None;
    }
    let tail = p.min(1.0 - p);
    let mut z = 0.0;
    loop {
        let step = (cdf(-z) - tail) / density(z);
        if step > f64::EPSILON * z {
            z += step;
        } else {
            return Some(if p < 0.5 { -z } else { z });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Row `inf` of tests/reference/student_t_two_sided.csv (scipy): 68, 90, 95 and 99 %.
    #[test]
    fn quantiles_agree_with_the_published_ones_to_twelve_decimals() {
        for (two_sided, z) in
            [(0.68, 0.994457883210), (0.90, 1.644853626951), (0.95, 1.959963984540), (0.99, 2.575829303549)]
        {
            let found = quantile(0.5 + two_sided / 2.0).unwrap();
            assert!((found - z).abs() < 1e-12, "{two_sided}: {found}");
            assert!((quantile(0.5 - two_sided / 2.0).unwrap() + found).abs() < 1e-12);
        }
    }

    #[test]
    fn quantile_and_cdf_undo_each_other_far_out() {
        for z in [-20.0, -8.0, -1.0, 0.0, 0.3, 5.0] {
            assert!((quantile(cdf(z)).unwrap() - z).abs() < 1e-9, "{z}");
        }
        assert_eq!(quantile(0.5), Some(0.0));
        assert_eq!((quantile(0.0), quantile(1.0), quantile(f64::NAN)), (None, None, None));
    }
}
