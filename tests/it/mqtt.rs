//! Claims about messages from a broker, against Eclipse Mosquitto as Debian packages it.

use inkwatt::acquire::mqtt::{self, BrokerLink, BrokerState, Presence};
use inkwatt::acquire::{Batch, Clock};
use inkwatt::broker::Endpoint;
use inkwatt::plant::{Calendar, Plant, Ratio};
use inkwatt::readings::{Quantity, Rank, Reading, Series, Subject};
use inkwatt::sources::{Router, Runs, TopicMapping, TopicTarget};
use inkwatt::store::{Access, Counts, Store};
use inkwatt::time::{At, HOUR, Period, Zone};
use rumqttc::{AsyncClient, Event, MqttOptions, Packet, QoS};
use std::process::Command;
use std::time::Duration;
use tempfile::TempDir;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::sync::{mpsc, oneshot, watch};
use tokio::task::JoinHandle;

mod secured;

pub use crate::mosquitto::{Mosquitto, free_port, publish};

/// How long anything may take before a test gives up.
const PATIENCE: Duration = Duration::from_secs(60);
/// A reading a second, from three hours ago on.
const STEP: i64 = 1_000;

/// The way to a broker.
fn endpoint(broker: &Mosquitto) -> Endpoint {
    Endpoint {
        host: "127.0.0.1".into(),
        port: broker.port,
        client_id: "inkwatt-test".into(),
        credentials: None,
        tls: None,
    }
}

/// The receiving side: the tasks and what they hand over.
struct Agent {
    batches: mpsc::Receiver<Batch>,
    state: watch::Receiver<BrokerState>,
    stop: watch::Sender<bool>,
    task: JoinHandle<()>,
}

impl Agent {
    fn start(endpoint: Endpoint) -> Self {
        Self::present(endpoint, None)
    }

    /// One that says where it is there.
    fn present(endpoint: Endpoint, presence: Option<Presence>) -> Self {
        let clock = Clock::start(0);
        let (out, batches) = mpsc::channel(16);
        let (tell, state) = watch::channel(BrokerState::unreached(clock.now()));
        let (stop, stopped) = watch::channel(false);
        let task = tokio::spawn(mqtt::run(endpoint, presence, router(), clock, out, tell, stopped));
        Self { batches, state, stop, task }
    }

    async fn batch(&mut self) -> Batch {
        within(self.batches.recv()).await.expect("a batch")
    }

    /// Waits until the state satisfies a condition.
    async fn until(&mut self, condition: impl FnMut(&BrokerState) -> bool) -> BrokerState {
        within(self.state.wait_for(condition)).await.expect("a state").clone()
    }

    async fn connected(&mut self) {
        self.until(|state| matches!(state.link, BrokerLink::Connected { .. })).await;
    }

    /// Commits batches and answers their receipts until the store holds so many readings.
    async fn commit_until(&mut self, store: &mut Store, wanted: u64, total: &mut Counts) {
        while total.fresh < wanted {
            let batch = self.batch().await;
            *total += commit(store, &batch);
            batch.receipt.map(|receipt| receipt.send(()));
        }
    }

    /// Stops it in good order.
    async fn stop(self) {
        self.stop.send(true).expect("it runs");
        within(self.task).await.expect("ended");
    }

    /// Ends it as a kill would: nothing more is sent.
    async fn kill(self) {
        self.task.abort();
        assert!(self.task.await.expect_err("cut off").is_cancelled());
    }
}

async fn within<T>(future: impl Future<Output = T>) -> T {
    tokio::time::timeout(PATIENCE, future).await.expect("in time")
}

fn commit(store: &mut Store, batch: &Batch) -> Counts {
    store.commit(&batch.source, batch.rank, &batch.readings, &batch.events, None).expect("committed")
}

/// Takes `m7/energy` with a time of its own, and `m7/power` without.
fn router() -> Router {
    let meter = |quantity| TopicTarget::Meter { meter: Some("m7".into()), quantity, factor: Ratio::ONE };
    let energy = TopicMapping {
        pattern: "m7/energy".into(),
        target: meter(Quantity::Import),
        value: Some("/v".into()),
        time: Some("/t".into()),
    };
    let power = TopicMapping { pattern: "m7/power".into(), target: meter(Quantity::Power), value: None, time: None };
    let plant = Plant {
        name: "Hall".into(),
        zone: london(),
        currency: "GBP".into(),
        grid: "GB".into(),
        markets: vec!["GB".into()],
        calendar: Calendar::default(),
        presses: Vec::new(),
        loads: Vec::new(),
        lamps: Vec::new(),
        meters: Vec::new(),
    };
    Router::new(&[energy, power], &plant, Runs::default()).expect("a router")
}

