//! A serial line between the agent and a server of somebody else: two pairs of pseudo-terminals, and between them a cable
//! (`tests/peers/serial_cable.py`) that sends no faster than its rate and delays, cuts and doubles answers.

use inkwatt::acquire::modbus::{LineState, run_line};
use inkwatt::acquire::{Batch, Clock};
use inkwatt::plant::Ratio;
use inkwatt::readings::Quantity;
use inkwatt::sources::{
    ByteOrder, Encoding, Framing, Line, Parity, Polled, Register, RegisterMap, Serial, Table, WordOrder,
};
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdout, Command, Stdio};
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::{mpsc, watch};
use tokio::task::JoinHandle;
use tokio::time::timeout;

/// The units on the line.
const UNITS: u8 = 8;
/// How long an answer may take on this line, in milliseconds; the cable's delays (70 to 230 ms, 600 ms) are longer.
const TIMEOUT: u64 = 60;
/// Characters go at this rate, so that a campaign is soon over.
const BAUD: u32 = 115_200;

/// What stands at an address of a unit (`tests/peers/serial_server.py`, `serial_server.c`).
const fn expected(unit: u8, address: u16) -> i64 {
    (address as i64 * 31 + unit as i64 * 1_009) % 65_536
}

/// A program beside the test that says lines; it ends with the test.
struct Peer {
    child: Child,
    said: BufReader<ChildStdout>,
}

impl Peer {
    fn start(mut program: Command) -> Self {
        let started = program.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::inherit()).spawn();
        let mut child =
            started.unwrap_or_else(|e| panic!("{program:?}: {e}; run tests/all once, it sets up the peers"));
        let said = BufReader::new(child.stdout.take().expect("its output"));
        Self { child, said }
    }

    /// Its next line; empty once it has ended.
    fn line(&mut self) -> String {
        let mut line = String::new();
        self.said.read_line(&mut line).expect("its output can be read");
        line.trim().into()
    }
}

impl Drop for Peer {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn python(script: &str) -> Command {
    let mut command = Command::new(root().join(".venv/bin/python"));
    command.arg(root().join("tests/peers").join(script));
    command
}

/// pymodbus as a server.
pub fn pymodbus() -> Command {
    python("serial_server.py")
}

/// libmodbus as a server: built here by the machine's C compiler.
pub fn libmodbus(folder: &Path) -> Command {
    let built = folder.join("serial_server");
    let source = root().join("tests/peers/serial_server.c");
    let compiled = Command::new("cc").arg("-O1").arg("-o").arg(&built).arg(source).arg("-lmodbus").status();
    assert!(compiled.expect("a C compiler").success(), "libmodbus-dev is missing: run tests/all once, it installs it");
    Command::new(built)
}

/// A cable and the paths of its ends: the master's, the far one.
fn cable(arguments: &[&str]) -> (Peer, String, String) {
    let mut command = python("serial_cable.py");
    command.args(arguments);
    let mut cable = Peer::start(command);
    let (near, far) = (cable.line(), cable.line());
    (cable, near, far)
}

/// The quantities of a unit and their addresses: three requests of two registers each, so that only their values tell one answer
/// from another.
const REGISTERS: [(Quantity, u16); 6] = [
    (Quantity::Import, 0),
    (Quantity::Export, 1),
    (Quantity::Power, 40),
    (Quantity::PowerPhase(1), 41),
    (Quantity::PowerPhase(2), 80),
    (Quantity::PowerPhase(3), 81),
];

fn register(quantity: Quantity, address: u16) -> Register {
    Register {
        quantity,
        table: Table::Holding,
        address,
        encoding: Encoding::U16,
        words: WordOrder::Big,
        bytes: ByteOrder::Big,
        unit: Ratio::ONE,
        step: Ratio::ONE,
        offset: 0,
        scale_register: None,
        unavailable: Vec::new(),
    }
}

fn polled(unit: u8, interval: u64) -> Polled {
    let registers = REGISTERS.map(|(quantity, address)| register(quantity, address)).to_vec();
    let map = RegisterMap { name: "m".into(), registers, max_block: 125, bridge: 0, modulus: None };
    Polled { meter: format!("m{unit}").as_str().into(), unit, map: Arc::new(map), interval }
}

/// A line of eight meters. A pseudo-terminal has no parity, so that none is asked for.
fn line(endpoint: String, interval: u64) -> Line {
    let serial = Serial { baud: BAUD, parity: Parity::None, stop_bits: 1 };
    let meters = (1..=UNITS).map(|unit| polled(unit, interval)).collect();
    Line {
        id: "cellar".into(),
        endpoint,
        framing: Framing::Rtu(serial),
        timeout: TIMEOUT,
        gateway_timeout: None,
        meters,
    }
}

/// A line that is polled.
struct Running {
    batches: mpsc::Receiver<Batch>,
    stop: watch::Sender<bool>,
    task: JoinHandle<()>,
}

fn run(line: Line) -> Running {
    let clock = Clock::start(0);
    let (out, batches) = mpsc::channel::<Batch>(64);
    let (_asks, asked) = mpsc::channel(1);
    let (state, _seen) = watch::channel(LineState::unasked(&line, clock.now()));
    let (stop, stopped) = watch::channel(false);
    let task = tokio::spawn(async move {
        run_line(line, clock, out, asked, state, stopped).await;
    });
    Running { batches, stop, task }
}

/// What came of a campaign.
pub struct Outcome {
    /// Values that were taken.
    pub taken: usize,
    /// Those of them that are not what stands at their address.
    pub wrong: Vec<String>,
}

impl Outcome {
    fn take(&mut self, batch: Batch) {
        for (series, reading) in batch.readings {
            let name = series.to_string();
            let unit = (1..=UNITS).find(|unit| name.contains(&format!("m{unit}"))).expect("a meter of the line");
            let (_, address) = REGISTERS.iter().find(|(of, _)| *of == series.quantity).expect("a quantity of the line");
            self.taken += 1;
            if reading.count != expected(unit, *address) {
                self.wrong.push(format!("{name}: {} instead of {}", reading.count, expected(unit, *address)));
            }
        }
    }
}

/// Polls a server over a bad cable until so many requests have gone out.
pub async fn campaign(server: Command, requests: u64) -> Outcome {
    let (mut cable, near, far) = cable(&[&BAUD.to_string(), "bad", &requests.to_string()]);
    let mut server_on_it = server;
    server_on_it.arg(&far);
    let mut server = Peer::start(server_on_it);
    assert_eq!(server.line(), "serving", "what the server of the serial line says first");

    let mut running = run(line(near, 20));
    let mut done = tokio::task::spawn_blocking(move || (cable.line(), cable));
    let mut outcome = Outcome { taken: 0, wrong: Vec::new() };
    let _cable = loop {
        tokio::select! {
            batch = timeout(Duration::from_secs(60), running.batches.recv()) => {
                outcome.take(batch.expect("values within a minute").expect("the line runs"));
            }
            said = &mut done => {
                let (said, cable) = said.expect("the cable is read");
                assert_eq!(said, "done", "what the cable says last");
                break cable;
            }
        }
    };
    running.stop.send(true).expect("the line runs");
    drop(running.batches);
    running.task.await.expect("it ends well");
    outcome
}
