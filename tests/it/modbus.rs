//! Modbus against real peers: a pymodbus server over TCP and over RTU inside TCP.

mod check;

use inkwatt::acquire::modbus::{Answer, Condition, Fault, LineState, poll_once, run_line};
use inkwatt::acquire::{Batch, Clock};
use inkwatt::names::MeterId;
use inkwatt::plant::Ratio;
use inkwatt::readings::Quantity;
use inkwatt::sources::{
    Block, ByteOrder, Encoding, Exception, Framing, Line, NoValue, Polled, Register, RegisterMap, Table, WordOrder,
};
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use tokio::sync::{mpsc, watch};

/// A server by pymodbus; it ends with the test.
pub struct Peer {
    child: Child,
    /// Where it listens.
    pub port: u16,
    values: Vec<serde_json::Value>,
}

impl Peer {
    /// Starts `tests/peers/modbus_server.py` with arguments and waits until it tells its port.
    pub fn start(arguments: &[&str]) -> Self {
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        let python = root.join(".venv/bin/python");
        assert!(
            python.exists(),
            "{} is missing: run tests/all once, it sets up the peers of the tests",
            python.display()
        );
        let mut child = Command::new(python)
            .arg(root.join("tests/peers/modbus_server.py"))
            .args(arguments)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("python starts");
        let mut line = String::new();
        let output = child.stdout.take().expect("its output is piped");
        BufReader::new(output).read_line(&mut line).expect("it tells its port");
        let told: serde_json::Value = serde_json::from_str(&line).expect("one line of JSON; is pymodbus 3.16.1 there?");
        let port = told["port"].as_u64().expect("a port") as u16;
        Self { child, port, values: told["values"].as_array().expect("values").clone() }
    }
}

