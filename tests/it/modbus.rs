//! Modbus against real peers: a pymodbus server over TCP and over RTU inside TCP, and a soak over 200 sockets.

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
    Line { endpoint: format!("127.0.0.1:{port}"), framing, timeout: 300, gateway_timeout: None, meters }
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
    for file in std::fs::read_dir(folder).expect("the folder") {
        let text = std::fs::read_to_string(file.expect("a file").path()).expect("a text");
        let named: Vec<&str> =
            text.split("Request::").skip(1).map(|rest| rest.split('(').next().unwrap_or(rest)).collect();
        assert!(named.iter().all(|name| ["ReadHoldingRegisters", "ReadInputRegisters"].contains(name)), "{named:?}");
    }
    assert_eq!([Table::Holding, Table::Input].map(Table::function), [3, 4]);
}

/// A plant folder whose meters are on a pymodbus server; the last is on a closed port, where one is given.
fn plant_folder(port: u16, closed: Option<u16>) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::create_dir_all(folder.path().join("config/registers")).expect("its folders");
    let mut plant = String::from(
        "[plant]\nname = \"Test hall\"\nzone = \"Europe/London\"\ncurrency = \"GBP\"\ngrid = \"GB\"\n\
         [[press]]\nid = \"p1\"\nmoving_above = 3\nstations = [{ id = \"s1\", does = \"ink\", lamp = \"none\" }]\n",
    );
    for (id, port) in [("hall", Some(port)), ("dead", closed)] {
        let Some(port) = port else { continue };
        plant += &format!(
            "[[line]]\nid = \"{id}\"\nendpoint = \"127.0.0.1:{port}\"\nframing = \"tcp\"\ntimeout = \"300ms\"\n"
        );
    }
    let meters = [("slow", "hall", 2, "one"), ("swapped", "hall", 5, "floats"), ("hole", "hall", 1, "beyond")];
    for (id, line, unit, map) in meters
        .into_iter()
        .chain([("wrong-unit", "hall", 9, "one"), ("gone", if closed.is_some() { "dead" } else { "hall" }, 1, "one")])
    {
        plant += &format!(
            "[[meter]]\nid = \"{id}\"\ncovers = {{ press = \"p1\" }}\nboundary = {{ point = \"press-main\" }}\n\
             max_kw = 60\nclass = \"1\"\ndevice = [{{ serial = \"{id}\" }}]\n\
             [meter.modbus]\nline = \"{line}\"\nunit = {unit}\nregisters = \"{map}\"\npoll = \"10s\"\n"
        );
    }
    std::fs::write(folder.path().join("config/plant.toml"), plant).expect("written");
    let head = "max_block = 125\nbridge = 0\nwords = \"big\"\nbytes = \"big\"\n";
    let import = "[[register]]\nis = \"import\"\ntable = \"holding\"\naddress = 0\ntype = \"u16\"\nstep = \"10 Wh\"\n";
    let beyond = "[[register]]\nis = \"power\"\ntable = \"holding\"\naddress = 900\ntype = \"i32\"\nstep = \"1 W\"\n";
    let floats = "table = \"input\"\n[[register]]\nis = \"voltage-l1\"\naddress = 0\ntype = \"f32\"\nunit = \"1 V\"\n\
                  step = \"0.1 V\"\n[[register]]\nis = \"power\"\naddress = 2\ntype = \"f32\"\nunit = \"1 kW\"\n\
                  step = \"1 W\"\n";
    for (name, registers) in
        [("one", import.to_owned()), ("beyond", format!("{import}{beyond}")), ("floats", floats.into())]
    {
        std::fs::write(folder.path().join(format!("config/registers/{name}.toml")), format!("{head}{registers}"))
            .expect("written");
    }
    folder
}

/// What `inkwatt check` says: exit code, output, errors.
fn check(folder: &Path, more: &[&str]) -> (Option<i32>, String, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_inkwatt"))
        .args(["check", "--plant"])
        .arg(folder)
        .args(more)
        .stdin(Stdio::null())
        .output()
        .expect("inkwatt runs");
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("UTF-8");
    (output.status.code(), text(output.stdout), text(output.stderr))
}

