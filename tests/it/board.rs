//! Claims about the board, the interface for programs and the access to both: the real program, asked as its users ask it.

mod access;
mod browser;
mod interface;
mod pages;

use inkwatt::readings::{Above, Event, Finding, Happening, Rank, Rule};
use inkwatt::store::{Access, Store};
use inkwatt::time::{At, HOUR, Zone};
use inkwatt::units::{Energy, Money};
use std::fs;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};
use tempfile::TempDir;

/// How long anything may take before a test gives up.
const PATIENCE: Duration = Duration::from_secs(60);
/// The name of the finding that every plant here has.
pub const FINDING: &str = "higher-draw/p1/s1/2026-04-20T00:00Z";

/// A plant whose agent runs.
pub struct Hall {
    pub folder: TempDir,
    pub address: String,
    agent: Option<Child>,
}

/// What a plant is made of.
pub struct Made<'a> {
    pub press: &'a str,
    pub station: &'a str,
    pub board: &'a str,
    pub more: &'a str,
}

pub const PLAIN: Made<'static> = Made { press: "Press 1", station: "Varnish", board: "", more: "" };

impl Hall {
    /// One press with two stations, a meter at the first, a broker where `more` names one, and a finding that goes on.
    pub fn made(made: &Made<'_>) -> Self {
        let mut hall = Self::folder(made);
        hall.find();
        hall.start();
        hall
    }

    /// The same, of which nothing runs and nothing was found.
    pub fn folder(made: &Made<'_>) -> Self {
        let folder = TempDir::new().expect("a folder");
        let port = std::net::TcpListener::bind("127.0.0.1:0").and_then(|l| l.local_addr()).expect("a port").port();
        let address = format!("127.0.0.1:{port}");
        let quoted = |text: &str| serde_json::to_string(text).expect("JSON, whose texts TOML reads");
        let text = format!(
            "[plant]\nname = 'Hall'\nzone = 'Europe/London'\ncurrency = 'GBP'\ngrid = 'GB'\n[board]\nlisten = '{address}'\n{}\n\
             [[lamps]]\ntype = 'led'\nkind = 'led'\nlength_mm = 400\nw_per_cm = 100\nrated_at = 'mains'\n\
             bands = {{ standby_w = 60, curing_w = 900, hysteresis_w = 50, dwell = '10s' }}\nassets = [{{ id = 'led-1' }}]\n\
             [[press]]\nid = 'p1'\nname = {}\nmoving_above = 3\nstations = [\n\
             {{ id = 's1', name = {}, does = 'varnish', lamp = 'led-1' }}, {{ id = 's2', name = 'Ink', does = 'ink', lamp = 'none' }}]\n\
             [[meter]]\nid = 'p1-s1'\ncovers = {{ station = 'p1/s1' }}\nboundary = {{ point = 'cabinet' }}\nmax_kw = 100\n\
             interval = '1min'\ndevice = [{{ serial = 'X', wh_per_count = 1, w_per_count = 1 }}]\n{}",
            made.board,
            quoted(made.press),
            quoted(made.station),
            made.more
        );
        fs::create_dir(folder.path().join("config")).expect("a folder");
        fs::write(folder.path().join("config/plant.toml"), text).expect("written");
        Self { folder, address, agent: None }
    }

    /// A finding as the watch keeps it.
    fn find(&self) {
        let zone = Zone::parse("Europe/London").expect("a zone");
        let since = At(1_776_643_200_000);
        let finding = Finding {
            rule: Rule::HigherDraw,
            about: "p1/s1".into(),
            station: Some("p1/s1".into()),
            since,
            is_about: false,
            raised: since + 24 * HOUR,
            until: None,
            above: Some(Above {
                watts: 339.0,
                watts_half: Some(2.0),
                energy: Energy::from_wh(90_300),
                energy_half: Some(Energy::from_wh(600)),
                cost: Money::from_micros(21_700_000),
                ahead: Some((Energy::from_wh(38_000), Money::from_micros(9_100_000))),
            }),
            evidence: vec!["It draws more than it did.".into()],
        };
        let id = finding.id();
        let what = Happening::Found(Box::new(finding));
        let event = Event { id, at: since, rank: Rank::Live, revision: 0, what, note: None };
        let mut store = Store::open(self.folder.path(), zone, Access::Command).expect("a store");
        store.commit("watch", Rank::Live, &[], &[event], None).expect("kept");
    }

