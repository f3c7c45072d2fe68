//! Exact quantities, and the one rule that splits them.
//!
//! What must add up is a whole number: energy in milliwatt-hours, carbon in milligrams, money in millionths of
//! the currency. A quantity gets its printed form here and nowhere else.

use std::fmt;
use std::iter::Sum;
use std::ops::{Add, AddAssign, Neg, Sub};

/// A number of things with their noun: `1 meter`, `2 meters`. The plural of the noun ends in s.
pub fn counted<N: fmt::Display + PartialEq + From<u8>>(count: N, noun: &str) -> String {
    let end = if count == N::from(1) { "" } else { "s" };
    format!("{count} {noun}{end}")
}

/// Defines a whole-number quantity with the arithmetic of a sum and nothing more.
macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $ctor:ident, $count:ident) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub struct $name(i64);

        impl $name {
            /// Nothing of it.
            pub const ZERO: Self = Self(0);

            /// The quantity of that many smallest units.
            pub const fn $ctor(count: i64) -> Self {
                Self(count)
            }

            /// How many smallest units it is.
            pub const fn $count(self) -> i64 {
                self.0
            }

            /// Shares the quantity by [`split`].
            pub fn split(self, weights: &[i128]) -> Option<Vec<Self>> {
                Some(split(self.0, weights)?.into_iter().map(Self).collect())
            }
        }

        impl Add for $name {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self(self.0 + other.0)
            }
        }
        impl Sub for $name {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self(self.0 - other.0)
            }
        }
        impl Neg for $name {
            type Output = Self;
            fn neg(self) -> Self {
                Self(-self.0)
            }
        }
        impl AddAssign for $name {
            fn add_assign(&mut self, other: Self) {
                self.0 += other.0;
            }
        }
        impl Sum for $name {
            fn sum<I: Iterator<Item = Self>>(parts: I) -> Self {
                parts.fold(Self::ZERO, Add::add)
            }
        }
        impl<'a> Sum<&'a $name> for $name {
            fn sum<I: Iterator<Item = &'a Self>>(parts: I) -> Self {
                parts.copied().sum()
            }
        }
        impl fmt::Display for $name {
            /// Six decimals of the printed unit, exact.
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(&decimal(self.0, 6))
            }
        }
    };
}

quantity!(
    /// Electrical energy in milliwatt-hours; printed in kWh.
    Energy, from_mwh, mwh
);
quantity!(
    /// Carbon dioxide equivalent in milligrams; printed in kg.
    Co2e, from_mg, mg
);
quantity!(
    /// Money in millionths of the plant's currency; printed in that currency.
    Money, from_micros, micros
);

impl Energy {
    /// For running text: three significant digits, or as many as stand before the point, thousands grouped.
    pub fn rounded(self) -> String {
        significant(self.0.into(), 6)
    }

    /// Whole watt-hours.
    pub const fn from_wh(wh: i64) -> Self {
        Self(wh * 1_000)
    }

    /// Kilowatt-hours for drawing and for estimates; sums stay in whole numbers.
    pub fn kwh(self) -> f64 {
        self.0 as f64 / 1e6
    }

    /// Mean power in watts over that many milliseconds; `None` for no time at all.
    pub fn mean_watts(self, millis: i64) -> Option<f64> {
        (millis > 0).then(|| self.0 as f64 * 3_600.0 / millis as f64)
    }
}

impl Co2e {
    /// Kilograms for drawing and for estimates.
    pub fn kg(self) -> f64 {
        self.0 as f64 / 1e6
    }
}

impl Money {
    /// Units of the currency for drawing and for estimates.
    pub fn units(self) -> f64 {
        self.0 as f64 / 1e6
    }
}

/// An exact decimal number as a tariff or factor set prints it: `digits` x 10^-`scale`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Decimal {
    digits: i128,
    scale: u32,
}

impl Decimal {
    /// Reads `-12.345`; no exponent, no grouping, at most 30 digits. `None` for anything else.
    pub fn parse(text: &str) -> Option<Self> {
        let (sign, body) = match text.strip_prefix('-') {
            Some(rest) => (-1, rest),
            None => (1, text),
        };
        let (whole, fraction) = body.split_once('.').unwrap_or((body, ""));
        let all_digits = |s: &str| s.bytes().all(|b| b.is_ascii_digit());
        if whole.is_empty() || !all_digits(whole) || !all_digits(fraction) || body.ends_with('.') {
            return None;
        }
        if whole.len() + fraction.len() > 30 {
            return None;
        }
        let digits: i128 = format!("{whole}{fraction}").parse().ok()?;
        Some(Self { digits: sign * digits, scale: fraction.len() as u32 })
    }

    /// A whole number.
    pub const fn whole(number: i64) -> Self {
        Self { digits: number as i128, scale: 0 }
    }

