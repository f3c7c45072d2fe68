//! The MQTT broker of the demo, in this process. It runs in threads of its own until the process ends: it knows no way
//! to stop.

use rumqttd::{Broker, Config, ConnectionSettings, RouterConfig, ServerSettings};
use std::io;
use std::net::SocketAddr;
use std::time::Duration;
use tokio::net::TcpStream;

/// How many times, each after a pause, it is tried whether the broker listens.
const TRIES: u32 = 200;

/// Starts the broker and waits until it listens, two seconds at most.
pub async fn start(address: SocketAddr) -> io::Result<()> {
    let mut broker = Broker::new(config(address));
    std::thread::Builder::new().name("demo-broker".into()).spawn(move || {
        if let Err(error) = broker.start() {
            tracing::warn!("the demo's broker stopped: {error}");
        }
    })?;
    for _ in 0..TRIES {
        if TcpStream::connect(address).await.is_ok() {
            return Ok(());
        }
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
    Err(io::Error::new(io::ErrorKind::TimedOut, format!("the demo's broker does not listen on {address}")))
}

/// One MQTT 3.1.1 listener and nothing else: no console, no bridge, no metrics. What it keeps stays small.
fn config(address: SocketAddr) -> Config {
    let connections = ConnectionSettings {
        connection_timeout_ms: 5_000,
        max_payload_size: 64 * 1024,
        max_inflight_count: 100,
        auth: None,
        external_auth: None,
        dynamic_filters: true,
    };
    let server = ServerSettings {
        name: "demo-mqtt".into(),
        listen: address,
        tls: None,
        next_connection_delay_ms: 1,
        connections,
    };
    let router = RouterConfig {
        max_connections: 20,
        max_outgoing_packet_count: 200,
        max_segment_size: 256 * 1024,
        max_segment_count: 8,
        ..RouterConfig::default()
    };
    Config { router, v4: Some([("demo".into(), server)].into()), ..Config::default() }
}
