//! Decimal numbers as sources write them, turned into counts without passing through floating point.

use crate::plant::Ratio;
use crate::units::divide_rounded;

/// A decimal number: `digits` x 10^`exponent`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Number {
    digits: i128,
    exponent: i32,
}

/// The most significant digits that are read; no meter shows more.
const MOST_DIGITS: usize = 30;

impl Number {
    /// Reads a number as JSON writes it (RFC 8259, section 6), leading zeros allowed: `-12.50`, `1.5e3`. `None` for
    /// anything else, grouping signs included.
    pub fn parse(text: &str) -> Option<Self> {
        let (negative, text) = text.strip_prefix('-').map_or((false, text), |rest| (true, rest));
        let (mantissa, exponent) = match text.split_once(['e', 'E']) {
            Some((mantissa, exponent)) => (mantissa, power(exponent)?),
            None => (text, 0),
        };
        let (whole, fraction) = match mantissa.split_once('.') {
            Some((whole, fraction)) if !fraction.is_empty() => (whole, fraction),
            Some(_) => return None,
            None => (mantissa, ""),
        };
        if whole.is_empty() || !whole.bytes().chain(fraction.bytes()).all(|b| b.is_ascii_digit()) {
            return None;
        }
        let fraction = fraction.trim_end_matches('0');
        let all = format!("{whole}{fraction}");
        let significant = all.trim_start_matches('0');
        if significant.len() > MOST_DIGITS || fraction.len() > 1_000 {
            return None;
        }
        let digits: i128 = if significant.is_empty() { 0 } else { significant.parse().ok()? };
        let exponent = exponent - fraction.len() as i32;
        Some(Self { digits: if negative { -digits } else { digits }, exponent })
    }

    /// The number times a factor, rounded half away from zero; `None` where that does not fit.
    pub fn count(self, factor: Ratio) -> Option<i64> {
        if self.digits == 0 {
            return Some(0);
        }
        let ten = 10_i128.checked_pow(self.exponent.unsigned_abs())?;
        let product = self.digits.checked_mul(i128::from(factor.num))?;
        let (num, den) = match self.exponent {
            0.. => (product.checked_mul(ten)?, i128::from(factor.den)),
            _ => (product, ten.checked_mul(i128::from(factor.den))?),
        };
        // Below 10^38 on both sides, rounding cannot overflow either.
        let fits = num.unsigned_abs() < 10_u128.pow(38) && den < 10_i128.pow(38);
        i64::try_from(fits.then(|| divide_rounded(num, den))?).ok()
    }

    /// The exact decimal of the shortest text that a floating-point number is written as; `None` for NaN and infinity.
    pub fn from_f64(value: f64) -> Option<Self> {
        value.is_finite().then(|| Self::parse(&format!("{value:e}")))?
    }

    /// As [`Number::from_f64`], for single precision: 0.1 stays 0.1.
    pub fn from_f32(value: f32) -> Option<Self> {
        value.is_finite().then(|| Self::parse(&format!("{value:e}")))?
    }
}

impl From<i128> for Number {
    fn from(digits: i128) -> Self {
        Self { digits, exponent: 0 }
    }
}

/// The exponent of a number: `+3`, `-12`; beyond three digits nothing fits.
fn power(text: &str) -> Option<i32> {
    let digits = text.strip_prefix(['+', '-']).unwrap_or(text);
    let plain = (1..=3).contains(&digits.len()) && digits.bytes().all(|b| b.is_ascii_digit());
    plain.then(|| text.parse().ok())?
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const THOUSAND: Ratio = Ratio { num: 1_000, den: 1 };

    fn count(text: &str, factor: Ratio) -> Option<i64> {
        Number::parse(text)?.count(factor)
    }

    #[test]
    fn decimals_become_counts_without_floating_point() {
        // 1.005 x 1000 is 1004.9999999999999 in double precision.
        assert_eq!(count("1.005", THOUSAND), Some(1_005));
        assert_eq!(count("9007199254740993", Ratio::ONE), Some(9_007_199_254_740_993));
        assert_eq!(count("-0.0005", THOUSAND), Some(-1));
        assert_eq!(count("1.5e3", Ratio::ONE), Some(1_500));
        assert_eq!(count("15E-1", THOUSAND), Some(1_500));
        assert_eq!(count("100", Ratio { num: 1, den: 3 }), Some(33));
        assert_eq!(count("0e999", THOUSAND), Some(0));
    }

    #[test]
    fn what_is_no_decimal_number_is_not_read() {
        for bad in ["", "-", ".5", "5.", "1,5", "1e", "1e+", "1e9999", "0x1", " 1", "+1", "NaN", "١", "--1", "1.-5"] {
            assert_eq!(Number::parse(bad), None, "{bad:?}");
        }
    }

    #[test]
    fn what_does_not_fit_is_no_count() {
        assert_eq!(count("9223372036854775807", Ratio::ONE), Some(i64::MAX));
        assert_eq!(count("9223372036854775808", Ratio::ONE), None);
        assert_eq!(count("1e300", Ratio::ONE), None);
        assert_eq!(count("1e-300", Ratio::ONE), None);
    }

    #[test]
    fn floating_point_numbers_are_taken_as_they_are_written() {
        assert_eq!(Number::from_f32(0.1), Number::parse("0.1"));
        assert_eq!(Number::from_f64(1234.5), Number::parse("1234.5"));
        assert_eq!(Number::from_f64(f64::NAN), None);
        assert_eq!(Number::from_f32(f32::INFINITY), None);
    }

    proptest! {
        #[test]
        fn no_text_makes_it_panic(text in "\\PC*", num in any::<i64>(), den in 1..i64::MAX) {
            let _ = count(&text, Ratio { num, den });
        }

        #[test]
        fn no_number_makes_it_panic(text in "-?[0-9]{1,32}(\\.[0-9]{1,32})?(e-?[0-9]{1,3})?", num in any::<i64>(), den in 1..i64::MAX) {
            let _ = count(&text, Ratio { num, den });
        }

        #[test]
        fn whole_numbers_come_back(value in any::<i64>()) {
            prop_assert_eq!(count(&value.to_string(), Ratio::ONE), Some(value));
        }
    }
}
