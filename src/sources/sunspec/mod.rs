//! SunSpec Modbus: a chain of models that a device states about itself, and the register map that follows from a model of a meter.
//!
//! Source: SunSpec Alliance, models 1, 201 to 204 and 211 to 214 (github.com/sunspec/models, Apache-2.0); the device information
//! model of the same body for the marker, the chain and the types.

mod meter;

pub use meter::{Offer, offers};

use std::fmt;

/// Where a chain may begin: wire addresses of the marker, in the order in which they are tried.
pub const BASES: [u16; 3] = [40_000, 0, 50_000];
/// The two registers of the marker: "SunS".
pub const MARKER: [u16; 2] = [0x5375, 0x6E53];
/// The id that ends a chain.
pub const END: u16 = 0xFFFF;
/// No device states more models; what does is no chain.
pub const MOST_MODELS: usize = 100;
/// The longest model that is read here: 211 to 214 have 124 registers.
const LONGEST: u16 = 250;
/// The common model, with the nameplate.
const COMMON: u16 = 1;

/// A model as a device states it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Model {
    /// Its id.
    pub id: u16,
    /// The wire address of its id; the length follows, then the body.
    pub address: u16,
    /// The registers from the id on, where the model is one that is read; else id and length alone.
    pub words: Vec<u16>,
}

impl Model {
    /// The registers from an offset on, counted from the id.
    fn at(&self, offset: u16, count: u16) -> Option<&[u16]> {
        self.words.get(usize::from(offset)..usize::from(offset) + usize::from(count))
    }

    /// A text: NUL-padded bytes; `None` where it is empty or not stated.
    fn text(&self, offset: u16, count: u16) -> Option<String> {
        let bytes: Vec<u8> = self.at(offset, count)?.iter().flat_map(|word| word.to_be_bytes()).collect();
        let text = String::from_utf8_lossy(&bytes);
        let text: String = text.trim_matches(['\0', ' ']).chars().filter(|c| !c.is_control()).collect();
        (!text.is_empty()).then_some(text)
    }
}

/// Whether a model of this id and length is read: the nameplate and the meters.
pub const fn is_read(id: u16, length: u16) -> bool {
    matches!(id, COMMON | 201..=204 | 211..=214) && length <= LONGEST
}

/// Where the next model begins; `None` where the addresses end before it.
pub fn next(address: u16, length: u16) -> Option<u16> {
    address.checked_add(2)?.checked_add(length)
}

/// What is on the nameplate.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Nameplate {
    /// Who made it.
    pub maker: Option<String>,
    /// The type.
    pub model: Option<String>,
    /// The version of its program.
    pub version: Option<String>,
    /// Its serial number.
    pub serial: Option<String>,
}

impl Nameplate {
    /// The nameplate in a chain.
    pub fn of(models: &[Model]) -> Self {
        let Some(common) = models.iter().find(|model| model.id == COMMON) else { return Self::default() };
        Self {
            maker: common.text(2, 16),
            model: common.text(18, 16),
            version: common.text(42, 8),
            serial: common.text(50, 16),
        }
    }
}

impl fmt::Display for Nameplate {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let kind: Vec<&str> = [&self.maker, &self.model].into_iter().flatten().map(String::as_str).collect();
        f.write_str(if kind.is_empty() { "no nameplate" } else { "" })?;
        f.write_str(&kind.join(" "))?;
        if let Some(version) = &self.version {
            write!(f, ", version {version}")?;
        }
        match &self.serial {
            Some(serial) => write!(f, ", serial {serial}"),
            None => Ok(()),
        }
    }
}

/// What a model is, in words.
pub const fn word(id: u16) -> &'static str {
    match id {
        COMMON => "nameplate",
        201 => "meter, single phase",
        202 => "meter, split phase",
        203 => "meter, three phases with neutral",
        204 => "meter, three phases without neutral",
        211 => "meter, single phase, floats",
        212 => "meter, split phase, floats",
        213 => "meter, three phases with neutral, floats",
        214 => "meter, three phases without neutral, floats",
        _ => "not a meter",
    }
}