impl Drop for Peer {
    fn drop(&mut self) {
        // Closing its standard input ends it; killing it by its own handle is for the case that it hangs.
        drop(self.child.stdin.take());
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn register(quantity: Quantity, address: u16, encoding: Encoding) -> Register {
    Register {
        quantity,
        table: Table::Holding,
        address,
        encoding,
        words: WordOrder::Big,
        bytes: ByteOrder::Big,
        unit: Ratio::ONE,
        step: Ratio::ONE,
        offset: 0,
        scale_register: None,
        unavailable: Vec::new(),
    }
}

fn polled(unit: u8, registers: Vec<Register>) -> Polled {
    let map = RegisterMap { name: "map".into(), registers, max_block: 125, bridge: 0, modulus: None };
    Polled { meter: MeterId::from(format!("m{unit}").as_str()), unit, map: Arc::new(map), interval: 1_000 }
}

fn line(port: u16, framing: Framing, meters: Vec<Polled>) -> Line {
    let (id, endpoint) = ("line".into(), format!("127.0.0.1:{port}"));
    Line { id, endpoint, framing, timeout: 300, gateway_timeout: None, meters }
}

/// The map of unit 1 as the peer tells it, with the count that each register must give: floats in thousandths.
fn told(peer: &Peer) -> Vec<(Register, i64)> {
    let entry = |value: &serde_json::Value| {
        let word = |key: &str| value[key].as_str().expect("a word").to_owned();
        let encoding = Encoding::ALL.into_iter().find(|e| e.word() == word("type")).expect("an encoding");
        let is_float = matches!(encoding, Encoding::F32 | Encoding::F64);
        let expected = match is_float {
            true => (value["value"].as_f64().expect("a number") * 1_000.0) as i64,
            false => value["value"].as_i64().expect("a whole number"),
        };
        let register = Register {
            table: if word("table") == "input" { Table::Input } else { Table::Holding },
            words: if word("words") == "little" { WordOrder::Little } else { WordOrder::Big },
            bytes: if word("bytes") == "little" { ByteOrder::Little } else { ByteOrder::Big },
            unit: Ratio { num: if is_float { 1_000 } else { 1 }, den: 1 },
            ..register(Quantity::Power, value["address"].as_u64().expect("an address") as u16, encoding)
        };
        (register, expected)
    };
    peer.values.iter().map(entry).collect()
}

fn counts(answer: &Answer) -> Vec<Result<i64, NoValue>> {
    answer.values().map(|(_, value)| value.map(|(_, count)| count)).collect()
}

/// Values and their registers are written by pymodbus 3.16.1.
#[tokio::test]
async fn every_type_in_every_order_is_read_from_another_implementation() {
    for (arguments, framing) in [(&[][..], Framing::Tcp), (&["--rtu"][..], Framing::RtuOverTcp)] {
        let peer = Peer::start(arguments);
        let (registers, expected): (Vec<_>, Vec<_>) = told(&peer).into_iter().unzip();
        assert_eq!(registers.len(), 4 * 27);
        let answers = poll_once(&[line(peer.port, framing, vec![polled(1, registers)])], &Clock::start(0)).await;
        assert_eq!(answers[0].faults, [], "{framing:?}");
        assert_eq!(counts(&answers[0]), expected.into_iter().map(Ok).collect::<Vec<_>>(), "{framing:?}");
    }
}

#[tokio::test]
async fn scale_registers_and_absent_values_are_read_from_another_implementation() {
    let peer = Peer::start(&[]);
    let scaled = |quantity, address, encoding, scale| Register {
        scale_register: Some(scale),
        unit: Ratio { num: 10, den: 1 },
        ..register(quantity, address, encoding)
    };
    let meter = polled(
        4,
        vec![
            scaled(Quantity::Import, 0, Encoding::U32, 10),
            scaled(Quantity::Power, 2, Encoding::I16, 11),
            Register { unavailable: vec![0x8000], ..register(Quantity::Voltage(1), 3, Encoding::I16) },
            scaled(Quantity::Current(1), 4, Encoding::U16, 13),
        ],
    );
    let answers = poll_once(&[line(peer.port, Framing::Tcp, vec![meter])], &Clock::start(0)).await;
    let expected = [Ok(123_456_000), Ok(-1_234), Err(NoValue::Unavailable(0x8000)), Err(NoValue::NoScale)];
    assert_eq!(counts(&answers[0]), expected);
}

#[tokio::test]
async fn each_fault_of_a_meter_is_told_apart() {
    for (arguments, framing) in [(&[][..], Framing::Tcp), (&["--rtu"][..], Framing::RtuOverTcp)] {
        let peer = Peer::start(arguments);
        let one = |unit| polled(unit, vec![register(Quantity::Import, 0, Encoding::U16)]);
        let beyond = polled(
            1,
            vec![register(Quantity::Import, 0, Encoding::U16), register(Quantity::Power, 900, Encoding::I32)],
        );
        let meters = vec![beyond, one(2), one(3), one(9)];
        let answers = poll_once(&[line(peer.port, framing, meters)], &Clock::start(0)).await;
        let hole = Block { table: Table::Holding, address: 900, count: 2 };
        assert_eq!(answers[0].faults, [Fault::Refused(hole, Exception::ILLEGAL_ADDRESS)]);
        assert_eq!(counts(&answers[0]), [Ok(0), Err(NoValue::NotRead)]);
        assert!(matches!(answers[1].faults[..], [Fault::Late(millis)] if millis >= 400), "{:?}", answers[1].faults);
        assert!(matches!(answers[2].faults[..], [Fault::Refused(_, Exception(4))]));
        assert_eq!(answers[3].faults, [Fault::Silent]);
    }
}

#[tokio::test]
async fn a_gateway_says_that_a_unit_is_not_there_and_a_closed_port_that_nobody_is() {
    let peer = Peer::start(&["--gateway"]);
    let one = |unit| polled(unit, vec![register(Quantity::Import, 0, Encoding::U16)]);
    let closed = std::net::TcpListener::bind("127.0.0.1:0").and_then(|l| l.local_addr()).expect("a port").port();
    let lines = [line(peer.port, Framing::Tcp, vec![one(9)]), line(closed, Framing::Tcp, vec![one(10), one(11)])];
    let answers = poll_once(&lines, &Clock::start(0)).await;
    let refused = |faults: &[Fault]| matches!(faults, [Fault::Unreachable(why)] if why.contains("refused"));
    assert_eq!(answers.iter().map(|a| a.polled.meter.as_str()).collect::<Vec<_>>(), ["m10", "m11", "m9"]);
    assert!(refused(&answers[0].faults) && refused(&answers[1].faults));
    assert!(matches!(answers[2].faults[..], [Fault::Refused(_, Exception::GATEWAY_TARGET)]));
}

/// Waits for something that comes in seconds, so that a test fails rather than hangs.
async fn soon<T>(what: impl Future<Output = T>) -> T {
    tokio::time::timeout(std::time::Duration::from_secs(60), what).await.expect("it comes within a minute")
}

/// What a running line gives.
struct Running {
    batches: mpsc::Receiver<Batch>,
    state: watch::Receiver<LineState>,
    stop: watch::Sender<bool>,
    task: tokio::task::JoinHandle<()>,
}

fn run(line: Line, clock: Clock) -> Running {
    let (out, batches) = mpsc::channel(1_000);
    let (told, state) = watch::channel(LineState::unasked(&line, clock.now()));
    let (stop, stopped) = watch::channel(false);
    let (_, asks) = mpsc::channel(1);
    Running { batches, state, stop, task: tokio::spawn(run_line(line, clock, out, asks, told, stopped)) }
}

#[tokio::test]
async fn a_running_line_delivers_what_a_pymodbus_server_holds() {
    for (arguments, framing) in [(&[][..], Framing::Tcp), (&["--rtu"][..], Framing::RtuOverTcp)] {
        let peer = Peer::start(arguments);
        let (registers, expected): (Vec<_>, Vec<_>) = told(&peer).into_iter().take(4).unzip();
        let silent = polled(9, vec![register(Quantity::Import, 0, Encoding::U16)]);
        let mut running = run(line(peer.port, framing, vec![polled(1, registers), silent]), Clock::start(0));
        for _ in 0..2 {
            let batch = soon(running.batches.recv()).await.expect("a batch");
            assert_eq!(batch.readings.iter().map(|(_, reading)| reading.count).collect::<Vec<_>>(), expected);
        }
        let quiet = |state: &LineState| state.meters[1].condition == Condition::Silent;
        soon(running.state.wait_for(quiet)).await.expect("the line runs");
        running.stop.send(true).expect("the line runs");
        running.task.await.expect("it ends well");
    }
}

/// Nothing that writes can be sent: the only choice that a request leaves open is its table.
#[test]
fn no_request_but_a_read_is_named_where_requests_are_made() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/acquire/modbus");
    let entries = std::fs::read_dir(folder).expect("the folder").map(|entry| entry.expect("an entry").path());
    for file in entries.filter(|path| path.is_file()) {
        let text = std::fs::read_to_string(file).expect("a text");
        let named: Vec<&str> =
            text.split("Request::").skip(1).map(|rest| rest.split('(').next().unwrap_or(rest)).collect();
        assert!(named.iter().all(|name| ["ReadHoldingRegisters", "ReadInputRegisters"].contains(name)), "{named:?}");
    }
    assert_eq!([Table::Holding, Table::Input].map(Table::function), [3, 4]);
}