    /// The number as a fraction with a power of ten below the line.
    pub fn fraction(self) -> (i128, i128) {
        (self.digits, 10_i128.pow(self.scale))
    }

    /// The product, exact; `None` if it has more than 30 digits.
    pub fn times(self, other: Self) -> Option<Self> {
        let digits = self.digits.checked_mul(other.digits)?;
        let scale = self.scale + other.scale;
        (scale <= 30).then_some(Self { digits, scale })
    }

    /// The sum, exact; `None` if it has more than 30 digits.
    pub fn plus(self, other: Self) -> Option<Self> {
        let scale = self.scale.max(other.scale);
        let at = |number: Self| number.digits.checked_mul(10_i128.pow(scale - number.scale));
        Some(Self { digits: at(self)?.checked_add(at(other)?)?, scale })
    }

    /// The nearest floating-point number, for estimates and drawing.
    pub fn to_f64(self) -> f64 {
        self.digits as f64 / 10_f64.powi(self.scale as i32)
    }

    /// `amount` x this number x `num` / `den`, rounded half away from zero; `None` if it does not fit.
    pub fn scale(self, amount: i64, num: i128, den: i128) -> Option<i64> {
        let (digits, ten) = self.fraction();
        let product = (amount as i128).checked_mul(digits)?.checked_mul(num)?;
        i64::try_from(divide_rounded(product, ten.checked_mul(den)?)).ok()
    }
}

impl fmt::Display for Decimal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (sign, size) = (if self.digits < 0 { "-" } else { "" }, self.digits.unsigned_abs());
        let ten = 10_u128.pow(self.scale);
        match self.scale {
            0 => write!(f, "{sign}{size}"),
            scale => write!(f, "{sign}{}.{:0width$}", size / ten, size % ten, width = scale as usize),
        }
    }
}

/// Shares `total` in proportion to `weights`, in their order: the parts add up to the total exactly, and each
/// lies within one unit of its exact share. `None` where no weight is above zero: the caller then leaves the
/// total unassigned. Weights below zero count as zero.
///
/// Cumulative cut points: part k is what lies between the rounded-down running shares, so that no remainder
/// is left over and none has to be dealt out.
pub fn split(total: i64, weights: &[i128]) -> Option<Vec<i64>> {
    let sum: i128 = weights.iter().map(|&w| w.max(0)).sum();
    if sum == 0 {
        return None;
    }
    let size = i128::from(total.unsigned_abs());
    let sign = if total < 0 { -1 } else { 1 };
    let (mut run, mut cut) = (0_i128, 0_i128);
    let mut parts = Vec::with_capacity(weights.len());
    for &weight in weights {
        run += weight.max(0);
        let next = muldiv(size, run, sum);
        parts.push(sign * (next - cut) as i64);
        cut = next;
    }
    Some(parts)
}

/// A rate on the total of `parts`, and each part's share of it, in their order. The shares add up to the total
/// exactly. Parts below zero, such as a negative rest, carry their own share below zero: the parts above zero are
/// charged together, those below zero get what remains to the total. `None` if it does not fit.
pub fn charge(rate: Decimal, parts: &[Energy]) -> Option<(i64, Vec<i64>)> {
    let weights = |sign: i64| parts.iter().map(|e| i128::from(sign * e.mwh())).collect::<Vec<_>>();
    let taken: i64 = parts.iter().map(|e| e.mwh().max(0)).sum();
    let total = rate.scale(parts.iter().map(|e| e.mwh()).sum(), 1, 1)?;
    let above = rate.scale(taken, 1, 1)?;
    let mut shares = split(above, &weights(1)).unwrap_or_else(|| vec![0; parts.len()]);
    if let Some(below) = split(total - above, &weights(-1)) {
        shares.iter_mut().zip(below).for_each(|(share, part)| *share += part);
    }
    Some((total, shares))
}

/// floor(`a` x `b` / `c`) for `0 <= b <= c` and `a` below 2^63, without overflow.
pub fn muldiv(a: i128, b: i128, c: i128) -> i128 {
    match a.checked_mul(b) {
        Some(product) => product / c,
        // Weights this large carry more precision than a whole share can show: 63 bits of them decide.
        None => {
            let shift = 128 - c.leading_zeros() - 63;
            a * (b >> shift) / (c >> shift)
        }
    }
}

/// `a` / `b`, rounded half away from zero; `b` above zero.
pub fn divide_rounded(a: i128, b: i128) -> i128 {
    let half = if a < 0 { -(b / 2) } else { b / 2 };
    (a + half) / b
}

/// A whole number of smallest units with `places` decimals: `decimal(1_500_000, 6)` is `1.500000`.
pub fn decimal(count: i64, places: u32) -> String {
    Decimal { digits: i128::from(count), scale: places }.to_string()
}

/// `count` / 10^`exponent` with three significant digits, or as many as stand before the point.
pub fn significant(count: i128, exponent: u32) -> String {
    fixed(count, exponent, places(count, exponent).min(exponent))
}

