//! The state of the broker's connection as the agent knows it.

use crate::sources::Refusal;
use crate::time::At;

/// Whether there is a connection.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum BrokerLink {
    /// Connected and subscribed: what is published comes.
    Connected {
        /// Since when.
        since: At,
    },
    /// Not connected.
    Disconnected {
        /// Since when.
        since: At,
        /// Why.
        reason: String,
    },
}

/// The state of the connection, with its counters since the agent began.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BrokerState {
    /// Whether there is a connection.
    pub link: BrokerLink,
    /// How many messages came.
    pub messages: u64,
    /// When the last one came.
    pub last_message: Option<At>,
    /// How many values and messages were not taken.
    pub refused: u64,
    /// Why the last of them was not.
    pub last_refusal: Option<Refusal>,
}

impl BrokerState {
    /// A broker that has not been reached yet.
    pub fn unreached(now: At) -> Self {
        let link = BrokerLink::Disconnected { since: now, reason: "not yet connected".to_owned() };
        Self { link, messages: 0, last_message: None, refused: 0, last_refusal: None }
    }

    /// Counts what was not taken, and keeps the last reason.
    pub(super) fn refuse(&mut self, refusals: &[Refusal]) {
        self.refused += refusals.len() as u64;
        self.last_refusal = refusals.last().cloned().or(self.last_refusal.take());
    }

    /// Notes that the connection is lost; since when, is kept while it stays so.
    pub(super) fn lose(&mut self, now: At, reason: String) {
        let since = match self.link {
            BrokerLink::Connected { .. } => now,
            BrokerLink::Disconnected { since, .. } => since,
        };
        self.link = BrokerLink::Disconnected { since, reason };
    }
}
