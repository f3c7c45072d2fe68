//! `inkwatt scan` on a line with SunSpec meters, whose registers are laid out by the published models.

use serde_json::Value;
use std::collections::BTreeMap;
use std::fs;
use std::future::{Ready, ready};
use std::path::Path;
use std::process::{Command, Output};
use std::sync::Arc;
use tempfile::TempDir;
use tokio::net::TcpListener;
use tokio_modbus::server::Service;
use tokio_modbus::server::tcp::{Server, accept_tcp_connection};
use tokio_modbus::{ExceptionCode, Request, Response, SlaveRequest};

/// Holding registers by unit and address.
type Registers = BTreeMap<u8, BTreeMap<u16, u16>>;

#[derive(Clone)]
struct Devices(Arc<Registers>);

impl Service for Devices {
    type Request = SlaveRequest<'static>;
    type Response = Response;
    type Exception = ExceptionCode;
    type Future = Ready<Result<Response, ExceptionCode>>;

    fn call(&self, asked: Self::Request) -> Self::Future {
        let Some(unit) = self.0.get(&asked.slave) else { return ready(Err(ExceptionCode::GatewayTargetDevice)) };
        let Request::ReadHoldingRegisters(address, count) = asked.request else {
            return ready(Err(ExceptionCode::IllegalFunction));
        };
        let words: Option<Vec<u16>> =
            (address..address.saturating_add(count)).map(|at| unit.get(&at).copied()).collect();
        ready(words.map(Response::ReadHoldingRegisters).ok_or(ExceptionCode::IllegalDataAddress))
    }
}

/// The registers of a model whose points hold what is given, the others what says "not implemented": as the model prints
/// their offsets, sizes and types.
fn model(id: u16, length: u16, set: &[(&str, Vec<u16>)]) -> Vec<u16> {
    let models: Value = serde_json::from_str(include_str!("../reference/sunspec_meters.json")).expect("JSON");
    let mut words = vec![0; usize::from(length) + 2];
    for point in models["models"][id.to_string()]["points"].as_array().expect("points") {
        let offset = point["offset"].as_u64().expect("an offset") as usize;
        let kind = point["type"].as_str().expect("a type");
        let absent =
            models["types"][kind]["ni"].as_str().and_then(|ni| u64::from_str_radix(&ni[2..], 16).ok()).unwrap_or(0);
        let size = point["size"].as_u64().expect("a size") as usize;
        let name = point["name"].as_str().expect("a name");
        let given = set.iter().find(|(given, _)| *given == name).map(|(_, words)| words.clone());
        let value = given.unwrap_or_else(|| match size {
            1 => vec![absent as u16],
            2 => vec![(absent >> 16) as u16, absent as u16],
            _ => Vec::new(),
        });
        for (place, word) in words.iter_mut().skip(offset).zip(value) {
            *place = word;
        }
    }
    words[0] = id;
    words[1] = length;
    words
}

fn text(text: &str) -> Vec<u16> {
    text.as_bytes().chunks(2).map(|pair| u16::from(pair[0]) << 8 | u16::from(*pair.get(1).unwrap_or(&0))).collect()
}

fn long(value: u32) -> Vec<u16> {
    vec![(value >> 16) as u16, value as u16]
}

/// A chain from a base on.
fn chain(base: u16, models: &[Vec<u16>]) -> BTreeMap<u16, u16> {
    let marker = vec![0x5375, 0x6E53];
    let end = vec![0xFFFF, 0];
    let words = [vec![marker], models.to_vec(), vec![end]].concat().concat();
    (base..).zip(words).collect()
}

fn devices() -> Registers {
    let plate = |length, serial| {
        model(
            1,
            length,
            &[("Mn", text("Tarn Instruments")), ("Md", text("T3")), ("Vr", text("1.4")), ("SN", text(serial))],
        )
    };
    let whole = [
        ("TotWhImp", long(1_234_567)),
        ("TotWh_SF", vec![1]),
        ("W", vec![0x10000_u32.wrapping_sub(4_321) as u16]),
        ("W_SF", vec![0]),
        ("PhVphA", vec![2_302]),
        ("V_SF", vec![(-1_i16) as u16]),
    ];
    let float = [("TotWhImp", long(20_000_000_f32.to_bits())), ("W", long(2_500.5_f32.to_bits()))];
    let unknown = [vec![160, 20], vec![7; 20]].concat();
    [
        (3, chain(40_000, &[plate(66, "A-77"), unknown, model(203, 105, &whole)])),
        // An older device without padding, at the beginning of the addresses.
        (7, chain(0, &[plate(65, "B-1"), model(213, 124, &float)])),
        (9, [(100, 1)].into()),
    ]
    .into()
}

