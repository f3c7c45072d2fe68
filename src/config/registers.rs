//! Register maps.

use super::document::Document;
use super::legal;
use super::section::Section;
use super::value::Value;
use crate::readings::{Kind, Quantity};
use crate::sources::{ByteOrder, Encoding, Register, RegisterMap, Table, WordOrder};
use toml::Spanned;
use toml::de::DeTable;

const MAP: [&str; 7] = ["max_block", "bridge", "modulus", "table", "words", "bytes", "register"];
const REGISTER: [&str; 11] =
    ["is", "address", "type", "table", "words", "bytes", "step", "unit", "offset", "scale_register", "unavailable"];

/// The map of a file; `None` where something in it is wrong.
pub fn read<'a>(document: &'a Document, table: &'a Spanned<DeTable<'a>>) -> Option<RegisterMap> {
    let map = Section::new("", document.spot(0), table.get_ref(), &MAP);
    let max_block = map.get("max_block").map_or(Some(125), |v| v.whole(legal::MAX_BLOCK));
    let bridge = map.get("bridge").map_or(Some(0), |v| v.whole(legal::BRIDGE));
    let modulus = map.get("modulus").map(|v| v.whole(legal::MODULUS));
    let sections = map.each("register", "register", "is", &REGISTER);
    let read: Vec<(Section<'_>, Option<Register>)> =
        sections.into_iter().map(|s| (s.clone(), register(&map, &s))).collect();
    let mut registers: Vec<(Section<'_>, Register)> = Vec::with_capacity(read.len());
    let complete = read.iter().all(|(_, register)| register.is_some());
    registers.extend(read.into_iter().filter_map(|(section, register)| Some((section, register?))));
    registers.sort_by_key(|(_, register)| (register.table, register.address));
    let sound = agree(&map, &registers) & fits(&registers, max_block.unwrap_or(125));
    (complete && sound).then_some(())?;
    Some(RegisterMap {
        name: document.stem().into(),
        registers: registers.into_iter().map(|(_, register)| register).collect(),
        max_block: max_block? as u16,
        bridge: bridge? as u16,
        modulus: match modulus {
            Some(read) => Some(read?),
            None => None,
        },
    })
}

/// One register; what it leaves out the map may say.
fn register(map: &Section<'_>, section: &Section<'_>) -> Option<Register> {
    let either = |key: &str| section.get(key).or_else(|| map.get(key));
    let quantity = section.need("is").and_then(|v| meter_quantity(&v));
    let table = either("table")
        .map_or(Some(Table::Holding), |v| v.one_of(&[("holding", Table::Holding), ("input", Table::Input)]));
    let words = either("words")
        .map_or(Some(WordOrder::Big), |v| v.one_of(&[("big", WordOrder::Big), ("little", WordOrder::Little)]));
    let bytes = either("bytes")
        .map_or(Some(ByteOrder::Big), |v| v.one_of(&[("big", ByteOrder::Big), ("little", ByteOrder::Little)]));
    let address = section.need("address").and_then(|v| v.whole(legal::ADDRESS));
    let encoding = section.need("type").and_then(|v| v.one_of(&Encoding::ALL.map(|e| (e.word(), e))));
    let step = section.need("step").zip(quantity).and_then(|(v, quantity)| v.unit(quantity));
    let unit = section.get("unit").zip(quantity).map(|(v, quantity)| v.unit(quantity));
    let offset = section.get("offset").map_or(Some(0), |v| v.whole(legal::OFFSET));
    let scale_register = match section.get("scale_register") {
        Some(v) => Some(v.whole(legal::ADDRESS)? as u16),
        None => None,
    };
    let unavailable =
        section.get("unavailable").map_or(Some(Vec::new()), |v| v.list().iter().map(|b| b.bits()).collect());
    let encoding = encoding?;
    let float = matches!(encoding, Encoding::F32 | Encoding::F64);
    let unit = match unit {
        Some(unit) if float || scale_register.is_some() => unit?,
        Some(_) => {
            section.say_help(
                "unit",
                "a whole number is kept as it is read, so that unit has no meaning",
                "write step alone",
            );
            return None;
        }
        None if float => {
            section.say("type", "unit is missing: what a value of 1 is worth, such as \"1 kWh\"");
            return None;
        }
        None => step?,
    };
    let address = address? as u16;
    if u32::from(address) + u32::from(encoding.registers()) > 65_536 {
        section.say("address", "the value does not end within the 65536 registers of a device");
        return None;
    }
    Some(Register {
        quantity: quantity?,
        table: table?,
        address,
        encoding,
        words: words?,
        bytes: bytes?,
        unit,
        step: step?,
        offset: offset?,
        scale_register,
        unavailable: unavailable?,
    })
}

/// A quantity that a meter's device can show.
fn meter_quantity(value: &Value<'_>) -> Option<Quantity> {
    let quantity = value.quantity()?;
    if quantity.of_meter() && quantity.kind() != Kind::Interval {
        return Some(quantity);
    }
    value.wrong("a quantity that a meter shows, such as import or power")
}

/// Whether each quantity stands once and those of one kind have one step: a device has one size of count for its
/// energy registers and one for its power.
fn agree(map: &Section<'_>, registers: &[(Section<'_>, Register)]) -> bool {
    let mut sound = true;
    for (k, (section, register)) in registers.iter().enumerate() {
        let before = &registers[..k];
        if before.iter().any(|(_, other)| other.quantity == register.quantity) {
            section.say("is", "the quantity stands in the map twice");
            sound = false;
        }
        let alike = before.iter().find(|(_, other)| same_count(other.quantity, register.quantity));
        if alike.is_some_and(|(_, other)| other.step != register.step) {
            section.say_help(
                "step",
                "registers of energy must have the same step, and so must those of power",
                "keep to the finest step that all of them can have",
            );
            sound = false;
        }
    }
    use Quantity::{Export, Import, Power};
    if !registers.iter().any(|(_, register)| matches!(register.quantity, Import | Export | Power)) {
        map.say_help(
            "register",
            "the map offers neither energy nor power",
            "enter a register for import, export or power",
        );
        sound = false;
    }
    sound
}

/// Whether two quantities are counted in the same count.
fn same_count(a: Quantity, b: Quantity) -> bool {
    use Quantity::{Power, PowerPhase};
    let power = |q: Quantity| matches!(q, Power | PowerPhase(_));
    let energy = |q: Quantity| q.kind() == Kind::Register;
    (power(a) && power(b)) || (energy(a) && energy(b))
}

/// Whether no two values share a register and each fits one request.
fn fits(registers: &[(Section<'_>, Register)], max_block: i64) -> bool {
    let mut sound = true;
    for (section, _) in registers.iter().filter(|(_, r)| i64::from(r.encoding.registers()) > max_block) {
        section.say("type", &format!("the value is longer than max_block, which is {max_block}"));
        sound = false;
    }
    for pair in registers.windows(2) {
        let [(_, first), (section, second)] = pair else { continue };
        let end = u32::from(first.address) + u32::from(first.encoding.registers());
        if first.table == second.table && end > u32::from(second.address) {
            let text = format!("address {} lies inside {}, which ends at {}", second.address, first.quantity, end - 1);
            section.say_help(
                "address",
                &text,
                "look at the type of both: u16 takes one register, u32 and f32 two, u64 and f64 four",
            );
            sound = false;
        }
    }
    sound
}
