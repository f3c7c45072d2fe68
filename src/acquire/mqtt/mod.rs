//! MQTT: a persistent session at QoS 1 in which a message is acknowledged once what it says is on disk.
//!
//! Three tasks: `link` polls the connection and does nothing else, `intake` turns messages into batches, `acks`
//! acknowledges what was committed. Whatever was delivered but not committed, the broker delivers again.

mod acks;
mod intake;
mod link;
mod presence;
mod state;

pub use presence::Presence;
pub use state::{BrokerLink, BrokerState};

use crate::acquire::{Batch, Clock};
use crate::broker::Endpoint;
use crate::sources::Router;
use acks::{Acks, Connections};
use intake::Intake;
use link::Link;
use rumqttc::{AsyncClient, MqttOptions};
use std::time::Duration;
use tokio::sync::{Notify, mpsc, oneshot, watch};
use tokio::task::JoinSet;

/// Messages between the connection and the batches; when they are not taken, the broker waits.
const WAITING: usize = 1_000;
/// Batches whose receipt is awaited.
const UNCOMMITTED: usize = 64;
/// Requests to the connection: acknowledgements of every packet id there is, the subscription, and the presence.
const REQUESTS: usize = 65_535 + 16;
/// The connection is tried after so long a silence.
const KEEP_ALIVE: Duration = Duration::from_secs(30);

/// Takes messages until `stop` says so or nobody takes the batches any more; then waits briefly for the last receipts,
/// acknowledges and leaves. The session stays with the broker, which keeps what is published meanwhile.
///
/// Each batch carries a receipt: it is to be answered once the batch is on disk. Where a receipt is dropped, the
/// connection is made anew, so that the broker delivers those messages again. After a lost connection the next attempt
/// waits up to half a second, then up to twice as long each time, up to a minute. Ends within two seconds of the stop.
///
/// With a presence, the broker holds whether the agent runs, was stopped or is lost.
pub async fn run(
    endpoint: Endpoint,
    presence: Option<Presence>,
    router: Router,
    clock: Clock,
    out: mpsc::Sender<Batch>,
    state: watch::Sender<BrokerState>,
    stop: watch::Receiver<bool>,
) {
    let source = format!("mqtt {}:{}", endpoint.host, endpoint.port);
    let filters = router.filters();
    let (client, events) = AsyncClient::new(options(&endpoint, presence.as_ref()), REQUESTS);
    let connections = Connections::new(client.clone());
    let (delivered, deliveries) = mpsc::channel(WAITING);
    let (handed_over, receipts) = mpsc::channel(UNCOMMITTED);
    let (done, acknowledged) = oneshot::channel();
    let renew = std::sync::Arc::new(Notify::new());

    let intake = Intake::new(router, source.into(), state.clone());
    let acks = Acks::new(connections.clone(), renew.clone());
    let link = Link { endpoint, presence, client, events, filters, connections, renew, clock, state };
    let mut tasks = JoinSet::new();
    tasks.spawn(intake.run(deliveries, out, handed_over));
    tasks.spawn(async move {
        acks.run(receipts).await;
        // Where the link has gone already, nobody waits.
        let _ = done.send(());
    });
    // The link ends last, once everything is acknowledged or it has waited long enough for that.
    link.run(delivered, acknowledged, stop).await;
}

fn options(endpoint: &Endpoint, presence: Option<&Presence>) -> MqttOptions {
    let mut options = endpoint.options();
    options.set_clean_session(false).set_manual_acks(true).set_keep_alive(KEEP_ALIVE);
    if let Some(presence) = presence {
        options.set_last_will(presence.will());
    }
    options
}