async fn serve(devices: Registers) -> u16 {
    let listener = TcpListener::bind("127.0.0.1:0").await.expect("a port");
    let port = listener.local_addr().expect("an address").port();
    let devices = Devices(Arc::new(devices));
    tokio::spawn(async move {
        let connected = |stream, from| {
            let devices = devices.clone();
            async move { accept_tcp_connection(stream, from, move |_| Ok(Some(devices.clone()))) }
        };
        let _ = Server::new(listener).serve(&connected, |_| {}).await;
    });
    port
}

async fn inkwatt(folder: &Path, arguments: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_inkwatt"));
    command.arg("--plant").arg(folder).args(arguments);
    tokio::task::spawn_blocking(move || command.output().expect("the program runs")).await.expect("it ends")
}

fn said(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).expect("text")
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_scan_finds_meters_and_what_it_writes_reads_them() {
    let port = serve(devices()).await;
    let folder = TempDir::new().expect("a folder");
    let config = folder.path().join("config");
    fs::create_dir(&config).expect("a folder");
    let mut plant = format!(
        "[plant]\nname = \"Hall\"\nzone = \"Europe/London\"\ncurrency = \"GBP\"\ngrid = \"GB\"\n\
         [[press]]\nid = \"p1\"\nmoving_above = 3\nstations = [{{ id = \"s1\", does = \"ink\", lamp = \"none\" }}]\n\
         [[line]]\nid = \"hall\"\nendpoint = \"127.0.0.1:{port}\"\nframing = \"tcp\"\n"
    );
    fs::write(config.join("plant.toml"), &plant).expect("written");

    let scanned = inkwatt(folder.path(), &["scan", "hall", "--units", "1-10", "--write"]).await;
    let text = said(&scanned);
    for expected in [
        "3 of 10 units answer on 127.0.0.1:",
        "unit 3: Tarn Instruments T3, version 1.4, serial A-77",
        "  model 160   at 40070  not a meter",
        "  model 203   at 40092  meter, three phases with neutral",
        "    import         12345670.000 Wh",
        "    power             -4321.000 W",
        "    voltage-l1          230.200 V",
        "    export                0.000 Wh\n      ! shows 0: a new counter or one that the device does not have",
        "unit 7: Tarn Instruments T3, version 1.4, serial B-1",
        "      ! at 20000000 Wh a 32-bit float moves in steps of 2 Wh",
        "states no SunSpec models",
        "config/registers/sunspec-203.toml is there",
    ] {
        assert!(text.contains(expected), "{expected}\n{text}");
    }
    assert_eq!(scanned.status.code(), Some(0));

    // What it tells is entered as it stands, and then read with.
    let (_, sections) = text.split_once("# for config/plant.toml\n").expect("sections");
    plant.push_str(sections);
    fs::write(config.join("plant.toml"), &plant).expect("written");
    let polled = inkwatt(folder.path(), &["check", "--poll", "--json"]).await;
    let told: Value = serde_json::from_slice(&polled.stdout).unwrap_or_else(|_| panic!("{polled:?}"));
    let meters = told.as_array().or_else(|| told["meters"].as_array()).expect("meters").clone();
    let value = |unit: u64, quantity: &str| {
        let meter = meters.iter().find(|meter| meter["unit"] == unit).unwrap_or_else(|| panic!("{told:#}"));
        let values = meter["values"].as_array().expect("values");
        let found = values.iter().find(|value| value["quantity"] == quantity).unwrap_or_else(|| panic!("{meter:#}"));
        (
            found["value"].as_f64().unwrap_or_else(|| panic!("{found:#}")),
            found["unit"].as_str().expect("a unit").to_owned(),
        )
    };
    assert_eq!(value(3, "import"), (12_345.67, "kWh".into()));
    assert_eq!(value(3, "power"), (-4.321, "kW".into()));
    assert_eq!(value(3, "voltage-l1"), (230.2, "V".into()));
    assert_eq!(value(7, "import"), (20_000.0, "kWh".into()));
    assert_eq!(value(7, "power"), (2.501, "kW".into()));
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_scan_says_what_is_not_there_and_what_is_broken() {
    let mut devices = devices();
    // The chain of unit 3 breaks off inside its last model.
    devices.get_mut(&3).expect("unit 3").retain(|address, _| *address < 40_150);
    let port = serve(devices).await;
    let folder = TempDir::new().expect("a folder");
    let line = format!("127.0.0.1:{port}");
    let none = inkwatt(folder.path(), &["scan", &line, "--units", "1-2"]).await;
    assert_eq!(none.status.code(), Some(1));
    assert!(said(&none).starts_with(&format!("none of 2 units answers on {line}\nlook at: ")), "{}", said(&none));
    let broken = said(&inkwatt(folder.path(), &["scan", &line, "--units", "3", "--json"]).await);
    let broken: Value = serde_json::from_str(&broken).expect("JSON");
    let why = broken["units"][0]["broken"].as_str().expect("a reason");
    assert!(why.contains("illegal data address"), "{why}");
    assert_eq!(broken["units"][0]["serial"], "A-77");

    let closed = std::net::TcpListener::bind("127.0.0.1:0").and_then(|l| l.local_addr()).expect("a port").to_string();
    let closed = inkwatt(folder.path(), &["scan", &closed]).await;
    assert_eq!(closed.status.code(), Some(3));
    let told = String::from_utf8_lossy(&closed.stderr);
    assert!(told.contains("no connection") && told.contains("stop it for the scan"), "{told}");
    let unknown = inkwatt(folder.path(), &["scan", "1.2.3.4:502", "--units", "0-3"]).await;
    assert_eq!(unknown.status.code(), Some(2));
    // What a line of the configuration may not be, one of the command line may not be either.
    for (arguments, expected) in [
        (
            &["scan", "gateway:abc"][..],
            "endpoint must be host:port, such as \"192.168.10.20:502\", found \"gateway:abc\"",
        ),
        (&["scan", "1.2.3.4:502", "--baud", "9600"], "baud belongs to a serial line, found framing \"tcp\""),
        (&["scan", "/dev/ttyUSB0", "--parity", "mark"], "parity \"mark\" is not known\nhelp: known: none, even, odd"),
    ] {
        let refused = inkwatt(folder.path(), arguments).await;
        let told = String::from_utf8_lossy(&refused.stderr).into_owned();
        assert!(refused.status.code() == Some(2) && told.contains(expected), "{told}");
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_plant_is_begun_up_to_the_first_reading_of_its_meter() {
    let port = serve(devices()).await;
    let folder = TempDir::new().expect("a folder");
    let line = format!("127.0.0.1:{port}");
    let plant = ["new", "--name", "Hall \"one\"", "--zone", "Europe/London", "--currency", "GBP", "--grid", "GB"];
    let with =
        |more: &[&'static str]| [&plant[..], &["--line", &line], more].concat().iter().map(|s| s.to_string()).collect();
    let new = |arguments: Vec<String>| async {
        let arguments = arguments;
        inkwatt(folder.path(), &arguments.iter().map(String::as_str).collect::<Vec<_>>()).await
    };
    let file = folder.path().join("config/plant.toml");

    // What cannot be used leaves nothing behind.
    for (more, code, expected) in [
        (&["--unit", "2"][..], 3, "unit 2 does not answer on 127.0.0.1:"),
        (&["--unit", "9"], 2, "--registers is missing: it states no SunSpec model"),
        (&["--unit", "3", "--max-kw", "much"], 2, "--max-kw must be a number of kW above 0, found \"much\""),
        (&["--unit", "3", "--ct", "half"], 2, "half"),
        (&["--unit", "9", "--registers", "energy-flaot", "--serial", "M-1"], 2, "energy-float"),
    ] {
        let refused = new(with(more)).await;
        let told = String::from_utf8_lossy(&refused.stderr).into_owned();
        assert!(refused.status.code() == Some(code) && told.contains(expected), "{more:?}: {told}");
        assert!(!file.exists(), "{more:?}");
    }

    let begun = new(with(&["--unit", "3", "--ct", "200/5", "--max-kw", "60", "--stations", "2"])).await;
    let text = said(&begun);
    // The registers of the device above: 1,234,567 x 10 Wh and -4,321 W.
    for expected in [
        "a plant of Hall \"one\"",
        "p1-main  unit 3, map sunspec-203, answers in",
        "12345.670 kWh",
        "-4.321 kW",
        "inkwatt run",
    ] {
        assert!(text.contains(expected), "{expected}\n{text}");
    }
    let written = fs::read_to_string(&file).expect("written");
    assert!(written.contains("device = [{ serial = \"A-77\", ct = \"200/5\" }]"), "{written}");
    let again = new(with(&["--unit", "3"])).await;
    assert_eq!(again.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&again.stderr).contains("a plant is begun once"));
    assert_eq!(fs::read_to_string(&file).expect("still there"), written);
}

#[tokio::test]
async fn a_plant_without_a_meter_yet_is_begun_too() {
    let folder = TempDir::new().expect("a folder");
    let named = ["new", "--name", "Hall", "--zone", "Europe/London", "--currency", "GBP", "--grid", "GB"];
    let lacking = inkwatt(folder.path(), &named[..7]).await;
    assert_eq!(lacking.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&lacking.stderr).contains("--grid is missing: region of the grid"));
    let begun = inkwatt(folder.path(), &named).await;
    assert_eq!(begun.status.code(), Some(0), "{begun:?}");
    assert!(said(&begun).contains("no meter yet"), "{}", said(&begun));
    assert_eq!(inkwatt(folder.path(), &["check"]).await.status.code(), Some(0));
}
