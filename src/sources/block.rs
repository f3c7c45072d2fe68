//! Read planning: which registers go into one request, and what came back.

use crate::sources::{NoValue, Register, RegisterMap, Table, decode};
use crate::time::At;
use std::fmt;

/// The most registers that one request may ask for (Modbus application protocol, functions 3 and 4).
pub const MOST_REGISTERS: u16 = 125;

/// One request: neighbouring registers of one table.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Block {
    /// The table.
    pub table: Table,
    /// The first register, from 0.
    pub address: u16,
    /// How many.
    pub count: u16,
}

impl Block {
    /// The register after the last.
    fn end(self) -> u32 {
        u32::from(self.address) + u32::from(self.count)
    }

    /// Whether a span of registers lies wholly inside.
    fn holds(self, span: Self) -> bool {
        self.table == span.table && self.address <= span.address && span.end() <= self.end()
    }
}

impl fmt::Display for Block {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.count {
            1 => write!(f, "{} register {}", self.table.word(), self.address),
            _ => write!(f, "{} registers {} to {}", self.table.word(), self.address, self.end() - 1),
        }
    }
}

/// The requests that bring every value of a map and its scale register once, sorted by table and address. A value is
/// never split between two; a request asks for no more than the map's `max_block`, unless a single value is longer;
/// registers between two values are bridged only up to the map's `bridge`.
pub fn plan(map: &RegisterMap) -> Vec<Block> {
    let limit = u32::from(map.max_block.min(MOST_REGISTERS));
    let mut spans: Vec<Block> = map.registers.iter().flat_map(spans).collect();
    // The longer of two spans at one address comes first, so that the shorter lies inside.
    spans.sort_by_key(|span| (span.table, span.address, std::cmp::Reverse(span.count)));
    let mut blocks: Vec<Block> = Vec::new();
    for span in spans {
        match blocks.last_mut() {
            Some(last) if last.holds(span) => {}
            Some(last) if joins(*last, span, u32::from(map.bridge), limit) => {
                last.count = (span.end() - u32::from(last.address)) as u16;
            }
            _ => blocks.push(span),
        }
    }
    blocks
}

/// The registers of a value, and its scale register.
fn spans(register: &Register) -> impl Iterator<Item = Block> {
    let table = register.table;
    let value = Block { table, address: register.address, count: register.encoding.registers() };
    let scale = register.scale_register.map(|address| Block { table, address, count: 1 });
    std::iter::once(value).chain(scale)
}

/// Whether a span may be read together with the block before it.
fn joins(block: Block, span: Block, bridge: u32, limit: u32) -> bool {
    let near = u32::from(span.address) <= block.end() + bridge;
    block.table == span.table && near && span.end().max(block.end()) - u32::from(block.address) <= limit
}

/// What the requests of one cycle brought.
#[derive(Clone, Debug, Default)]
pub struct Image {
    parts: Vec<(Block, At, Vec<u16>)>,
}

impl Image {
    /// Adds an answer. One that does not hold as many registers as were asked for adds nothing.
    pub fn add(&mut self, block: Block, at: At, words: Vec<u16>) {
        if words.len() == usize::from(block.count) {
            self.parts.push((block, at, words));
        }
    }

    /// The registers of a value as they came, and the instant; `None` where they were not read.
    pub fn words(&self, register: &Register) -> Option<(At, &[u16])> {
        self.span(Block { table: register.table, address: register.address, count: register.encoding.registers() })
    }

    /// The count of a register and the instant at which it was read.
    pub fn value(&self, register: &Register) -> Result<(At, i64), NoValue> {
        let (at, words) = self.words(register).ok_or(NoValue::NotRead)?;
        decode(register, words, self.scale(register)).map(|count| (at, count))
    }

    /// What the scale register of a value holds; `None` where it has none or that was not read.
    pub fn scale(&self, register: &Register) -> Option<u16> {
        let address = register.scale_register?;
        let (_, words) = self.span(Block { table: register.table, address, count: 1 })?;
        words.first().copied()
    }

