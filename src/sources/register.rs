//! Register maps: where a device keeps which quantity, and how it writes it.

use crate::plant::Ratio;
use crate::readings::Quantity;

/// The table that a register is read from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Table {
    /// Holding registers, function 3.
    Holding,
    /// Input registers, function 4.
    Input,
}

impl Table {
    /// The Modbus function that reads it. There is no function here that writes.
    pub const fn function(self) -> u8 {
        match self {
            Self::Holding => 3,
            Self::Input => 4,
        }
    }

    /// The word in a register map.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Holding => "holding",
            Self::Input => "input",
        }
    }
}

/// How a value is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Encoding {
    /// Unsigned, one register.
    U16,
    /// Signed, one register.
    I16,
    /// Unsigned, two registers.
    U32,
    /// Signed, two registers.
    I32,
    /// Unsigned, four registers.
    U64,
    /// Signed, four registers.
    I64,
    /// IEEE 754, two registers.
    F32,
    /// IEEE 754, four registers.
    F64,
}

impl Encoding {
    /// Every encoding.
    pub const ALL: [Self; 8] = [Self::U16, Self::I16, Self::U32, Self::I32, Self::U64, Self::I64, Self::F32, Self::F64];

    /// The word in a register map.
    pub const fn word(self) -> &'static str {
        match self {
            Self::U16 => "u16",
            Self::I16 => "i16",
            Self::U32 => "u32",
            Self::I32 => "i32",
            Self::U64 => "u64",
            Self::I64 => "i64",
            Self::F32 => "f32",
            Self::F64 => "f64",
        }
    }

    /// How many registers it takes.
    pub const fn registers(self) -> u16 {
        match self {
            Self::U16 | Self::I16 => 1,
            Self::U32 | Self::I32 | Self::F32 => 2,
            Self::U64 | Self::I64 | Self::F64 => 4,
        }
    }
}

/// Which register of a value comes first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum WordOrder {
    /// The most significant register first.
    Big,
    /// The least significant register first.
    Little,
}

/// Which byte of a register comes first; the standard says the high one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum ByteOrder {
    /// The high byte first.
    Big,
    /// The low byte first.
    Little,
}

/// One value of a device.
#[derive(Clone, Debug, PartialEq)]
pub struct Register {
    /// What it is.
    pub quantity: Quantity,
    /// Its table.
    pub table: Table,
    /// Its address on the wire, from 0.
    pub address: u16,
    /// How it is written.
    pub encoding: Encoding,
    /// Which register comes first.
    pub words: WordOrder,
    /// Which byte comes first.
    pub bytes: ByteOrder,
    /// What 1 as written is worth in the quantity's base unit: mWh for energy, mvarh for reactive energy, mW for power,
    /// otherwise the unit of [`Quantity`].
    pub unit: Ratio,
    /// What one stored count is worth in the base unit. A whole-number register is stored as it is read, so that both
    /// are the same; a float, or a value with a scale register, is stored as the nearest multiple of this step.
    pub step: Ratio,
    /// Added to the count as read.
    pub offset: i64,
    /// Address of a register of the same table with a signed power of ten that multiplies the value as written.
    pub scale_register: Option<u16>,
    /// Raw bit patterns that mean "not available", most significant byte first.
    pub unavailable: Vec<u64>,
}

/// What a kind of device offers.
#[derive(Clone, Debug, PartialEq)]
pub struct RegisterMap {
    /// Its name, as a meter's section refers to it.
    pub name: String,
    /// Its values, sorted by table and address.
    pub registers: Vec<Register>,
    /// The most registers the device answers at once; at most 125.
    pub max_block: u16,
    /// How many unused registers one request may bridge; 0 where the map does not allow it.
    pub bridge: u16,
    /// Its energy registers return to zero at this count.
    pub modulus: Option<i64>,
}
