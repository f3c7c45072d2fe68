//! What can go wrong with a request, and what follows for the connection, the meter and its line.

use crate::sources::{Block, Exception};
use std::fmt;

/// Why a request brought no registers.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Fault {
    /// There is no connection; the system's reason.
    Unreachable(String),
    /// No answer came.
    Silent,
    /// The answer came after the time-out, after that many milliseconds; it is not used.
    Late(u64),
    /// The device or its gateway refused the block.
    Refused(Block, Exception),
    /// What came is no answer to the request.
    Garbled(String),
    /// The other side closed the connection.
    Closed,
}

impl Fault {
    /// Whether the connection is still in step after it: a whole answer came, if not the one hoped for.
    pub(super) const fn in_step(&self) -> bool {
        matches!(self, Self::Refused(..) | Self::Late(_))
    }

    /// Whether only this block is in question, so that the meter's other blocks are still worth asking for.
    pub(super) fn concerns_block(&self) -> bool {
        matches!(self, Self::Refused(_, exception) if !exception.is_of_gateway() && !exception.means_later())
    }

    /// Whether the whole line is in question: no connection, or the gateway does not reach it.
    pub(super) fn concerns_line(&self) -> bool {
        matches!(self, Self::Unreachable(_) | Self::Refused(_, Exception::GATEWAY_PATH))
    }

    /// Whether a smaller request might be granted.
    pub(super) fn asks_for_less(&self) -> bool {
        matches!(self, Self::Refused(_, Exception::ILLEGAL_ADDRESS | Exception::ILLEGAL_VALUE))
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Unreachable(why) => write!(f, "no connection: {why}"),
            Self::Silent => f.write_str("no answer"),
            Self::Late(millis) => write!(f, "the answer came only after {millis} ms"),
            Self::Refused(block, exception) => write!(f, "{block} refused with {exception}"),
            Self::Garbled(what) => write!(f, "expected the answer to the request, found {what}"),
            Self::Closed => f.write_str("the other side closed the connection"),
        }
    }
}
