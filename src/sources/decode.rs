//! Decoding: the registers of one value become one whole count, or the reason why there is none.

use crate::sources::{ByteOrder, Encoding, Register, WordOrder};
use crate::units::divide_rounded;
use std::fmt;

/// Why a register gave no count.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum NoValue {
    /// The request that would have brought it was not answered.
    NotRead,
    /// The device wrote a pattern that its map declares as "not available".
    Unavailable(u64),
    /// A float that is not a number, or infinite.
    NotANumber,
    /// The scale register says "not available" (0x8000), so that no value using it holds.
    NoScale,
    /// The scale register's power of ten lies outside -10 to 10.
    ScaleOutOfRange(i16),
    /// The value does not fit into 64 bits.
    TooLarge,
}

impl fmt::Display for NoValue {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotRead => f.write_str("not read"),
            Self::Unavailable(raw) => write!(f, "the device says \"not available\" (0x{raw:X})"),
            Self::NotANumber => f.write_str("the device says \"not a number\""),
            Self::NoScale => f.write_str("its scale register says \"not available\" (0x8000)"),
            Self::ScaleOutOfRange(n) => write!(f, "its scale register says 10^{n}, expected 10^-10 to 10^10"),
            Self::TooLarge => f.write_str("the value does not fit into 64 bits: check encoding and word order"),
        }
    }
}

/// The value of a register in counts of its step, offset included. `words` are its registers as they came, `scale` is
/// what its scale register holds, where the map names one. What is finer than a step, such as a float, goes to the nearest
/// count, half away from zero.
pub fn decode(register: &Register, words: &[u16], scale: Option<u16>) -> Result<i64, NoValue> {
    let raw = assemble(register, words).ok_or(NoValue::NotRead)?;
    if register.unavailable.contains(&raw) {
        return Err(NoValue::Unavailable(raw));
    }
    let exponent = match register.scale_register {
        Some(_) => exponent(scale.ok_or(NoValue::NotRead)?)?,
        None => 0,
    };
    let count = match register.encoding {
        Encoding::F32 => rounded(register, f64::from(f32::from_bits(raw as u32)), exponent)?,
        Encoding::F64 => rounded(register, f64::from_bits(raw), exponent)?,
        encoding => counted(register, whole(encoding, raw), exponent)?,
    };
    count.checked_add(register.offset).ok_or(NoValue::TooLarge)
}

/// The bits of a value, most significant register first; `None` unless there are as many registers as it takes.
pub fn assemble(register: &Register, words: &[u16]) -> Option<u64> {
    if words.len() != usize::from(register.encoding.registers()) {
        return None;
    }
    let join = |bits: u64, word: u16| {
        let word = match register.bytes {
            ByteOrder::Big => word,
            ByteOrder::Little => word.swap_bytes(),
        };
        bits << 16 | u64::from(word)
    };
    Some(match register.words {
        WordOrder::Big => words.iter().copied().fold(0, join),
        WordOrder::Little => words.iter().rev().copied().fold(0, join),
    })
}

/// The power of ten of a scale register: signed 16 bits, 0x8000 for "not available", -10 to 10 (SunSpec `sunssf`).
fn exponent(word: u16) -> Result<i16, NoValue> {
    match word as i16 {
        i16::MIN => Err(NoValue::NoScale),
        n if !(-10..=10).contains(&n) => Err(NoValue::ScaleOutOfRange(n)),
        n => Ok(n),
    }
}

/// The whole number that the bits stand for.
fn whole(encoding: Encoding, raw: u64) -> i128 {
    match encoding {
        Encoding::I16 => i128::from(raw as u16 as i16),
        Encoding::I32 => i128::from(raw as u32 as i32),
        Encoding::I64 => i128::from(raw as i64),
        _ => i128::from(raw),
    }
}

