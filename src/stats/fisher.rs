//! Fisher's F distribution.

use super::beta;

/// Probability that F with these degrees of freedom exceeds a value: the p value of an F test.
///
/// I_x(ν₂/2, ν₁/2) with x = ν₂ / (ν₂ + ν₁ F): Abramowitz and Stegun 26.6.2. `None` unless F >= 0 and both are positive.
pub fn tail(f: f64, upper: f64, lower: f64) -> Option<f64> {
    if !(f >= 0.0 && upper > 0.0 && lower > 0.0) {
        return None;
    }
    let whole = lower + upper * f;
    if whole.is_infinite() {
        return Some(0.0);
    }
    Some(beta::incomplete(lower / 2.0, upper / 2.0, lower / whole, upper * f / whole).0)
}

/// The F that is exceeded with probability `tail`; `None` unless 0 < tail < 1 and both degrees of freedom are positive.
///
/// Bisection: it serves thresholds, of which there are few.
pub fn quantile(exceeded: f64, upper: f64, lower: f64) -> Option<f64> {
    if !(exceeded > 0.0 && exceeded < 1.0) {
        return None;
    }
    let (mut low, mut high) = (0.0, 1.0);
    while tail(high, upper, lower)? > exceeded {
        high *= 2.0;
    }
    while high - low > 2.0 * f64::EPSILON * high {
        let middle = 0.5 * (low + high);
        match tail(middle, upper, lower)? > exceeded {
            true => low = middle,
            false => high = middle,
        }
    }
    Some(high)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::student;

    /// Critical values of F at 10 % for 12 points and 1 to 5 drivers, scipy 1.17.1.
    #[test]
    fn critical_values_agree_with_scipy() {
        for (drivers, f) in [(1.0, 3.2850), (2.0, 3.0065), (3.0, 2.9238), (4.0, 2.9605), (5.0, 3.1075)] {
            let found = quantile(0.10, drivers, 11.0 - drivers).unwrap();
            assert!((found - f).abs() < 5e-5, "{drivers}: {found}");
        }
    }

    /// F with one upper degree of freedom is t squared.
    #[test]
    fn one_upper_degree_of_freedom_is_t_squared() {
        let t = student::two_sided(0.95, 17.0).unwrap();
        assert!((quantile(0.05, 1.0, 17.0).unwrap() / (t * t) - 1.0).abs() < 1e-13);
        assert!((tail(t * t, 1.0, 17.0).unwrap() - 0.05).abs() < 1e-15);
    }

    #[test]
    fn nonsense_has_no_tail() {
        assert_eq!(tail(-1.0, 2.0, 3.0), None);
        assert_eq!(tail(f64::NAN, 2.0, 3.0), None);
        assert_eq!(tail(1.0, 0.0, 3.0), None);
        assert_eq!(tail(f64::INFINITY, 1.0, 3.0), Some(0.0));
        assert_eq!(quantile(0.0, 1.0, 3.0), None);
    }
}