    pub fn start(&mut self) {
        let agent = Command::new(env!("CARGO_BIN_EXE_inkwatt"))
            .args(["--plant".as_ref(), self.folder.path().as_os_str(), "run".as_ref()])
            .stderr(Stdio::null())
            .spawn()
            .expect("the program runs");
        self.agent = Some(agent);
        until("the board", || TcpStream::connect(&self.address).is_ok());
    }

    pub fn stop(&mut self) {
        if let Some(mut agent) = self.agent.take() {
            agent.kill().expect("killed");
            agent.wait().expect("ended");
        }
    }

    pub fn get(&self, path: &str) -> Answer {
        self.ask("GET", path, &[], "")
    }

    /// Sends a request as given.
    fn ask(&self, method: &str, path: &str, headers: &[(&str, &str)], body: &str) -> Answer {
        ask(&self.address, method, path, headers, body)
    }

    /// Sends a form.
    fn send(&self, path: &str, headers: &[(&str, &str)], fields: &[(&str, &str)]) -> Answer {
        let form: Vec<String> = fields.iter().map(|(name, value)| format!("{name}={}", escaped(value))).collect();
        let mut all = vec![("Content-Type", "application/x-www-form-urlencoded")];
        all.extend(headers);
        self.ask("POST", path, &all, &form.join("&"))
    }
}

impl Drop for Hall {
    fn drop(&mut self) {
        if let Some(agent) = &mut self.agent {
            let _ = agent.kill();
            let _ = agent.wait();
        }
    }
}

/// An answer.
#[derive(Debug)]
pub struct Answer {
    pub status: u16,
    head: String,
    pub body: String,
}

impl Answer {
    fn header(&self, name: &str) -> Option<&str> {
        let lines = self.head.lines().filter_map(|line| line.split_once(':'));
        lines.into_iter().find_map(|(key, value)| key.eq_ignore_ascii_case(name).then_some(value.trim()))
    }

    fn json(&self) -> serde_json::Value {
        serde_json::from_str(&self.body).unwrap_or_else(|fault| panic!("{fault}: {self:?}"))
    }
}

/// Asks once on a connection of its own.
fn ask(address: &str, method: &str, path: &str, headers: &[(&str, &str)], body: &str) -> Answer {
    let mut stream = TcpStream::connect(address).expect("a connection");
    stream.set_read_timeout(Some(PATIENCE)).expect("set");
    let host =
        if headers.iter().any(|(name, _)| *name == "Host") { String::new() } else { format!("Host: {address}\r\n") };
    let more: String = headers.iter().map(|(name, value)| format!("{name}: {value}\r\n")).collect();
    let length = body.len();
    let rest = format!("Connection: close\r\nContent-Length: {length}\r\n\r\n{body}");
    write!(stream, "{method} {path} HTTP/1.1\r\n{host}{more}{rest}").expect("sent");
    let mut stream = BufReader::new(stream);
    let mut head = String::new();
    while !head.ends_with("\r\n\r\n") {
        assert_ne!(stream.read_line(&mut head).expect("an answer"), 0, "no answer to {method} {path}: {head}");
    }
    let status = head.split(' ').nth(1).and_then(|status| status.parse().ok()).expect("a status");
    let mut answer = Answer { status, head, body: String::new() };
    let length = answer.header("Content-Length").and_then(|length| length.parse::<usize>().ok());
    if let Some(length) = length.filter(|_| status != 304) {
        let mut bytes = vec![0; length];
        stream.read_exact(&mut bytes).expect("the content");
        answer.body = String::from_utf8(bytes).expect("UTF-8");
    }
    answer
}

/// A value in a form (HTML standard, 4.10.21.6).
fn escaped(value: &str) -> String {
    value
        .bytes()
        .map(|b| if b.is_ascii_alphanumeric() { char::from(b).to_string() } else { format!("%{b:02X}") })
        .collect()
}

/// Waits for a condition, at most for [`PATIENCE`].
pub fn until(what: &str, mut condition: impl FnMut() -> bool) {
    let begun = Instant::now();
    while !condition() {
        assert!(begun.elapsed() < PATIENCE, "{what} did not come about");
        std::thread::sleep(Duration::from_millis(20));
    }
}

/// Python with the peers of the tests.
pub fn python() -> Command {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(".venv/bin/python");
    assert!(path.exists(), "{} is missing: run tests/all once, it sets up the peers of the tests", path.display());
    Command::new(path)
}
