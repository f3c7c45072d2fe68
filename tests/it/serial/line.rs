//! A serial line between the agent and a server of somebody else: two pairs of pseudo-terminals, and between them a cable that delays,
//! cuts and doubles answers.

use inkwatt::acquire::modbus::{LineState, run_line};
use inkwatt::acquire::{Batch, Clock};
use inkwatt::plant::Ratio;
use inkwatt::readings::Quantity;
use inkwatt::sources::{
    ByteOrder, Encoding, Framing, Line, Parity, Polled, Register, RegisterMap, Serial, Table, WordOrder,
};
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;
use tokio::io::{AsyncReadExt, AsyncWriteExt, ReadHalf, WriteHalf, split};
use tokio::sync::{mpsc, watch};
use tokio::time::{sleep, timeout};
use tokio_serial::{SerialPort, SerialStream};

/// The units on the line.
const UNITS: u8 = 8;
/// Nothing arrives for so long: the frame is whole.
const GAP: Duration = Duration::from_millis(3);
/// How long an answer may take on this line.
const TIMEOUT: u64 = 60;
/// Every register of the servers: what stands at an address of a unit (`tests/peers/serial_server.py`, `serial_server.c`).
const fn expected(unit: u8, address: u16) -> i64 {
    (address as i64 * 31 + unit as i64 * 1_009) % 65_536
}

/// A server of somebody else on a serial line; it ends with the test.
pub struct Server(Child);

