//! What the sources say, as types and as bytes: register maps, read plans, topic patterns, payload and CSV mappings.
//! Bytes go in, readings come out; no socket and no file is touched here.

mod bill_table;
mod block;
mod csv_table;
mod decode;
pub mod electrical;
mod file_clock;
mod fixed_table;
mod in_order;
mod instrument_table;
mod job;
mod job_table;
mod line;
mod mapping;
mod number;
pub mod pointer;
mod refusal;
mod plausible;
mod register;
mod router;
pub mod rtu;
mod runs;
mod serial;
pub mod sparkplug;
pub mod sunspec;
mod topic;
pub mod value;

pub use bill_table::BILL_COLUMNS;
pub use block::{Block, Image, MOST_REGISTERS, plan};
pub use csv_table::{CsvTable, RowSaid, Ruling};
pub use decode::{NoValue, assemble, decode};
pub use instrument_table::INSTRUMENT_COLUMNS;
pub use job::{JobMessage, JobStep};
pub use line::{Framing, Line, Polled};
pub use mapping::{ClockRule, CsvColumn, CsvMapping, CsvRows, JobColumns, Stamp, TopicMapping, TopicTarget};
pub use number::Number;
pub use plausible::{Doubt, doubt};
pub use refusal::Refusal;
pub use register::{ByteOrder, Encoding, Register, RegisterMap, Table, WordOrder};
pub use router::{Message, Router, Taken, check_topic};
pub use rtu::Exception;
pub use runs::Runs;
pub use serial::{Parity, Serial, least_load};
pub use topic::{Levels, Pattern};
