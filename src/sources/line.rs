//! Lines: the connections over which meters are polled, and the meters on each.

use crate::names::MeterId;
use crate::sources::{RegisterMap, Serial};
use std::sync::Arc;

/// How requests are framed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Framing {
    /// Modbus TCP.
    Tcp,
    /// Modbus RTU inside a TCP connection.
    RtuOverTcp,
    /// Modbus RTU on a serial line.
    Rtu(Serial),
}

impl Framing {
    /// The word for it in the configuration.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Tcp => "tcp",
            Self::RtuOverTcp => "rtu-over-tcp",
            Self::Rtu(_) => "rtu",
        }
    }
}

/// One connection; it carries one request at a time and owns the meters on it.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// Its id in the configuration.
    pub id: String,
    /// `host:port`, or the device of a serial line, such as `/dev/ttyUSB0`.
    pub endpoint: String,
    /// How requests are framed.
    pub framing: Framing,
    /// How long an answer may take, in milliseconds.
    pub timeout: u64,
    /// The gateway's own time-out in milliseconds, awaited after a missing answer before the next request.
    pub gateway_timeout: Option<u64>,
    /// The meters on it, sorted by id.
    pub meters: Vec<Polled>,
}

/// A meter on a line.
#[derive(Clone, Debug, PartialEq)]
pub struct Polled {
    /// The measuring point.
    pub meter: MeterId,
    /// Unit id on the line.
    pub unit: u8,
    /// What its device offers.
    pub map: Arc<RegisterMap>,
    /// Milliseconds between polls; polls fall on wall-clock multiples of it.
    pub interval: u64,
}