impl Server {
    /// Starts a program that serves on a device and says so with a line on its standard output.
    fn start(mut program: Command, device: &str) -> Self {
        let child = program.arg(device).stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::null()).spawn();
        let mut child = child.expect("the server starts");
        let mut line = String::new();
        BufReader::new(child.stdout.take().expect("its output")).read_line(&mut line).expect("it says that it serves");
        assert_eq!(line.trim(), "serving", "the server of the serial line");
        Self(child)
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// pymodbus as a server.
pub fn pymodbus() -> Command {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut command = Command::new(root.join(".venv/bin/python"));
    command.arg(root.join("tests/peers/serial_server.py"));
    command
}

/// libmodbus as a server: built here by the machine's C compiler.
pub fn libmodbus(folder: &Path) -> Command {
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/peers/serial_server.c");
    let built = folder.join("serial_server");
    let compiled = Command::new("cc").arg("-O1").arg("-o").arg(&built).arg(source).arg("-lmodbus").status();
    assert!(compiled.expect("a C compiler").success(), "libmodbus-dev is missing: run tests/all once, it installs it");
    Command::new(built)
}

/// A pair: our end, and the other, which is opened by its path. It stays open here as well, so that our end never sees it closed.
fn pair() -> (SerialStream, SerialStream) {
    let (ours, mut theirs) = SerialStream::pair().expect("a pair of pseudo-terminals");
    theirs.set_exclusive(false).expect("others may open it");
    (ours, theirs)
}

async fn requests(mut from: ReadHalf<SerialStream>, mut to: WriteHalf<SerialStream>, count: Arc<AtomicU64>) {
    let mut bytes = [0; 256];
    loop {
        match from.read(&mut bytes).await {
            Ok(read) if read > 0 => {
                count.fetch_add(read as u64, Ordering::SeqCst);
                if to.write_all(&bytes[..read]).await.is_err() {
                    return;
                }
            }
            // Nobody has the other end open yet, or any more.
            _ => sleep(GAP).await,
        }
    }
}

/// Hands on answers; every tenth of them late, cut or twice.
async fn answers(mut from: ReadHalf<SerialStream>, mut to: WriteHalf<SerialStream>) {
    let (mut bytes, mut number) = ([0; 512], 0_u64);
    loop {
        let mut frame = Vec::new();
        while frame.is_empty() {
            match from.read(&mut bytes).await {
                Ok(read) if read > 0 => frame.extend(&bytes[..read]),
                _ => sleep(GAP).await,
            }
        }
        while let Ok(Ok(read)) = timeout(GAP, from.read(&mut bytes)).await {
            frame.extend(&bytes[..read]);
        }
        number += 1;
        match number % 40 {
            7 => sleep(Duration::from_millis(TIMEOUT + 10 + number % 5 * 40)).await,
            17 => frame.truncate((number / 40 % frame.len() as u64) as usize),
            27 => frame.extend(frame.clone()),
            37 => sleep(Duration::from_millis(10 * TIMEOUT)).await,
            _ => {}
        }
        if to.write_all(&frame).await.is_err() {
            return;
        }
    }
}

fn polled(unit: u8) -> Polled {
    // Three requests of two registers each, so that only their values tell one answer from another.
    let quantities = [
        Quantity::Import,
        Quantity::Export,
        Quantity::Power,
        Quantity::PowerPhase(1),
        Quantity::PowerPhase(2),
        Quantity::PowerPhase(3),
    ];
    let registers = quantities.into_iter().zip([0, 1, 40, 41, 80, 81]).map(|(quantity, address)| Register {
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
    });
    let map =
        RegisterMap { name: "m".into(), registers: registers.collect(), max_block: 125, bridge: 0, modulus: None };
    Polled { meter: format!("m{unit}").as_str().into(), unit, map: Arc::new(map), interval: 50 }
}

/// What came of a campaign.
pub struct Outcome {
    /// Requests that went out.
    pub requests: u64,
    /// Values that were taken.
    pub taken: usize,
    /// Those of them that are not what stands at their address.
    pub wrong: Vec<String>,
}

/// Polls a server over a bad cable until so many requests have gone out.
pub async fn campaign(server: Command, most: u64) -> Outcome {
    let serial = Serial { baud: 19_200, parity: Parity::Even, stop_bits: 1 };
    let ((ours, line_end), (theirs, server_end)) = (pair(), pair());
    let path = |end: &SerialStream| end.name().expect("a path");
    let server = Server::start(server, &path(&server_end));
    let count = Arc::new(AtomicU64::new(0));
    let ((from_us, to_us), (from_them, to_them)) = (split(ours), split(theirs));
    let cable = [tokio::spawn(requests(from_us, to_them, count.clone())), tokio::spawn(answers(from_them, to_us))];

    let meters = (1..=UNITS).map(polled).collect();
    let framing = Framing::Rtu(serial);
    let line = Line {
        id: "cellar".into(),
        endpoint: path(&line_end),
        framing,
        timeout: TIMEOUT,
        gateway_timeout: None,
        meters,
    };
    let clock = Clock::start(0);
    let (out, mut batches) = mpsc::channel::<Batch>(64);
    let (_asks, asked) = mpsc::channel(1);
    let (state, _seen) = watch::channel(LineState::unasked(&line, clock.now()));
    let (stop, stopped) = watch::channel(false);
    let running = tokio::spawn(run_line(line, clock, out, asked, state, stopped));

    let (mut taken, mut wrong) = (0, Vec::new());
    // A request has 8 bytes.
    while count.load(Ordering::SeqCst) / 8 < most {
        let batch = timeout(Duration::from_secs(60), batches.recv()).await.expect("values within a minute");
        for (series, reading) in batch.expect("the line runs").readings {
            let unit: u8 =
                (1..=UNITS).find(|unit| series.to_string().ends_with(&format!("meter m{unit}"))).expect("a meter");
            let addresses = polled(unit).map.registers.clone();
            let address = addresses.iter().find(|r| r.quantity == series.quantity).expect("its register").address;
            taken += 1;
            if reading.count != expected(unit, address) {
                wrong.push(format!("{series}: {} instead of {}", reading.count, expected(unit, address)));
            }
        }
    }
    stop.send(true).expect("the line runs");
    drop(batches);
    running.await.expect("it ends well");
    cable.iter().for_each(tokio::task::JoinHandle::abort);
    drop(server);
    Outcome { requests: count.load(Ordering::SeqCst) / 8, taken, wrong }
}
