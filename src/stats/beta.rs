//! The regularised incomplete beta function, on which Student's t and Fisher's F stand.
//!
//! Own, because what the registries offer lost digits at thousands of degrees of freedom, or did not return.

/// I_x(a, b) and its complement 1 - I_x(a, b), each without cancellation, for a, b > 0.
///
/// The caller gives x and 1 - x both, so that neither loses digits. Continued fraction of DLMF 8.17.22, evaluated by
/// the modified Lentz method (Thompson and Barnett 1986), on the side of the mean where it converges quickly.
pub(super) fn incomplete(a: f64, b: f64, x: f64, rest: f64) -> (f64, f64) {
    if x <= 0.0 || rest <= 0.0 {
        return if x <= 0.0 { (0.0, 1.0) } else { (1.0, 0.0) };
    }
    let front = (a * ln(x, rest) + b * ln(rest, x) - ln_beta(a, b)).exp();
    if x < (a + 1.0) / (a + b + 2.0) {
        let part = front / a * fraction(a, b, x);
        (part, 1.0 - part)
    } else {
        let part = front / b * fraction(b, a, rest);
        (1.0 - part, part)
    }
}

/// ln x, through its complement where x is near one.
fn ln(x: f64, rest: f64) -> f64 {
    if rest < 0.5 { (-rest).ln_1p() } else { x.ln() }
}

/// The continued fraction of the incomplete beta function.
fn fraction(a: f64, b: f64, x: f64) -> f64 {
    // It needs about the square root of the larger argument; this is enough for 10^8.
    const STEPS: u32 = 20_000;
    let away_from_zero = |v: f64| if v.abs() < f64::MIN_POSITIVE { f64::MIN_POSITIVE } else { v };
    let mut d = 1.0 / away_from_zero(1.0 - (a + b) * x / (a + 1.0));
    let (mut c, mut value) = (1.0, d);
    for step in 1..STEPS {
        let m = f64::from(step);
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        let odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        let mut change = 1.0;
        for term in [even, odd] {
            d = 1.0 / away_from_zero(1.0 + term * d);
            c = away_from_zero(1.0 + term / c);
            change *= c * d;
        }
        value *= change;
        if (change - 1.0).abs() < f64::EPSILON {
            break;
        }
    }
    value
}

/// ln B(a, b) to about 1e-15 whatever the size of its arguments: small ones are raised by the recurrence
/// B(a, b) = B(a + 1, b) (a + b) / a, then the Stirling series of the three gamma functions are taken together,
/// so that their large parts cancel on paper and not in floating point (as in Didonato and Morris 1992).
pub(super) fn ln_beta(a: f64, b: f64) -> f64 {
    let (mut a, mut b, mut raised) = (a, b, 1.0);
    while a < STIRLING_FROM {
        raised *= (a + b) / a;
        a += 1.0;
    }
    while b < STIRLING_FROM {
        raised *= (a + b) / b;
        b += 1.0;
    }
    let powers = -a * (b / a).ln_1p() - b * (a / b).ln_1p();
    let root = 0.5 * (std::f64::consts::TAU * (1.0 / a + 1.0 / b)).ln();
    raised.ln() + powers + root + stirling(a) + stirling(b) - stirling(a + b)
}

/// From here on seven terms of the Stirling series leave less than 1e-16.
const STIRLING_FROM: f64 = 12.0;

/// ln Γ(x) less (x - 1/2) ln x - x + ln(2π) / 2: the series of DLMF 5.11.1.
fn stirling(x: f64) -> f64 {
    const TERMS: [f64; 7] =
        [1.0 / 12.0, -1.0 / 360.0, 1.0 / 1260.0, -1.0 / 1680.0, 1.0 / 1188.0, -691.0 / 360_360.0, 1.0 / 156.0];
    TERMS.iter().rev().fold(0.0, |sum, term| sum / (x * x) + term) / x
}

#[cfg(test)]
mod tests {
    use super::*;

    /// B(a, b) of whole numbers is (a-1)! (b-1)! / (a+b-1)!; B(1/2, 1/2) = π.
    #[test]
    fn the_beta_function_agrees_with_its_closed_forms() {
        for (a, b, value) in [(1.0, 1.0, 1.0), (3.0, 4.0, 1.0 / 60.0), (0.5, 0.5, std::f64::consts::PI)] {
            assert!((ln_beta(a, b) - f64::ln(value)).abs() < 2e-15, "{a} {b}");
        }
    }

    /// I_x(a, 1) = x^a, and I_x(a, b) = 1 - I_{1-x}(b, a): DLMF 8.17.4 and 8.17.7.
    #[test]
    fn the_incomplete_beta_function_agrees_with_its_closed_forms() {
        for (a, x) in [(0.5, 0.1), (2.0, 0.7), (40.0, 0.95), (4_000.0, 0.9999)] {
            let (lower, upper) = incomplete(a, 1.0, x, 1.0 - x);
            assert!((lower - f64::powf(x, a)).abs() < 1e-13, "{a} {x}: {lower}");
            assert_eq!(incomplete(1.0, a, 1.0 - x, x).1, lower);
            assert!((lower + upper - 1.0).abs() < 1e-15);
        }
        assert_eq!(incomplete(2.0, 3.0, 0.0, 1.0), (0.0, 1.0));
        assert_eq!(incomplete(2.0, 3.0, 1.0, 0.0), (1.0, 0.0));
    }
}