#[test]
fn check_poll_says_what_is_wrong_with_each_meter_and_what_to_look_at() {
    let peer = Peer::start(&[]);
    let closed = std::net::TcpListener::bind("127.0.0.1:0").and_then(|l| l.local_addr()).expect("a port").port();
    let folder = plant_folder(peer.port, Some(closed));
    let (code, text, errors) = check(folder.path(), &["--poll"]);
    println!("{text}{errors}");
    assert_eq!((code, errors.as_str()), (Some(3), "error: 2 of 5 meters not reached\n"));
    for expected in [
        &format!("! no connection to 127.0.0.1:{closed}: Connection refused (os error 111)"),
        "! unit 9 does not answer\n      look at: the unit id set at the device (configured: 9), each only once on a bus;",
        "! holding registers 900 to 901 (power) refused with exception 0x02 (illegal data address)\n      look at: the \
         address in registers/beyond.toml against the device's register list: addresses on the wire count from 0,",
        "ms; the time-out is 300 ms, so its readings are not used\n      look at: raise `timeout` of the line above that;",
        "! voltage-l1 of -2.4e-41 V is implausible\n      look at: order of the registers in registers/floats.toml: \
         words = \"little\", bytes = \"big\" would give 231.5 V",
        "    import                    0.000 kWh   [0000]",
    ] {
        assert!(text.contains(expected), "{expected}\nis not in\n{text}");
    }
}

#[test]
fn check_electrical_names_a_reversed_transformer_and_keeps_the_record() {
    let peer = Peer::start(&[]);
    let folder = plant_folder(peer.port, None);
    let plant = folder.path().join("config/plant.toml");
    let text = std::fs::read_to_string(&plant).expect("the plant");
    let (head, _) = text.split_once("[[meter]]").expect("meters");
    let meter = "[[meter]]\nid = \"main\"\ncovers = { press = \"p1\" }\nboundary = { point = \"press-main\" }\n\
                 max_kw = 60\nclass = \"1\"\ndevice = [{ serial = \"M-1\" }]\n\
                 [meter.modbus]\nline = \"hall\"\nunit = 6\nregisters = \"three\"\npoll = \"1s\"\n";
    std::fs::write(&plant, format!("{head}{meter}")).expect("written");
    let mut map = String::from("max_block = 125\nbridge = 0\ntable = \"holding\"\nwords = \"big\"\nbytes = \"big\"\n");
    let phases = (0..3).flat_map(|k| {
        [
            ("voltage", 0, "u16", "0.1 V"),
            ("current", 3, "u16", "10 mA"),
            ("power", 6, "i16", "1 W"),
            ("power-factor", 9, "i16", "0.001"),
        ]
        .map(|(is, at, kind, step)| (format!("{is}-l{}", k + 1), at + k, kind, step))
    });
    let totals = [("power".to_owned(), 12, "i16", "1 W"), ("import".to_owned(), 13, "u32", "1 Wh")];
    for (is, address, kind, step) in phases.chain(totals) {
        map += &format!("[[register]]\nis = \"{is}\"\naddress = {address}\ntype = \"{kind}\"\nstep = \"{step}\"\n");
    }
    std::fs::write(folder.path().join("config/registers/three.toml"), map).expect("written");
    let (code, text, errors) = check(folder.path(), &["--electrical", "--minutes", "0.06", "--step", "p1/s1"]);
    println!("{text}{errors}");
    assert_eq!(code, Some(1));
    assert!(errors.starts_with("Caution: this check only reads; nothing has to be opened for it."));
    assert!(errors.contains("Switch station p1/s1 on now, guards closed and extraction running. Then press Enter."));
    assert!(errors.contains("kept in the store as commissioning/20"));
    let found = "FAILED    direction and phase: L2 -2594 W at 230.0 V, 12.00 A: power factor -0.94\n            look at: the \
                 current transformer of L2: it stands reversed, or its leads S1 and S2 are exchanged\n";
    assert!(text.contains(found), "{text}");
}

#[test]
fn check_poll_tells_programs_the_same_as_json() {
    let peer = Peer::start(&["--gateway"]);
    let folder = plant_folder(peer.port, None);
    let (code, text, _) = check(folder.path(), &["--poll", "--json"]);
    let told: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    let meters = told.as_array().expect("a list");
    let of = |id: &str| meters.iter().find(|meter| meter["meter"] == id).expect("the meter");
    assert_eq!(code, Some(3));
    assert_eq!(of("gone")["values"][0]["value"], 0.0);
    assert_eq!(of("wrong-unit")["reached"], false);
    assert_eq!(
        of("wrong-unit")["problems"][0]["what"],
        "the gateway got no answer from unit 9 (exception 0x0B (gateway target failed to respond))"
    );
}

