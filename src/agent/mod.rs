//! The long-running tasks, and the one path from the store to the ledger of a day.
//!
//! Values flow one way: lines and broker, intake, writer, live. Nothing upstream waits for something downstream.

mod alerting;
mod attend;
mod behind;
mod closing;
mod control;
mod derive;
mod forwarded;
#[cfg(feature = "influx")]
mod forwarding;
mod gather;
mod keep_time;
mod live;
mod observe;
mod overview;
mod priced;
mod reached;
mod settle;
mod start;
mod supply;
mod telling;
mod today;
mod watched;
mod writer;

pub use alerting::{ChannelLine, channel_lines, held, try_channel};
pub use behind::{Behind, behind};
pub use closing::{Seen, certificates, seen};
pub use control::{ask_to_poll, is_running};
pub use derive::{Books, BooksError, Day};
pub use forwarded::{Forwarded, forwarded};
pub use live::{Live, Looked, Now, StoreHealth, Today};
pub use observe::{extent, observe};
pub use overview::{Overview, SLOTS, Used};
pub use priced::with_basis;
pub use reached::{Unreachable, endpoint};
pub use start::{Agent, Sources, StartError};
pub use supply::{supplied, supply};
pub use telling::{Channel, channels};
pub use watched::{keep, watched};