/// How many decimals give `count` / 10^`exponent` three significant digits, at most four.
pub fn places(count: i128, exponent: u32) -> u32 {
    let size = count.unsigned_abs();
    if size == 0 {
        return 0;
    }
    let ten = 10_u128.pow(exponent);
    (0..4).find(|places| size * 10_u128.pow(*places) >= 100 * ten).unwrap_or(4)
}

/// `count` / 10^`exponent` with `places` decimals, rounded half away from zero, a true minus, and thousands grouped.
pub fn fixed(count: i128, exponent: u32, places: u32) -> String {
    let digits = divide_rounded(count, 10_i128.pow(exponent - places));
    let ten = 10_u128.pow(places);
    let (whole, fraction) = (digits.unsigned_abs() / ten, digits.unsigned_abs() % ten);
    let sign = if digits < 0 { "−" } else { "" };
    match places {
        0 => format!("{sign}{}", grouped(whole)),
        _ => format!("{sign}{}.{fraction:0width$}", grouped(whole), width = places as usize),
    }
}

/// Bytes as lower-case hexadecimal digits, as hashes are written.
pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// A whole number with its thousands grouped.
pub fn grouped(number: u128) -> String {
    let digits = number.to_string();
    let first = (digits.len() - 1) % 3 + 1;
    let groups = (first..digits.len()).step_by(3).map(|at| &digits[at..at + 3]);
    std::iter::once(&digits[..first]).chain(groups).collect::<Vec<_>>().join(",")
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn parts_of_a_split_follow_the_cumulative_cut_points() {
        assert_eq!(split(10, &[1, 1, 1]), Some(vec![3, 3, 4]));
        assert_eq!(split(-10, &[1, 1, 1]), Some(vec![-3, -3, -4]));
        assert_eq!(split(7, &[0, 5, 0]), Some(vec![0, 7, 0]));
    }

    #[test]
    fn a_rate_is_taken_on_the_total_and_parts_below_zero_stay_below_zero() {
        let parts = [7, -3, 0, 9].map(Energy::from_mwh);
        let (total, shares) = charge(Decimal::parse("0.5").expect("a decimal"), &parts).expect("it fits");
        // 13 x 0.5 = 6.5 -> 7; above zero 16 x 0.5 = 8; what remains for the -3 is -1.
        assert_eq!((total, shares), (7, vec![3, -1, 0, 5]));
    }

    #[test]
    fn nothing_to_weigh_by_is_no_split() {
        assert_eq!(split(7, &[]), None);
        assert_eq!(split(7, &[0, -3]), None);
    }

    #[test]
    fn energy_prints_in_kwh_with_six_exact_decimals() {
        assert_eq!(Energy::from_mwh(1_234_567).to_string(), "1.234567");
        assert_eq!(Energy::from_mwh(-1).to_string(), "-0.000001");
        assert_eq!(Energy::from_wh(12).to_string(), "0.012000");
    }

    #[test]
    fn energy_in_running_text_has_three_significant_digits() {
        let told = [21_500_000, 1_234_567_890, 12_340, -5_000_000].map(|mwh| Energy::from_mwh(mwh).rounded());
        assert_eq!(told, ["21.5", "1,235", "0.0123", "−5.00"]);
    }

    #[test]
    fn decimals_keep_the_digits_that_were_published() {
        let factor = Decimal::parse("0.20707428859").expect("a decimal");
        assert_eq!(factor.to_string(), "0.20707428859");
        // 1,000,000 kWh under the UK set of 2023: 207,074.28859 kg.
        assert_eq!(factor.scale(1_000_000_000_000, 1, 1), Some(207_074_288_590));
        for bad in ["", "-", ".5", "5.", "1e3", "1,5", "0x1", " 1"] {
            assert_eq!(Decimal::parse(bad), None, "{bad:?}");
        }
    }

    #[test]
    fn rounding_is_half_away_from_zero() {
        assert_eq!([5, -5, 4, -4].map(|a| divide_rounded(a, 10)), [1, -1, 0, 0]);
    }

    proptest! {
        #[test]
        fn parts_add_up_and_lie_within_one_unit(
            total in any::<i64>().prop_filter("has a size", |t| *t != i64::MIN),
            weights in prop::collection::vec(0_i128..1_000_000_000_000, 1..40),
        ) {
            let sum: i128 = weights.iter().sum();
            if let Some(parts) = split(total, &weights) {
                prop_assert_eq!(parts.iter().map(|&p| i128::from(p)).sum::<i128>(), i128::from(total));
                for (part, weight) in parts.iter().zip(&weights) {
                    let exact = total as f64 * *weight as f64 / sum as f64;
                    prop_assert!((*part as f64 - exact).abs() <= 1.0 + exact.abs() * 1e-12);
                }
            } else {
                prop_assert_eq!(sum, 0);
            }
        }
    }
}
