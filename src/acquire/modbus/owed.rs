//! Answers that may still come, on lines whose answers carry no number.
//!
//! A request that got no answer in time may get it later, when another request of the same length waits for its own: unit,
//! function and length fit, and the old registers would count as the new ones. So a unit that owes an answer is first asked for
//! another number of registers. Only the answer to that can have that length, and since a device answers in the order in
//! which it was asked, whatever it owed has come by then or never will.

use crate::sources::{Block, Exception, MOST_REGISTERS, Table};
use std::collections::{BTreeMap, BTreeSet};

/// What the units of a line owe.
#[derive(Debug, Default)]
pub(super) struct Owed(BTreeMap<u8, BTreeSet<(Table, u16)>>);

impl Owed {
    /// Notes that a unit did not answer a request well.
    pub(super) fn add(&mut self, unit: u8, block: Block) {
        self.0.entry(unit).or_default().insert((block.table, block.count));
    }

    /// What to ask the unit first, so that an answer to the block can only be the answer to it; `None` where it owes none
    /// that could be taken for it.
    pub(super) fn proof(&self, unit: u8, block: Block) -> Option<Block> {
        let owed = self.0.get(&unit)?;
        let is_owed = |count: u16| owed.contains(&(block.table, count));
        if !is_owed(block.count) {
            return None;
        }
        // Where every length is owed, the least is as good as any.
        let count = (1..=MOST_REGISTERS).find(|count| !is_owed(*count)).unwrap_or(1);
        Some(Block { count, ..block })
    }

    /// Notes that a unit answered what it was asked last.
    pub(super) fn settle(&mut self, unit: u8) {
        self.0.remove(&unit);
    }
}

/// Whether a refusal comes from the device itself, which then has nothing older to say.
pub(super) const fn is_own(refusal: Exception) -> bool {
    !refusal.is_of_gateway()
}

#[cfg(test)]
mod tests {
    use super::*;

    const fn block(address: u16, count: u16) -> Block {
        Block { table: Table::Holding, address, count }
    }

    #[test]
    fn a_unit_that_owes_an_answer_is_asked_for_another_length_first() {
        let mut owed = Owed::default();
        assert_eq!(owed.proof(1, block(0, 2)), None);
        owed.add(1, block(100, 2));
        owed.add(1, block(0, 1));
        assert_eq!(owed.proof(1, block(0, 2)), Some(block(0, 3)));
        assert_eq!(owed.proof(1, block(0, 4)), None);
        assert_eq!(owed.proof(2, block(0, 2)), None);
        assert_eq!(owed.proof(1, Block { table: Table::Input, ..block(0, 2) }), None);
        owed.settle(1);
        assert_eq!(owed.proof(1, block(0, 2)), None);
    }
}