/// 200 meters on 200 sockets, polled once a second for a minute: every request that was served came through as a batch,
/// once and in order. Lateness and memory are printed (`--nocapture`), not asserted.
#[cfg(feature = "demo")]
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_200_meters_serve_in_a_minute_is_delivered() {
    const METERS: usize = 200;
    const SECONDS: i64 = 60;
    let clock = Clock::start(0);
    let mut servers = Vec::new();
    let mut running = Vec::new();
    for unit in 0..METERS {
        let server = soak::Counting::start().await;
        let registers = (0..30).map(|k| register(Quantity::Import, 2 * k, Encoding::U32)).collect();
        let mut meter = polled(1, registers);
        meter.meter = MeterId::from(format!("m{unit:03}").as_str());
        running.push(run(line(server.port, Framing::Tcp, vec![meter]), clock.clone()));
        servers.push(server);
    }
    let first = clock.now().ceil(1_000);
    // Half a second after the last poll nothing is under way.
    clock.until(first + SECONDS * 1_000 - 500).await;
    let mut late: Vec<i64> = Vec::new();
    for (server, mut line) in servers.iter().zip(running) {
        soon(line.state.wait_for(|state| state.meters[0].polls == state.meters[0].answers))
            .await
            .expect("the line runs");
        line.stop.send(true).expect("the line runs");
        line.task.await.expect("it ends well");
        let mut counts = Vec::new();
        while let Some(batch) = line.batches.recv().await {
            let reading = batch.readings[0].1;
            late.push(reading.at - reading.at.floor(1_000));
            counts.push(reading.count);
        }
        let served = server.served();
        assert_eq!(counts, (1..=served).collect::<Vec<_>>());
        let state = line.state.borrow().meters[0].clone();
        assert_eq!(state.answers as i64, served);
        assert!(served + state.overruns as i64 >= SECONDS, "{state:?}");
    }
    late.sort_unstable();
    let part = |percent: usize| late[(late.len() - 1) * percent / 100];
    println!("{} polls; ms after the second: p50 {}, p99 {}, worst {}", late.len(), part(50), part(99), part(100));
    println!("{}", soak::memory());
}

#[cfg(feature = "demo")]
mod soak {
    use std::future::{Ready, ready};
    use std::sync::Arc;
    use std::sync::atomic::{AtomicI64, Ordering};
    use tokio_modbus::server::{Service, tcp::Server};
    use tokio_modbus::{ExceptionCode, Request, Response};

    /// A meter whose first value is the number of requests that it has served.
    pub struct Counting {
        pub port: u16,
        served: Arc<AtomicI64>,
    }

    struct Count(Arc<AtomicI64>);

    impl Service for Count {
        type Request = Request<'static>;
        type Response = Response;
        type Exception = ExceptionCode;
        type Future = Ready<Result<Response, ExceptionCode>>;

        fn call(&self, request: Self::Request) -> Self::Future {
            let Request::ReadHoldingRegisters(_, count) = request else {
                return ready(Err(ExceptionCode::IllegalFunction));
            };
            let served = self.0.fetch_add(1, Ordering::Relaxed) + 1;
            let mut words = vec![0; count.into()];
            words[..2].copy_from_slice(&[(served >> 16) as u16, served as u16]);
            ready(Ok(Response::ReadHoldingRegisters(words)))
        }
    }

    impl Counting {
        pub async fn start() -> Self {
            let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.expect("a port");
            let port = listener.local_addr().expect("an address").port();
            let served = Arc::new(AtomicI64::new(0));
            let count = served.clone();
            tokio::spawn(async move {
                let connected = |stream, _| ready(Ok(Some((Count(count.clone()), stream))));
                Server::new(listener).serve(&connected, |error| panic!("{error}")).await
            });
            Self { port, served }
        }

        pub fn served(&self) -> i64 {
            self.served.load(Ordering::Relaxed)
        }
    }

    /// The resident memory of this process, servers and other tests included.
    pub fn memory() -> String {
        let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
        status.lines().find(|line| line.starts_with("VmRSS")).unwrap_or("VmRSS: unknown here").to_owned()
    }
}
