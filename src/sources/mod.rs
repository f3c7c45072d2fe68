//! What the sources say, as types and as bytes: register maps, read plans, topic patterns, payload and CSV mappings.
//! Bytes go in, readings come out; no socket and no file is touched here.

mod block;
mod decode;
mod line;
mod mapping;
mod register;
pub mod rtu;

pub use block::{Block, Image, MOST_REGISTERS, plan};
pub use decode::{NoValue, assemble, decode};
pub use line::{Framing, Line, Polled};
pub use mapping::{ClockRule, CsvColumn, CsvMapping, CsvRows, JobColumns, Stamp, TopicMapping, TopicTarget};
pub use register::{ByteOrder, Encoding, Register, RegisterMap, Table, WordOrder};
pub use rtu::Exception;
