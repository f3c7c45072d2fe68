//! Messages become batches: decoded in order, handed over when the stream pauses or a batch is large enough.

use super::acks::{Handed, Tag};
use super::state::BrokerState;
use crate::acquire::Batch;
use crate::readings::Rank;
use crate::sources::{Message, Refusal, Router, Taken};
use crate::time::At;
use rumqttc::{Publish, QoS};
use std::collections::HashSet;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::{mpsc, oneshot, watch};
use tokio::time::{Instant, timeout_at};

/// A pause in the stream that ends a batch. A broker that waits for acknowledgements pauses by itself.
const PAUSE: Duration = Duration::from_millis(20);
/// A batch that never sees a pause is handed over after so long.
const LONGEST: Duration = Duration::from_millis(250);
/// Rows that end a batch.
const ROWS: usize = 5_000;

/// Topics whose refusals are told.
const TOLD: usize = 1_000;

/// A message, when it arrived, in which epoch of the clock, and over which connection.
pub(super) struct Delivery {
    pub(super) publish: Publish,
    pub(super) arrived: At,
    pub(super) epoch: u32,
    pub(super) connection: u64,
}

/// The task that decodes.
pub(super) struct Intake {
    router: Router,
    source: Arc<str>,
    state: watch::Sender<BrokerState>,
    taken: Taken,
    tags: Vec<Tag>,
    told: HashSet<String>,
}

impl Intake {
    pub(super) fn new(router: Router, source: Arc<str>, state: watch::Sender<BrokerState>) -> Self {
        Self { router, source, state, taken: Taken::default(), tags: Vec::new(), told: HashSet::new() }
    }

    /// Runs until no message can come or nobody takes the batches.
    pub(super) async fn run(
        mut self,
        mut deliveries: mpsc::Receiver<Delivery>,
        out: mpsc::Sender<Batch>,
        handed: mpsc::Sender<Handed>,
    ) {
        let mut waiting = None;
        while let Some(first) = next(&mut waiting, &mut deliveries).await {
            let longest = Instant::now() + LONGEST;
            self.take(&first);
            while self.taken.readings.len() + self.taken.events.len() < ROWS {
                let pause = Instant::now() + PAUSE;
                match timeout_at(pause.min(longest), deliveries.recv()).await {
                    Ok(Some(delivery)) if delivery.epoch == first.epoch => self.take(&delivery),
                    // The clock was set: what came after that is a batch of its own.
                    Ok(other) => {
                        waiting = other;
                        break;
                    }
                    Err(_) => break,
                }
            }
            if !self.hand_over(first.epoch, &out, &handed).await {
                return;
            }
        }
    }

    fn take(&mut self, delivery: &Delivery) {
        let Delivery { publish, arrived, connection, .. } = delivery;
        let message = Message {
            topic: &publish.topic,
            payload: &publish.payload,
            retained: publish.retain,
            redelivered: publish.dup,
            arrived: *arrived,
        };
        self.router.take(&message, &mut self.taken);
        if publish.qos != QoS::AtMostOnce {
            self.tags.push(Tag { connection: *connection, packet: publish.pkid });
        }
        let refused = std::mem::take(&mut self.taken.refused);
        for refusal in &refused {
            self.tell(refusal);
        }
        self.state.send_modify(|state| {
            state.messages += 1;
            state.last_message = Some(*arrived);
            state.refuse(&refused);
        });
    }

    /// Tells of a topic once: a sender that is wrong is wrong each second, and the state counts on.
    fn tell(&mut self, refusal: &Refusal) {
        if self.told.len() < TOLD && self.told.insert(refusal.place.clone()) {
            tracing::warn!("not taken, and not told again of this topic: {refusal}");
        } else {
            tracing::debug!("not taken: {refusal}");
        }
    }

    /// Hands over what was taken and the tags of its messages; false once nobody takes it.
    async fn hand_over(&mut self, epoch: u32, out: &mpsc::Sender<Batch>, handed: &mpsc::Sender<Handed>) -> bool {
        let Taken { readings, events, .. } = std::mem::take(&mut self.taken);
        let tags = std::mem::take(&mut self.tags);
        if readings.is_empty() && events.is_empty() {
            return handed.send((None, tags)).await.is_ok();
        }
        let (receipt, stored) = oneshot::channel();
        let (source, receipt) = (self.source.clone(), Some(receipt));
        let batch = Batch { source, rank: Rank::Live, epoch, readings, events, receipt };
        out.send(batch).await.is_ok() && handed.send((Some(stored), tags)).await.is_ok()
    }
}

/// The delivery that was put back, or the next one.
async fn next(waiting: &mut Option<Delivery>, deliveries: &mut mpsc::Receiver<Delivery>) -> Option<Delivery> {
    match waiting.take() {
        Some(delivery) => Some(delivery),
        None => deliveries.recv().await,
    }
}
