//! Acknowledgements: sent once a batch is on disk, and only over the connection that delivered its messages.

use rumqttc::{AsyncClient, EventLoop, Publish, QoS};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use tokio::sync::{Notify, mpsc, oneshot};

/// Which message to acknowledge, and which connection delivered it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Tag {
    /// The number of the connection.
    pub(super) connection: u64,
    /// The packet id; the broker gives it anew once it is acknowledged.
    pub(super) packet: u16,
}

/// The messages of a batch, and the receipt to wait for; none where the messages say nothing that could be stored.
pub(super) type Handed = (Option<oneshot::Receiver<()>>, Vec<Tag>);

/// The number of the present connection, and the way to it.
///
/// A packet id says nothing without its connection: a broker that has lost the session gives the ids of the old
/// connection to new messages, and these must not be acknowledged in place of the old ones. So the number is changed
/// and the requests that wait are dropped under one lock, and an acknowledgement is sent under the same lock.
#[derive(Clone)]
pub(super) struct Connections {
    client: AsyncClient,
    number: Arc<Mutex<u64>>,
}

impl Connections {
    pub(super) fn new(client: AsyncClient) -> Self {
        Self { client, number: Arc::default() }
    }

    /// The number of the present connection.
    pub(super) fn number(&self) -> u64 {
        *self.lock()
    }

    /// Ends the present connection: nothing that it delivered can be acknowledged any more.
    pub(super) fn end(&self, events: &mut EventLoop) {
        let mut number = self.lock();
        *number += 1;
        events.state.events.clear();
        events.clean();
    }

    /// Acknowledges messages, unless their connection has ended.
    fn acknowledge(&self, tags: &[Tag]) {
        let number = self.lock();
        for tag in tags.iter().filter(|tag| tag.connection == *number) {
            let mut message = Publish::new("", QoS::AtLeastOnce, Vec::new());
            message.pkid = tag.packet;
            // There is room for every packet id; where the link has ended, the broker delivers again.
            if self.client.try_ack(&message).is_err() {
                tracing::debug!(packet = tag.packet, "not acknowledged, the connection has ended");
            }
        }
    }

    fn lock(&self) -> MutexGuard<'_, u64> {
        // A number is whole whoever held it.
        self.number.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// The task that acknowledges.
pub(super) struct Acks {
    connections: Connections,
    renew: Arc<Notify>,
}

impl Acks {
    /// `renew` is told when a batch could not be stored: only a new connection makes the broker deliver again.
    pub(super) const fn new(connections: Connections, renew: Arc<Notify>) -> Self {
        Self { connections, renew }
    }

    /// Acknowledges batch after batch, in the order in which they were handed over (MQTT 3.1.1, 4.6).
    pub(super) async fn run(self, mut handed: mpsc::Receiver<Handed>) {
        while let Some((receipt, tags)) = handed.recv().await {
            let stored = match receipt {
                Some(receipt) => receipt.await.is_ok(),
                None => true,
            };
            if stored {
                self.connections.acknowledge(&tags);
            } else if tags.iter().any(|tag| tag.connection == self.connections.number()) {
                self.renew.notify_one();
            }
        }
    }
}
