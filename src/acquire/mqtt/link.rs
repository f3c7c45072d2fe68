//! The connection: polled without pause, made anew after a pause when it is lost.

use super::acks::Connections;
use super::intake::Delivery;
use super::presence::Presence;
use super::state::{BrokerLink, BrokerState};
use crate::acquire::{Clock, chance};
use crate::broker::Endpoint;
use crate::sources::Refusal;
use crate::time::{doubled, spread};
use rumqttc::{AsyncClient, Event, EventLoop, Packet, QoS, SubscribeFilter, SubscribeReasonCode};
use std::collections::BTreeSet;
use std::ops::ControlFlow::{self, Break, Continue};
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::{Notify, mpsc, oneshot, watch};
use tokio::time::{Instant, sleep, timeout};

/// The pause before the first attempt after a lost connection, in milliseconds; it doubles with each further one.
const FIRST_PAUSE: i64 = 500;
/// The longest pause between two attempts, in milliseconds.
const LONGEST_PAUSE: i64 = 60_000;
/// A connection that lasted so long was a good one. Two clients of one id throw each other out at once, again and
/// again: there the pauses must grow although every attempt succeeds.
const GOOD: Duration = Duration::from_secs(10);
/// How long to wait at the end for the last receipts and for the farewell.
const FAREWELL: Duration = Duration::from_millis(1_500);

/// The task that polls.
pub(super) struct Link {
    pub(super) endpoint: Endpoint,
    pub(super) presence: Option<Presence>,
    pub(super) client: AsyncClient,
    pub(super) events: EventLoop,
    pub(super) filters: BTreeSet<String>,
    pub(super) connections: Connections,
    pub(super) renew: Arc<Notify>,
    pub(super) clock: Clock,
    pub(super) state: watch::Sender<BrokerState>,
}

impl Link {
    /// Polls until told to stop or nobody takes the messages; then until what was taken is acknowledged.
    pub(super) async fn run(
        mut self,
        delivered: mpsc::Sender<Delivery>,
        acknowledged: oneshot::Receiver<()>,
        mut stop: watch::Receiver<bool>,
    ) {
        let (renew, mut failures, mut subscribed) = (self.renew.clone(), 0, false);
        loop {
            let begun = Instant::now();
            let reason = tokio::select! {
                // Whoever started it has gone, or says so.
                _ = stop.wait_for(|stop| *stop) => break,
                () = renew.notified() => "the store did not take what was delivered".to_owned(),
                lost = self.poll(&delivered, &mut subscribed) => match lost {
                    Some(reason) => reason,
                    None => break,
                },
            };
            self.lose(reason);
            failures = if begun.elapsed() > GOOD { 0 } else { failures + 1 };
            tokio::select! {
                _ = stop.wait_for(|stop| *stop) => break,
                () = sleep(pause(failures)) => {}
            }
        }
        drop(delivered);
        self.leave(acknowledged).await;
    }

    /// Polls one connection until it is lost, and says why; `None` once nobody takes the messages.
    async fn poll(&mut self, delivered: &mpsc::Sender<Delivery>, subscribed: &mut bool) -> Option<String> {
        loop {
            match self.events.poll().await {
                Ok(Event::Incoming(packet)) => {
                    if let Break(()) = self.take(packet, delivered, subscribed).await {
                        return None;
                    }
                }
                Ok(Event::Outgoing(_)) => {}
                Err(lost) => return Some(self.endpoint.told(&lost)),
            }
        }
    }

    async fn take(
        &mut self,
        packet: Packet,
        delivered: &mpsc::Sender<Delivery>,
        subscribed: &mut bool,
    ) -> ControlFlow<()> {
        match packet {
            Packet::Publish(publish) => {
                let ((arrived, epoch), connection) = (self.clock.stamp(), self.connections.number());
                let sent = delivered.send(Delivery { publish, arrived, epoch, connection }).await;
                return sent.map_or(Break(()), Continue);
            }
            Packet::ConnAck(ack) => {
                tracing::info!(session = ack.session_present, "connected to the broker");
                if let Some(presence) = &self.presence {
                    presence.running(&self.client, self.clock.now());
                }
                // A session that the broker kept has its subscriptions; the first time they may be another version's.
                let known = ack.session_present && *subscribed;
                *subscribed = known || self.subscribe();
                if known {
                    self.connected();
                }
            }
            Packet::SubAck(ack) => {
                let refused = |code: &SubscribeReasonCode| *code == SubscribeReasonCode::Failure;
                for (filter, _) in self.filters.iter().zip(&ack.return_codes).filter(|(_, code)| refused(code)) {
                    let refusal = Refusal::new(filter, "refused by the broker", "the right to subscribe to it");
                    tracing::error!("{refusal}");
                    self.state.send_modify(|state| state.refuse(&[refusal]));
                }
                self.connected();
            }
            _ => {}
        }
        Continue(())
    }

    /// Asks for the mapped topics; false where the request could not be made.
    fn subscribe(&self) -> bool {
        let filters = self.filters.iter().map(|filter| SubscribeFilter::new(filter.clone(), QoS::AtLeastOnce));
        self.client.try_subscribe_many(filters).is_ok()
    }

    /// Notes that messages can come.
    fn connected(&self) {
        let since = self.clock.now();
        self.state.send_modify(|state| state.link = BrokerLink::Connected { since });
    }

    /// Ends the connection, if there is one, and says why.
    fn lose(&mut self, reason: String) {
        self.connections.end(&mut self.events);
        tracing::warn!("no connection to the broker: {reason}");
        let now = self.clock.now();
        self.state.send_modify(|state| state.lose(now, reason));
    }

    /// Polls until everything taken is acknowledged, then says farewell; what is delivered meanwhile is not taken and
    /// so will be delivered again.
    async fn leave(mut self, acknowledged: oneshot::Receiver<()>) {
        let client = self.client.clone();
        let said = async {
            // An error here means that the task has ended, too.
            let _ = acknowledged.await;
            if let Some(presence) = &self.presence {
                presence.stopped(&client, self.clock.now());
            }
            client.try_disconnect()
        };
        let polled = async { while self.events.network.is_some() && self.events.poll().await.is_ok() {} };
        let both = async { tokio::join!(said, polled) };
        if timeout(FAREWELL, both).await.is_err() {
            tracing::warn!("left the broker before everything was acknowledged; it will deliver the rest again");
        }
        let now = self.clock.now();
        self.state.send_modify(|state| state.lose(now, "stopped".to_owned()));
    }
}

/// The pause after so many failures in a row: doubling up to a minute, between half of it and all of it, so that the
/// clients of a broker that was down do not come back in step.
fn pause(failures: u32) -> Duration {
    Duration::from_millis(spread(doubled(FIRST_PAUSE, LONGEST_PAUSE, failures), chance()).unsigned_abs())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pauses_double_up_to_a_minute_and_vary_by_half() {
        for (failures, full) in [(0, 500), (1, 500), (2, 1_000), (5, 8_000), (8, 60_000), (u32::MAX, 60_000)] {
            for _ in 0..100 {
                let pause = pause(failures).as_millis();
                assert!((full / 2..=full).contains(&pause), "{failures}: {pause}");
            }
        }
    }
}