fn london() -> Zone {
    Zone::parse("Europe/London").expect("a zone")
}

fn store(folder: &TempDir) -> Store {
    Store::open(folder.path(), london(), Access::Agent).expect("a store")
}

fn energy() -> Series {
    Series::new(Subject::Meter("m7".into()), Quantity::Import)
}

/// The `k`th reading from `base` on.
fn reading(base: At, k: i64) -> Reading {
    Reading { at: base + k * STEP, count: 5 * k }
}

fn payload(reading: Reading) -> String {
    format!(r#"{{"t": {}, "v": {}}}"#, reading.at.0, reading.count)
}

fn three_hours_ago() -> At {
    (Clock::start(0).now() - 3 * HOUR).floor(STEP)
}

/// What the store holds, in order.
fn stored(store: &Store, base: At) -> Vec<Reading> {
    store.readings(&energy(), Period::new(base, base + 24 * HOUR), false).expect("readings").value
}

/// Publishes readings from `base` on and returns once all are acknowledged.
async fn publish_readings(port: u16, base: At, range: std::ops::Range<i64>) {
    let messages = range.map(|k| ("m7/energy", false, payload(reading(base, k)))).collect();
    within(publish(port, messages, watch::Sender::new(0))).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn everything_published_arrives_exactly_once_while_the_broker_is_stopped_and_restarted() {
    let count = 3_000;
    let (mut broker, folder, base) = (Mosquitto::open(), TempDir::new().expect("a folder"), three_hours_ago());
    let mut agent = Agent::start(endpoint(&broker));
    agent.connected().await;
    let (progress, mut published) = watch::channel(0);
    let messages = (0..count).map(|k| ("m7/energy", false, payload(reading(base, k)))).collect();
    let source = tokio::spawn(publish(broker.port, messages, progress));

    let restarts = async {
        for after in [500, 1_500, 2_500] {
            within(published.wait_for(|done| *done >= after)).await.expect("published");
            broker.down();
            broker.up();
        }
        within(source).await.expect("all published");
    };
    let (mut store, mut total) = (store(&folder), Counts::default());
    tokio::join!(restarts, agent.commit_until(&mut store, count as u64, &mut total));
    agent.stop().await;

    let expected: Vec<Reading> = (0..count).map(|k| reading(base, k)).collect();
    assert_eq!(stored(&store, base), expected);
    assert_eq!((total.fresh, total.contested, total.corrected), (count as u64, 0, 0));
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_was_published_while_the_agent_was_away_is_delivered_when_it_is_back() {
    let (broker, folder, base) = (Mosquitto::open(), TempDir::new().expect("a folder"), three_hours_ago());
    let (mut store, mut total) = (store(&folder), Counts::default());
    let mut agent = Agent::start(endpoint(&broker));
    agent.connected().await;
    publish_readings(broker.port, base, 0..10).await;
    agent.commit_until(&mut store, 10, &mut total).await;
    agent.stop().await;

    publish_readings(broker.port, base, 10..500).await;
    let mut agent = Agent::start(endpoint(&broker));
    agent.commit_until(&mut store, 500, &mut total).await;
    agent.stop().await;

    assert_eq!(stored(&store, base), (0..500).map(|k| reading(base, k)).collect::<Vec<_>>());
    assert_eq!(total, Counts { fresh: 500, ..Counts::default() });
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_was_delivered_but_not_committed_is_delivered_again_after_a_kill() {
    let (broker, folder, base) = (Mosquitto::open(), TempDir::new().expect("a folder"), three_hours_ago());
    let mut agent = Agent::start(endpoint(&broker));
    agent.connected().await;
    publish_readings(broker.port, base, 0..200).await;
    let lost = agent.batch().await;
    assert!(!lost.readings.is_empty());
    agent.kill().await;

    let (mut store, mut total) = (store(&folder), Counts::default());
    let mut agent = Agent::start(endpoint(&broker));
    agent.commit_until(&mut store, 200, &mut total).await;
    agent.stop().await;
    assert_eq!(stored(&store, base), (0..200).map(|k| reading(base, k)).collect::<Vec<_>>());
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_was_committed_but_not_acknowledged_is_not_doubled_after_a_kill() {
    let (broker, folder, base) = (Mosquitto::open(), TempDir::new().expect("a folder"), three_hours_ago());
    let (mut store, mut total) = (store(&folder), Counts::default());
    let mut agent = Agent::start(endpoint(&broker));
    agent.connected().await;
    publish_readings(broker.port, base, 0..10).await;
    let mut unanswered = Vec::new();
    while total.fresh < 10 {
        let batch = agent.batch().await;
        total += commit(&mut store, &batch);
        unanswered.push(batch.receipt);
    }
    agent.kill().await;

    let mut agent = Agent::start(endpoint(&broker));
    while total.same < 10 {
        let batch = agent.batch().await;
        total += commit(&mut store, &batch);
        batch.receipt.map(|receipt| receipt.send(()));
    }
    agent.stop().await;
    assert_eq!(total, Counts { fresh: 10, same: 10, ..Counts::default() });
    assert_eq!(stored(&store, base), (0..10).map(|k| reading(base, k)).collect::<Vec<_>>());
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_the_store_refused_is_delivered_again_over_a_new_connection() {
    let (broker, folder, base) = (Mosquitto::open(), TempDir::new().expect("a folder"), three_hours_ago());
    let mut agent = Agent::start(endpoint(&broker));
    agent.connected().await;
    publish_readings(broker.port, base, 0..10).await;
    drop(agent.batch().await.receipt);
    let lost = agent.until(|state| matches!(state.link, BrokerLink::Disconnected { .. })).await;
    let BrokerLink::Disconnected { reason, .. } = lost.link else { panic!("it is connected") };
    assert_eq!(reason, "the store did not take what was delivered");

    let (mut store, mut total) = (store(&folder), Counts::default());
    agent.commit_until(&mut store, 10, &mut total).await;
    agent.stop().await;
    assert_eq!(stored(&store, base), (0..10).map(|k| reading(base, k)).collect::<Vec<_>>());
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn retained_messages_are_readings_only_with_a_time_of_their_own() {
    let (broker, base) = (Mosquitto::open(), three_hours_ago());
    let kept = vec![("m7/power", true, "12".to_owned()), ("m7/energy", true, payload(reading(base, 3)))];
    within(publish(broker.port, kept, watch::Sender::new(0))).await;
    let mut agent = Agent::start(endpoint(&broker));
    agent.until(|state| state.messages == 2).await;
    let batch = agent.batch().await;
    assert_eq!((batch.rank, batch.readings), (Rank::Live, vec![(energy(), reading(base, 3))]));
    batch.receipt.map(|receipt| receipt.send(()));
    agent.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_cannot_be_read_is_counted_with_its_reason_and_not_asked_for_again() {
    let (broker, base) = (Mosquitto::open(), three_hours_ago());
    let mut agent = Agent::start(endpoint(&broker));
    agent.connected().await;
    let bad = vec![("m7/power", false, "12,5".to_owned()), ("m7/energy", false, payload(reading(base, 3)))];
    within(publish(broker.port, bad, watch::Sender::new(0))).await;
    let state = agent.until(|state| state.messages == 2).await;
    assert_eq!((state.refused, state.last_message.is_some()), (1, true));
    let told = state.last_refusal.expect("a reason").to_string();
    assert_eq!(told, r#"m7/power: found "12,5", expected a decimal number"#);
    agent.batch().await.receipt.map(|receipt| receipt.send(()));
    agent.stop().await;

    // A reading published after it is the first thing that the next connection delivers.
    publish_readings(broker.port, base, 7..8).await;
    let mut agent = Agent::start(endpoint(&broker));
    assert_eq!(agent.batch().await.readings, [(energy(), reading(base, 7))]);
    assert_eq!(agent.state.borrow().messages, 1);
    agent.stop.send(true).expect("it runs");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_broker_that_refuses_the_client_is_named_with_its_reason() {
    let broker = Mosquitto::start("allow_anonymous false");
    let mut agent = Agent::start(endpoint(&broker));
    let refused = |state: &BrokerState| matches!(&state.link, BrokerLink::Disconnected { reason, .. } if reason.contains("NotAuthorized"));
    agent.until(refused).await;
    agent.stop().await;
}

/// A broker of a few bytes, for what a real one does only by chance (MQTT 3.1.1: 3.2 CONNACK, 3.3 PUBLISH, 3.4 PUBACK).
mod bytes {
    pub const NEW_SESSION: [u8; 4] = [0x20, 2, 0, 0];
    pub const OLD_SESSION: [u8; 4] = [0x20, 2, 1, 0];

    pub fn publish(packet: u8, topic: &str, payload: &str) -> Vec<u8> {
        let rest = 2 + topic.len() + 2 + payload.len();
        assert!(rest < 128, "one byte of length");
        let mut bytes = vec![0x32, rest as u8, 0, topic.len() as u8];
        bytes.extend([topic.as_bytes(), &[0, packet], payload.as_bytes()].concat());
        bytes
    }
}

/// The packet id of the next PUBACK; other packets are passed over.
async fn next_ack(stream: &mut tokio::net::TcpStream) -> u16 {
    loop {
        let (kind, rest) = (stream.read_u8().await.expect("a packet"), stream.read_u8().await.expect("its length"));
        let mut body = vec![0; usize::from(rest)];
        stream.read_exact(&mut body).await.expect("its body");
        if kind == 0x40 {
            return u16::from_be_bytes([body[0], body[1]]);
        }
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_an_old_connection_delivered_is_not_acknowledged_over_a_new_one() {
    let base = three_hours_ago();
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.expect("a port");
    let port = listener.local_addr().expect("an address").port();
    let endpoint =
        Endpoint { host: "127.0.0.1".into(), port, client_id: "inkwatt-test".into(), credentials: None, tls: None };
    let mut agent = Agent::start(endpoint);

    let (mut old, _) = within(listener.accept()).await.expect("a connection");
    old.write_all(&bytes::NEW_SESSION).await.expect("sent");
    old.write_all(&bytes::publish(7, "m7/energy", &payload(reading(base, 1)))).await.expect("sent");
    let first = agent.batch().await;
    drop(old);
    let (mut new, _) = within(listener.accept()).await.expect("a connection");
    new.write_all(&bytes::OLD_SESSION).await.expect("sent");
    new.write_all(&bytes::publish(8, "m7/energy", &payload(reading(base, 2)))).await.expect("sent");
    let second = agent.batch().await;

    for receipt in [first.receipt, second.receipt].into_iter().flatten() {
        receipt.send(()).expect("awaited");
    }
    assert_eq!(within(next_ack(&mut new)).await, 8);
    agent.stop.send(true).expect("it runs");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_message_that_is_too_large_is_named_as_the_reason() {
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.expect("a port");
    let port = listener.local_addr().expect("an address").port();
    let endpoint =
        Endpoint { host: "127.0.0.1".into(), port, client_id: "inkwatt-test".into(), credentials: None, tls: None };
    let mut agent = Agent::start(endpoint);
    let (mut broker, _) = within(listener.accept()).await.expect("a connection");
    // A PUBLISH of 300,000 bytes: its length is 0xe0 0xa7 0x12 in the encoding of MQTT 3.1.1, 2.2.3.
    broker.write_all(&[&bytes::NEW_SESSION[..], &[0x32, 0xe0, 0xa7, 0x12]].concat()).await.expect("sent");
    let too_large =
        "a message of 300000 bytes is larger than the 262144 that are taken; keep it out of the mapped topics";
    agent.until(|state| matches!(&state.link, BrokerLink::Disconnected { reason, .. } if reason == too_large)).await;
    agent.stop.send(true).expect("it runs");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_stopped_agent_leaves_also_when_the_store_never_answers() {
    let (broker, base) = (Mosquitto::open(), three_hours_ago());
    let mut agent = Agent::start(endpoint(&broker));
    agent.connected().await;
    publish_readings(broker.port, base, 0..1).await;
    let unanswered = agent.batch().await;
    agent.stop().await;
    drop(unanswered);
}

/// The receipt of a batch is what an acknowledgement waits for.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_stopped_agent_acknowledges_what_is_committed_before_it_leaves() {
    let (broker, base) = (Mosquitto::open(), three_hours_ago());
    let mut agent = Agent::start(endpoint(&broker));
    agent.connected().await;
    publish_readings(broker.port, base, 0..5).await;
    let mut receipts: Vec<oneshot::Sender<()>> = Vec::new();
    let mut rows = 0;
    while rows < 5 {
        let batch = agent.batch().await;
        rows += batch.readings.len();
        receipts.extend(batch.receipt);
    }
    agent.stop.send(true).expect("it runs");
    receipts.into_iter().for_each(|receipt| receipt.send(()).expect("awaited"));
    within(agent.task).await.expect("ended");

    publish_readings(broker.port, base, 9..10).await;
    let mut agent = Agent::start(endpoint(&broker));
    assert_eq!(agent.batch().await.readings, [(energy(), reading(base, 9))]);
    agent.stop.send(true).expect("it runs");
}
