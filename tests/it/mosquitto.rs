//! Mosquitto as Debian packages it, on a free port of this machine, and a source that publishes at it.

use rumqttc::{AsyncClient, Event, MqttOptions, Outgoing, Packet, QoS};
use std::net::{TcpListener, TcpStream};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};
use tempfile::TempDir;
use tokio::sync::watch;

/// How long anything may take before a test gives up.
const PATIENCE: Duration = Duration::from_secs(60);

/// A broker of our own on a free port, with its own files.
pub struct Mosquitto {
    folder: TempDir,
    /// Its port.
    pub port: u16,
    child: Option<Child>,
}

impl Mosquitto {
    pub fn start(access: &str) -> Self {
        let folder = TempDir::new().expect("a folder");
        let path = folder.path().display().to_string();
        // It keeps its sessions on disk, and every message for who is away.
        let rest = format!(
            "{access}\nuser root\npersistence true\npersistence_location {path}/\nmax_queued_messages 0\n\
             log_dest file {path}/log\n"
        );
        let mut broker = Self { folder, port: 0, child: None };
        // Another process may take the port before the broker does.
        for port in std::iter::repeat_with(free_port).take(20) {
            broker.port = port;
            let config = format!("listener {port} 127.0.0.1\n{rest}");
            std::fs::write(broker.folder.path().join("config"), config).expect("written");
            if broker.try_up() {
                return broker;
            }
        }
        panic!("Mosquitto finds no port to listen on:\n{}", broker.log());
    }

    /// One that takes everybody.
    pub fn open() -> Self {
        Self::start("allow_anonymous true")
    }

    pub fn up(&mut self) {
        assert!(self.try_up(), "Mosquitto does not start again on port {}:\n{}", self.port, self.log());
    }

    /// Starts it and waits until it listens; false where it ends instead.
    fn try_up(&mut self) -> bool {
        let config = self.folder.path().join("config");
        let program = ["/usr/sbin/mosquitto", "mosquitto"].into_iter().find_map(|program| {
            Command::new(program).arg("-c").arg(&config).stdout(Stdio::null()).stderr(Stdio::null()).spawn().ok()
        });
        let child = self.child.insert(program.expect(
            "Mosquitto is missing: install it (Debian: apt install mosquitto), so that MQTT is tested against a real broker",
        ));
        let begun = Instant::now();
        while begun.elapsed() < PATIENCE {
            let listens = TcpStream::connect(("127.0.0.1", self.port)).is_ok();
            if child.try_wait().expect("its state").is_some() {
                return false;
            }
            if listens {
                return true;
            }
            std::thread::yield_now();
        }
        false
    }

    pub fn log(&self) -> String {
        std::fs::read_to_string(self.folder.path().join("log")).unwrap_or_default()
    }

    /// Ends the broker in good order, so that it writes down its sessions.
    pub fn down(&mut self) {
        let mut child = self.child.take().expect("it runs");
        let asked = Command::new("kill").arg(child.id().to_string()).status().expect("kill");
        assert!(asked.success());
        let begun = Instant::now();
        while child.try_wait().expect("its state").is_none() {
            assert!(begun.elapsed() < PATIENCE, "Mosquitto does not end:\n{}", self.log());
            std::thread::yield_now();
        }
    }
}

/// A free port below those that the system gives to clients: a client that tries again and again to reach a port of
/// theirs while the broker is down is in the end connected to itself.
pub fn free_port() -> u16 {
    use std::hash::{BuildHasher, Hasher, RandomState};
    let any = std::iter::repeat_with(|| 20_000 + (RandomState::new().build_hasher().finish() % 10_000) as u16);
    any.take(1_000).find(|port| TcpListener::bind(("127.0.0.1", *port)).is_ok()).expect("a free port")
}

impl Drop for Mosquitto {
    fn drop(&mut self) {
        if std::thread::panicking() {
            eprintln!("Mosquitto said:\n{}", self.log());
        }
        if let Some(child) = &mut self.child {
            let _ = child.kill();
            let _ = child.wait();
        }
    }
}

/// Publishes messages one by one at QoS 1, each again until the broker has acknowledged it; tells after each.
pub async fn publish(port: u16, messages: Vec<(&'static str, bool, String)>, progress: watch::Sender<usize>) {
    let mut options = MqttOptions::new("source", "127.0.0.1", port);
    options.set_clean_session(true);
    let (client, mut events) = AsyncClient::new(options, 16);
    for (k, (topic, retain, text)) in messages.into_iter().enumerate() {
        let mut sent = false;
        loop {
            if !sent {
                client.publish(topic, QoS::AtLeastOnce, retain, text.clone()).await.expect("a request");
                sent = true;
            }
            match events.poll().await {
                Ok(Event::Incoming(Packet::PubAck(_))) => break,
                Ok(_) => {}
                Err(_) => {
                    events.clean();
                    events.pending.clear();
                    sent = false;
                    tokio::task::yield_now().await;
                }
            }
        }
        progress.send_replace(k + 1);
    }
    client.disconnect().await.expect("a request");
    while let Ok(event) = events.poll().await {
        if event == Event::Outgoing(Outgoing::Disconnect) {
            break;
        }
    }
}
