//! How long pages of the demo's board take, as ratios to an answer that does nothing.
//!
//! Figures of one run compare only with each other.

use std::fs;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};
use tempfile::TempDir;

/// How often each is measured; the fastest counts, since whatever else the machine does only adds.
const ROUNDS: usize = 50;
/// How long the agent is given to come to rest: it computes today and watches the days before.
const REST: Duration = Duration::from_secs(90);
/// What answers without looking at anything.
const EMPTY: &str = "/healthz/live";
const PAGES: [&str; 8] =
    ["/", "/press/p1", "/station/p1/s6", "/findings", "/data", "/configuration", "/api/v1/now", "/api/v1/findings"];

fn main() {
    let folder = TempDir::new().expect("a folder");
    let plant = folder.path().join("plant");
    let port = std::net::TcpListener::bind("127.0.0.1:0").and_then(|l| l.local_addr()).expect("a port").port();
    let once = ["demo", "--once", "--port", &port.to_string()];
    assert!(command(&plant, &once).status().expect("the program runs").success());
    let text = fs::read_to_string(plant.join("config/plant.toml")).expect("a configuration");
    assert!(text.contains(&port.to_string()), "the board is where it was asked to be");
    let _agent = Agent(command(&plant, &["run"]).spawn().expect("the program runs"));
    let address = format!("127.0.0.1:{port}");
    while TcpStream::connect(&address).is_err() {
        std::thread::sleep(Duration::from_millis(50));
    }
    std::thread::sleep(REST);
    let empty = fastest(&address, EMPTY);
    println!("{EMPTY:<20} {:>8.2} ms", empty.as_secs_f64() * 1e3);
    for page in PAGES {
        let took = fastest(&address, page);
        println!(
            "{page:<20} {:>8.2} ms {:>8.1} times",
            took.as_secs_f64() * 1e3,
            took.as_secs_f64() / empty.as_secs_f64()
        );
    }
}

struct Agent(Child);

impl Drop for Agent {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

fn command(plant: &Path, arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_inkwatt"));
    command.arg("--plant").arg(plant).args(arguments).stdout(Stdio::null()).stderr(Stdio::null());
    command
}

fn fastest(address: &str, path: &str) -> Duration {
    (0..ROUNDS).map(|_| ask(address, path)).min().unwrap_or_default()
}

/// How long an answer takes on a connection of its own.
fn ask(address: &str, path: &str) -> Duration {
    let begun = Instant::now();
    let mut stream = TcpStream::connect(address).expect("a connection");
    write!(stream, "GET {path} HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\n\r\n").expect("sent");
    let mut answer = Vec::new();
    stream.read_to_end(&mut answer).expect("an answer");
    let took = begun.elapsed();
    assert!(answer.starts_with(b"HTTP/1.1 200"), "{path}");
    took
}