    fn span(&self, span: Block) -> Option<(At, &[u16])> {
        let (block, at, words) = self.parts.iter().find(|(block, ..)| block.holds(span))?;
        let from = usize::from(span.address - block.address);
        Some((*at, words.get(from..from + usize::from(span.count))?))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plant::Ratio;
    use crate::readings::Quantity;
    use crate::sources::{ByteOrder, Encoding, WordOrder};
    use proptest::prelude::*;

    fn register(table: Table, address: u16, encoding: Encoding, scale_register: Option<u16>) -> Register {
        Register {
            quantity: Quantity::Power,
            table,
            address,
            encoding,
            words: WordOrder::Big,
            bytes: ByteOrder::Big,
            unit: Ratio::ONE,
            step: Ratio::ONE,
            offset: 0,
            scale_register,
            unavailable: Vec::new(),
        }
    }

    fn map(registers: Vec<Register>, max_block: u16, bridge: u16) -> RegisterMap {
        RegisterMap { name: "m".into(), registers, max_block, bridge, modulus: None }
    }

    fn spans_of(map: &RegisterMap) -> Vec<(Table, u16, u16)> {
        plan(map).iter().map(|b| (b.table, b.address, b.count)).collect()
    }

    #[test]
    fn neighbours_are_read_together_and_gaps_only_as_the_map_allows() {
        use Encoding::{F32, U16};
        let input = |address, encoding| register(Table::Input, address, encoding, None);
        let registers = vec![input(0, F32), input(2, F32), input(6, U16), register(Table::Holding, 0, U16, None)];
        let apart = [(Table::Holding, 0, 1), (Table::Input, 0, 4), (Table::Input, 6, 1)];
        assert_eq!(spans_of(&map(registers.clone(), 125, 0)), apart);
        assert_eq!(spans_of(&map(registers.clone(), 125, 1)), apart);
        assert_eq!(spans_of(&map(registers.clone(), 125, 2)), [(Table::Holding, 0, 1), (Table::Input, 0, 7)]);
        assert_eq!(
            spans_of(&map(registers, 3, 2)),
            [(Table::Holding, 0, 1), (Table::Input, 0, 2), (Table::Input, 2, 2), (Table::Input, 6, 1)]
        );
    }

    /// Offsets of a SunSpec three-phase meter (models 201 to 204): W at 18, its scale factor at 22.
    #[test]
    fn a_value_and_its_scale_register_are_read_in_the_same_cycle() {
        let watts = register(Table::Holding, 40_088, Encoding::I16, Some(40_092));
        let near = map(vec![watts.clone()], 125, 8);
        assert_eq!(spans_of(&near), [(Table::Holding, 40_088, 5)]);
        let far = map(vec![watts.clone()], 125, 0);
        assert_eq!(spans_of(&far), [(Table::Holding, 40_088, 1), (Table::Holding, 40_092, 1)]);
        let mut image = Image::default();
        let blocks = plan(&far);
        image.add(blocks[0], At(10), vec![1234]);
        assert_eq!(image.value(&watts), Err(NoValue::NotRead));
        image.add(blocks[1], At(20), vec![1]);
        assert_eq!(image.value(&watts), Ok((At(10), 12_340)));
    }

    #[test]
    fn an_answer_of_another_length_is_no_answer() {
        let watts = register(Table::Input, 0, Encoding::U16, None);
        let mut image = Image::default();
        image.add(Block { table: Table::Input, address: 0, count: 2 }, At(0), vec![7]);
        assert_eq!(image.value(&watts), Err(NoValue::NotRead));
    }

    fn any_register() -> impl Strategy<Value = Register> {
        let table = prop::sample::select(&[Table::Holding, Table::Input][..]);
        let encoding = prop::sample::select(&Encoding::ALL[..]);
        // The last register of a value lies at 65535 at most; the configuration sees to that.
        (table, prop_oneof![0..300_u16, 0..=65_532_u16], encoding, proptest::option::of(0..300_u16))
            .prop_map(|(table, address, encoding, scale)| register(table, address, encoding, scale))
    }

    proptest! {
        #[test]
        fn a_plan_brings_every_value_once_within_the_limits(
            registers in prop::collection::vec(any_register(), 0..40),
            max_block in 0_u16..200,
            bridge in 0_u16..50,
        ) {
            let map = map(registers, max_block, bridge);
            let blocks = plan(&map);
            for register in &map.registers {
                for span in spans(register) {
                    prop_assert!(blocks.iter().any(|block| block.holds(span)), "{span:?} in {blocks:?}");
                }
            }
            for block in &blocks {
                prop_assert!((1..=MOST_REGISTERS).contains(&block.count));
                prop_assert!(block.count <= max_block.max(4), "{block:?}");
            }
            // No block reads what another reads as a whole, and both ends of a block are wanted.
            for (k, block) in blocks.iter().enumerate() {
                prop_assert!(blocks.iter().enumerate().all(|(j, other)| j == k || !other.holds(*block)));
                let wanted = |f: &dyn Fn(Block) -> bool| map.registers.iter().flat_map(spans).any(f);
                prop_assert!(wanted(&|s| s.table == block.table && s.address == block.address));
                prop_assert!(wanted(&|s| s.table == block.table && s.end() == block.end()));
            }
        }

        #[test]
        fn values_without_overlap_are_asked_for_once(
            encodings in prop::collection::vec((prop::sample::select(&Encoding::ALL[..]), 0_u16..9), 0..60),
            max_block in 4_u16..=125,
            bridge in 0_u16..9,
        ) {
            let mut next = 0;
            let mut registers = Vec::new();
            for (encoding, gap) in encodings {
                registers.push(register(Table::Input, next + gap, encoding, None));
                next += gap + encoding.registers();
            }
            let map = map(registers, max_block, bridge);
            let blocks = plan(&map);
            for span in map.registers.iter().flat_map(spans) {
                prop_assert_eq!(blocks.iter().filter(|block| block.holds(span)).count(), 1);
            }
            prop_assert!(blocks.windows(2).all(|pair| pair[0].end() <= u32::from(pair[1].address)));
        }
    }
}
