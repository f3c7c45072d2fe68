//! Plausibility at first sight: whether a value can be what its map says it is, and whether another order of words and
//! bytes would explain it. A hint for the person who sets up a meter; no reading is refused by it.

use crate::readings::Quantity;
use crate::sources::{ByteOrder, Encoding, Register, WordOrder, assemble};

/// A value that cannot well be what its map says.
#[derive(Clone, Debug, PartialEq)]
pub struct Doubt {
    /// The value in the quantity's base unit.
    pub value: f64,
    /// The orders in which the same registers would be a plausible value, and that value in the base unit.
    pub explained_by: Vec<(WordOrder, ByteOrder, f64)>,
}

/// A load above this many watts is not behind one meter of a label plant.
const MOST_WATTS: f64 = 10e6;
/// A meter that has run at full load for longer than this many hours (30 years) has been exchanged.
const MOST_HOURS: f64 = 30.0 * 8_760.0;

/// Doubts the value in these registers, where there is reason to. `scale` is what the scale register holds; `max_watts`
/// is the most that the load can draw, where known.
pub fn doubt(register: &Register, words: &[u16], scale: Option<u16>, max_watts: Option<i64>) -> Option<Doubt> {
    let watts = max_watts.map_or(MOST_WATTS, |watts| watts as f64 * 1.5);
    let value = in_base_unit(register, words, scale)?;
    if is_plausible(register.quantity, value, watts) {
        return None;
    }
    let others = [WordOrder::Big, WordOrder::Little]
        .into_iter()
        .flat_map(|w| [ByteOrder::Big, ByteOrder::Little].map(|b| (w, b)));
    let explains = |(words_first, bytes_first)| {
        let other = Register { words: words_first, bytes: bytes_first, ..register.clone() };
        let value = in_base_unit(&other, words, scale)?;
        (value != 0.0 && is_plausible(register.quantity, value, watts)).then_some((words_first, bytes_first, value))
    };
    let another = |order: &(WordOrder, ByteOrder)| {
        let one_register = register.encoding.registers() == 1;
        *order != (register.words, register.bytes) && !(one_register && order.0 != register.words)
    };
    Some(Doubt { value, explained_by: others.filter(another).filter_map(explains).collect() })
}

/// The value in the base unit; `None` where it is no number or is declared as not available.
fn in_base_unit(register: &Register, words: &[u16], scale: Option<u16>) -> Option<f64> {
    let raw = assemble(register, words)?;
    if register.unavailable.contains(&raw) {
        return None;
    }
    let written = match register.encoding {
        Encoding::F32 => f64::from(f32::from_bits(raw as u32)),
        Encoding::F64 => f64::from_bits(raw),
        Encoding::I16 => f64::from(raw as u16 as i16),
        Encoding::I32 => f64::from(raw as u32 as i32),
        Encoding::I64 => raw as i64 as f64,
        Encoding::U16 | Encoding::U32 | Encoding::U64 => raw as f64,
    };
    let exponent = register.scale_register.and(scale).map_or(0, |word| i32::from(word as i16).clamp(-10, 10));
    let value = written * 10_f64.powi(exponent) * register.unit.to_f64();
    value.is_finite().then_some(value)
}

/// Limits in base units: thousandths of V, A and power factor, mW and mWh. Common practice for low-voltage meters, no
/// source.
fn is_plausible(quantity: Quantity, value: f64, watts: f64) -> bool {
    let size = value.abs();
    // Floats read in the wrong order are mostly vanishing or huge.
    if size > 0.0 && size < 1e-3 {
        return false;
    }
    match quantity {
        Quantity::Voltage(_) => size <= 1_000e3,
        Quantity::Current(_) => size <= 10_000e3,
        Quantity::PowerFactor(_) => size <= 1_001.0,
        Quantity::Power | Quantity::PowerPhase(_) => size <= watts * 1e3,
        Quantity::Import | Quantity::Export => value >= 0.0 && size <= watts * 1e3 * MOST_HOURS,
        Quantity::ReactiveLag | Quantity::ReactiveLead => size <= watts * 1e3 * MOST_HOURS,
        _ => true,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plant::Ratio;
    use crate::sources::Table;

    fn volts(encoding: Encoding) -> Register {
        Register {
            quantity: Quantity::Voltage(1),
            table: Table::Input,
            address: 0,
            encoding,
            words: WordOrder::Big,
            bytes: ByteOrder::Big,
            unit: Ratio { num: 1_000, den: 1 },
            step: Ratio { num: 100, den: 1 },
            offset: 0,
            scale_register: None,
            unavailable: Vec::new(),
        }
    }

    /// 230.2 as IEEE 754 is 0x43663333 (Python's `struct`).
    #[test]
    fn a_float_whose_words_are_swapped_is_explained_by_the_other_order() {
        assert_eq!(doubt(&volts(Encoding::F32), &[0x4366, 0x3333], None, None), None);
        let found = doubt(&volts(Encoding::F32), &[0x3333, 0x4366], None, None).expect("a doubt");
        assert!(found.value < 1e-3);
        let orders: Vec<_> = found.explained_by.iter().map(|(w, b, v)| (*w, *b, v.round() as i64)).collect();
        assert_eq!(orders, [(WordOrder::Little, ByteOrder::Big, 230_200)]);
    }

    #[test]
    fn a_voltage_of_swapped_bytes_is_explained_by_the_other_order_of_bytes() {
        // 231 V as 0x00E7, low byte first.
        let found = doubt(&volts(Encoding::U16), &[0xE700], None, None).expect("a doubt");
        assert_eq!(found.explained_by, [(WordOrder::Big, ByteOrder::Little, 231_000.0)]);
    }

    #[test]
    fn what_the_load_cannot_draw_is_doubted() {
        let watts = Register { quantity: Quantity::Power, ..volts(Encoding::U32) };
        assert_eq!(doubt(&watts, &[0, 9_000], None, Some(9_000)), None);
        let found = doubt(&watts, &[9_000, 0], None, Some(9_000)).expect("a doubt");
        assert!(found.explained_by.contains(&(WordOrder::Little, ByteOrder::Big, 9_000_000.0)));
    }

    #[test]
    fn nothing_is_no_reason_for_doubt() {
        assert_eq!(doubt(&volts(Encoding::F32), &[0, 0], None, None), None);
        assert_eq!(doubt(&volts(Encoding::F32), &[0x7FC0, 0], None, None), None);
        assert_eq!(doubt(&volts(Encoding::F32), &[0], None, None), None);
    }
}