/// value x 10^exponent x unit / step in whole numbers.
fn counted(register: &Register, value: i128, exponent: i16) -> Result<i64, NoValue> {
    let ten = 10_i128.pow(u32::from(exponent.unsigned_abs()));
    let (up, down) = if exponent < 0 { (1, ten) } else { (ten, 1) };
    let above = [register.unit.num.into(), register.step.den.into(), up];
    let below = [register.unit.den.into(), register.step.num.into(), down];
    let product = |factors: [i128; 3]| factors.into_iter().try_fold(1_i128, i128::checked_mul);
    let (above, below) = (product(above).ok_or(NoValue::TooLarge)?, product(below).ok_or(NoValue::TooLarge)?);
    let scaled = value.checked_mul(above).ok_or(NoValue::TooLarge)?;
    if below <= 0 || scaled.unsigned_abs() > i128::MAX.unsigned_abs() - below.unsigned_abs() {
        return Err(NoValue::TooLarge);
    }
    i64::try_from(divide_rounded(scaled, below)).map_err(|_| NoValue::TooLarge)
}

/// value x 10^exponent x unit / step, to the nearest whole number.
fn rounded(register: &Register, value: f64, exponent: i16) -> Result<i64, NoValue> {
    if !value.is_finite() {
        return Err(NoValue::NotANumber);
    }
    let count = (value * 10_f64.powi(exponent.into()) * register.unit.to_f64() / register.step.to_f64()).round();
    // 2^63 is the first float that no longer fits; every float below it is an exact whole number or was rounded to one.
    if count.abs() < 9_223_372_036_854_775_808.0 { Ok(count as i64) } else { Err(NoValue::TooLarge) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plant::Ratio;
    use crate::readings::Quantity;
    use crate::sources::Table;
    use proptest::prelude::*;

    fn register(encoding: Encoding) -> Register {
        Register {
            quantity: Quantity::Power,
            table: Table::Input,
            address: 0,
            encoding,
            words: WordOrder::Big,
            bytes: ByteOrder::Big,
            unit: Ratio::ONE,
            step: Ratio::ONE,
            offset: 0,
            scale_register: None,
            unavailable: Vec::new(),
        }
    }

    /// The four orders of a float that a meter manual prints as 0x43663333 = 230.2 (IEEE 754; computed with Python's
    /// `struct`).
    #[test]
    fn every_order_of_words_and_bytes_gives_the_same_value() {
        let orders = [
            (WordOrder::Big, ByteOrder::Big, [0x4366, 0x3333]),
            (WordOrder::Little, ByteOrder::Big, [0x3333, 0x4366]),
            (WordOrder::Big, ByteOrder::Little, [0x6643, 0x3333]),
            (WordOrder::Little, ByteOrder::Little, [0x3333, 0x6643]),
        ];
        for (words, bytes, raw) in orders {
            let unit = Ratio { num: 1_000, den: 1 };
            let volts = Register { words, bytes, unit, ..register(Encoding::F32) };
            assert_eq!(decode(&volts, &raw, None), Ok(230_200), "{words:?} {bytes:?}");
        }
    }

    /// Values by Python's `struct.pack('>h', ...)` and so on.
    #[test]
    fn every_encoding_is_read_with_its_sign() {
        let cases: [(Encoding, &[u16], i64); 9] = [
            (Encoding::U16, &[0xFFFE], 65_534),
            (Encoding::I16, &[0xFFFE], -2),
            (Encoding::U32, &[0xFFFF, 0xFFFE], 4_294_967_294),
            (Encoding::I32, &[0xFFFF, 0xFFFE], -2),
            (Encoding::U64, &[0x7FFF, 0xFFFF, 0xFFFF, 0xFFFF], i64::MAX),
            (Encoding::I64, &[0xFFFF, 0xFFFF, 0xFFFF, 0xFFFE], -2),
            (Encoding::F32, &[0xC0A0, 0x0000], -5),
            (Encoding::F64, &[0x40FE, 0x2407, 0x3333, 0x3333], 123_456),
            (Encoding::F64, &[0xC00C, 0x0000, 0x0000, 0x0000], -4),
        ];
        for (encoding, words, count) in cases {
            assert_eq!(decode(&register(encoding), words, None), Ok(count), "{encoding:?}");
        }
    }

    #[test]
    fn a_register_beyond_64_bits_signed_is_refused() {
        let words = [0x8000, 0, 0, 0];
        assert_eq!(decode(&register(Encoding::U64), &words, None), Err(NoValue::TooLarge));
        assert_eq!(decode(&register(Encoding::F32), &[0x7F00, 0], None), Err(NoValue::TooLarge));
    }

    #[test]
    fn a_scale_register_multiplies_by_its_power_of_ten() {
        let watts = Register { scale_register: Some(9), unit: Ratio { num: 1_000, den: 1 }, ..register(Encoding::I16) };
        assert_eq!(decode(&watts, &[1234], Some(0)), Ok(1_234_000));
        assert_eq!(decode(&watts, &[1234], Some(2)), Ok(123_400_000));
        assert_eq!(decode(&watts, &[1234], Some(-3_i16 as u16)), Ok(1_234));
        assert_eq!(decode(&watts, &[1235], Some(-4_i16 as u16)), Ok(124));
    }

    /// 0x8000 in a scale factor makes every point that uses it invalid; its range is -10 to 10 (SunSpec Modbus).
    #[test]
    fn a_scale_register_without_a_value_invalidates_what_it_scales() {
        let watts = Register { scale_register: Some(9), ..register(Encoding::I16) };
        assert_eq!(decode(&watts, &[1234], Some(0x8000)), Err(NoValue::NoScale));
        assert_eq!(decode(&watts, &[1234], Some(11)), Err(NoValue::ScaleOutOfRange(11)));
        assert_eq!(decode(&watts, &[1234], None), Err(NoValue::NotRead));
    }

    #[test]
    fn what_is_not_available_is_not_zero() {
        let absent = Register { unavailable: vec![0x8000_0000], ..register(Encoding::I32) };
        assert_eq!(decode(&absent, &[0x8000, 0], None), Err(NoValue::Unavailable(0x8000_0000)));
        for nan in [[0x7FC0, 0], [0xFFC0, 1], [0x7F80, 0], [0xFF80, 0]] {
            assert_eq!(decode(&register(Encoding::F32), &nan, None), Err(NoValue::NotANumber));
        }
    }

    #[test]
    fn a_float_is_stored_as_the_nearest_step() {
        let ratio = |num, den| Ratio { num, den };
        let kwh = Register { unit: ratio(1_000_000, 1), step: ratio(100_000, 1), ..register(Encoding::F64) };
        let words = |v: f64| [48, 32, 16, 0].map(|shift| (v.to_bits() >> shift) as u16);
        assert_eq!(decode(&kwh, &words(1234.56), None), Ok(12_346));
        assert_eq!(decode(&Register { offset: -6, ..kwh }, &words(1234.56), None), Ok(12_340));
    }

    proptest! {
        #[test]
        fn no_registers_make_the_decoder_panic(
            words in prop::collection::vec(any::<u16>(), 0..6),
            scale in any::<Option<u16>>(),
            scaled in any::<bool>(),
            encoding in prop::sample::select(&Encoding::ALL[..]),
            little in any::<(bool, bool)>(),
            (unit, step) in ((any::<i64>(), any::<i64>()), (any::<i64>(), any::<i64>())),
            offset in any::<i64>(),
        ) {
            let any = Register {
                encoding,
                words: if little.0 { WordOrder::Little } else { WordOrder::Big },
                bytes: if little.1 { ByteOrder::Little } else { ByteOrder::Big },
                unit: Ratio { num: unit.0, den: unit.1 },
                step: Ratio { num: step.0, den: step.1 },
                offset,
                scale_register: scaled.then_some(7),
                ..register(Encoding::U16)
            };
            let _ = decode(&any, &words, scale);
        }
    }
}
