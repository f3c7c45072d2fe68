//! Two hundred meters are polled each second while two hundred pages stand open and a hundred requests come each second: what the
//! meters answered is what is stored, and what is stored is what is shown.

use inkwatt::acquire::Clock;
use inkwatt::readings::{Quantity, Series, Subject};
use inkwatt::store::{Access, Store};
use inkwatt::time::{At, Period, Zone};
use serde_json::Value;
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::fs;
use std::future::{Ready, ready};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};
use tempfile::TempDir;
use tokio::io::{AsyncBufReadExt, AsyncReadExt, AsyncWriteExt, BufReader};
use tokio::net::{TcpListener, TcpStream};
use tokio::task::JoinSet;
use tokio::time::{MissedTickBehavior, interval, sleep, timeout};
use tokio_modbus::server::Service;
use tokio_modbus::server::tcp::{Server, accept_tcp_connection};
use tokio_modbus::{ExceptionCode, Request, Response, SlaveRequest};

const LINES: usize = 4;
const UNITS: usize = 50;
const METERS: usize = LINES * UNITS;
const PAGES: usize = 200;
const REQUESTS_A_SECOND: u32 = 100;
const SECONDS: u32 = 60;
const PATIENCE: Duration = Duration::from_secs(30);
/// Every address that is asked for, in turn.
const ASKED: [&str; 6] = ["/", "/press/p1", "/findings", "/data", "/api/v1/now", "/healthz/ready"];

/// Meters of which each counts how often it was asked: its register of energy goes on by 1 Wh with every answer.
#[derive(Clone)]
struct Gateway(Arc<Vec<AtomicU32>>, Arc<AtomicBool>);

impl Service for Gateway {
    type Request = SlaveRequest<'static>;
    type Response = Response;
    type Exception = ExceptionCode;
    type Future = Ready<Result<Response, ExceptionCode>>;

    fn call(&self, asked: Self::Request) -> Self::Future {
        let Request::ReadHoldingRegisters(0, 4) = asked.request else {
            return ready(Err(ExceptionCode::IllegalDataAddress));
        };
        let Some(counter) = self.0.get(usize::from(asked.slave) - 1) else {
            return ready(Err(ExceptionCode::GatewayTargetDevice));
        };
        let is_frozen = self.1.load(Ordering::SeqCst);
        let count = if is_frozen { counter.load(Ordering::SeqCst) } else { counter.fetch_add(1, Ordering::SeqCst) + 1 };
        let power = 1_000 + count % 500;
        ready(Ok(Response::ReadHoldingRegisters(vec![(count >> 16) as u16, count as u16, 0, power as u16])))
    }
}

async fn gateway(frozen: Arc<AtomicBool>) -> (u16, Gateway) {
    let listener = TcpListener::bind("127.0.0.1:0").await.expect("a port");
    let port = listener.local_addr().expect("an address").port();
    let gateway = Gateway(Arc::new((0..UNITS).map(|_| AtomicU32::new(0)).collect()), frozen);
    let served = gateway.clone();
    tokio::spawn(async move {
        let connected = |stream, from| {
            let gateway = served.clone();
            async move { accept_tcp_connection(stream, from, move |_| Ok(Some(gateway.clone()))) }
        };
        let _ = Server::new(listener).serve(&connected, |_| {}).await;
    });
    (port, gateway)
}

/// A press for each line, with a station and a meter for each unit.
fn plant(folder: &Path, listen: &str, ports: &[u16]) {
    let mut text = format!(
        "[plant]\nname = 'Hall'\nzone = 'Europe/London'\ncurrency = 'GBP'\ngrid = 'GB'\n[board]\nlisten = '{listen}'\n"
    );
    for (k, port) in (1..).zip(ports) {
        let stations: Vec<String> =
            (1..=UNITS).map(|s| format!("{{ id = 's{s}', name = 'S{s}', does = 'ink', lamp = 'none' }}")).collect();
        let _ = write!(
            text,
            "[[line]]\nid = 'l{k}'\nendpoint = '127.0.0.1:{port}'\nframing = 'tcp'\n\
             [[press]]\nid = 'p{k}'\nname = 'Press {k}'\nmoving_above = 3\nstations = [{}]\n",
            stations.join(", ")
        );
        for s in 1..=UNITS {
            let _ = write!(
                text,
                "[[meter]]\nid = 'p{k}-s{s}'\ncovers = {{ station = 'p{k}/s{s}' }}\nboundary = {{ point = 'cabinet' }}\nmax_kw = 100\n\
                 device = [{{ serial = 'X' }}]\n[meter.modbus]\nline = 'l{k}'\nunit = {s}\nregisters = 'plain'\npoll = '1s'\n"
            );
        }
    }
    let map = "max_block = 125\nbridge = 0\ntable = 'holding'\nwords = 'big'\nbytes = 'big'\n\
               [[register]]\nis = 'import'\naddress = 0\ntype = 'u32'\nstep = '1 Wh'\n\
               [[register]]\nis = 'power'\naddress = 2\ntype = 'u32'\nstep = '1 W'\n";
    fs::create_dir_all(folder.join("config/registers")).expect("a folder");
    fs::write(folder.join("config/plant.toml"), text).expect("written");
    fs::write(folder.join("config/registers/plain.toml"), map).expect("written");
}

struct Agent(Child);

impl Agent {
    fn start(folder: &Path) -> Self {
        let child = Command::new(env!("CARGO_BIN_EXE_inkwatt"))
            .args(["--plant".as_ref(), folder.as_os_str(), "run".as_ref()])
            .stderr(Stdio::null())
            .spawn();
        Self(child.expect("the program runs"))
    }

    /// Resident memory in MB.
    fn memory(&self) -> f64 {
        let status = fs::read_to_string(format!("/proc/{}/status", self.0.id())).unwrap_or_default();
        let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:")).unwrap_or("0 kB");
        line.split_whitespace().next().and_then(|kb| kb.parse::<f64>().ok()).unwrap_or(0.0) / 1e3
    }

    fn end(&mut self) {
        let asked = Command::new("kill").arg(self.0.id().to_string()).status().expect("kill");
        assert!(asked.success());
        assert!(self.0.wait().expect("its end").success());
    }
}

impl Drop for Agent {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// Asks once on a connection of its own: status and content.
async fn ask(address: &str, path: &str) -> std::io::Result<(u16, String)> {
    let mut stream = TcpStream::connect(address).await?;
    let request = format!("GET {path} HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\n\r\n");
    stream.write_all(request.as_bytes()).await?;
    let mut answer = String::new();
    stream.read_to_string(&mut answer).await?;
    let status = answer.split(' ').nth(1).and_then(|status| status.parse().ok()).unwrap_or(0);
    Ok((status, answer.split_once("\r\n\r\n").map(|(_, body)| body.to_owned()).unwrap_or_default()))
}

/// An open page: it holds the figures that it was sent.
async fn page(address: String, figures: Arc<Mutex<BTreeMap<String, String>>>) -> std::io::Result<()> {
    let mut stream = TcpStream::connect(&address).await?;
    stream.write_all(format!("GET /live HTTP/1.1\r\nHost: {address}\r\n\r\n").as_bytes()).await?;
    let mut lines = BufReader::new(stream).lines();
    while let Some(line) = lines.next_line().await? {
        if let Some(data) = line.strip_prefix("data: ")
            && let Ok(Value::Object(values)) = serde_json::from_str(data)
        {
            let mut figures = figures.lock().expect("whole");
            figures.extend(values.into_iter().filter_map(|(key, value)| Some((key, value.as_str()?.to_owned()))));
        }
    }
    Ok(())
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_meters_answer_is_stored_and_shown_while_many_look() {
    let frozen = Arc::new(AtomicBool::new(false));
    let (mut ports, mut gateways) = (Vec::new(), Vec::new());
    for _ in 0..LINES {
        let (port, gateway) = gateway(frozen.clone()).await;
        ports.push(port);
        gateways.push(gateway);
    }
    let folder = TempDir::new().expect("a folder");
    let free = std::net::TcpListener::bind("127.0.0.1:0").and_then(|l| l.local_addr()).expect("a port").port();
    let address = format!("127.0.0.1:{free}");
    plant(folder.path(), &address, &ports);
    let begun = Clock::start(0).now();
    let mut agent = Agent::start(folder.path());
    let asked = |gateway: &Gateway, unit: usize| gateway.0[unit].load(Ordering::SeqCst);
    let is_polled = || gateways.iter().all(|gateway| (0..UNITS).all(|unit| asked(gateway, unit) > 2));
    timeout(PATIENCE, async {
        while !is_polled() || TcpStream::connect(&address).await.is_err() {
            sleep(Duration::from_millis(50)).await;
        }
    })
    .await
    .expect("every meter is polled");

    let mut pages = JoinSet::new();
    let shown: Vec<Arc<Mutex<BTreeMap<String, String>>>> = (0..PAGES).map(|_| Arc::default()).collect();
    for figures in &shown {
        pages.spawn(page(address.clone(), figures.clone()));
    }
    let (failed, took): (Arc<Mutex<BTreeMap<String, usize>>>, _) = (Arc::default(), Arc::new(Mutex::new(Vec::new())));
    let mut ticks = interval(Duration::from_secs(1) / REQUESTS_A_SECOND);
    ticks.set_missed_tick_behavior(MissedTickBehavior::Burst);
    let (mut requests, memory) = (JoinSet::new(), agent.memory());
    let (polled, clock) =
        (gateways.iter().flat_map(|g| g.0.iter()).map(|c| c.load(Ordering::SeqCst)).sum::<u32>(), Instant::now());
    for k in 0..REQUESTS_A_SECOND * SECONDS {
        ticks.tick().await;
        let (address, failed, took) = (address.clone(), failed.clone(), took.clone());
        requests.spawn(async move {
            let begun = Instant::now();
            let path = ASKED[k as usize % ASKED.len()];
            let fault = match timeout(PATIENCE, ask(&address, path)).await {
                Ok(Ok((200, _))) => None,
                Ok(Ok((status, _))) => Some(format!("{path}: {status}")),
                Ok(Err(fault)) => Some(format!("{path}: {fault}")),
                Err(_) => Some(format!("{path}: no answer in time")),
            };
            if let Some(fault) = fault {
                *failed.lock().expect("whole").entry(fault).or_default() += 1;
            }
            took.lock().expect("whole").push(begun.elapsed());
        });
    }
    while requests.join_next().await.is_some() {}
    let seconds = clock.elapsed().as_secs_f64();
    let polled = gateways.iter().flat_map(|g| g.0.iter()).map(|c| c.load(Ordering::SeqCst)).sum::<u32>() - polled;
    assert_eq!(*failed.lock().expect("whole"), BTreeMap::new(), "requests that failed");

    // The meters answer the same from here on, so that everything can come to rest.
    frozen.store(true, Ordering::SeqCst);
    sleep(Duration::from_secs(5)).await;
    let now: Value = serde_json::from_str(&ask(&address, "/api/v1/now").await.expect("an answer").1).expect("JSON");
    let last = Clock::start(0).now();
    let grown = agent.memory();
    agent.end();
    while pages.join_next().await.is_some() {}

    let zone = Zone::parse("Europe/London").expect("a zone");
    let store = Store::open(folder.path(), zone, Access::Read).expect("a store");
    let counts = |meter: &str, quantity: Quantity| -> Vec<i64> {
        let series = Series::new(Subject::Meter(meter.into()), quantity);
        let period = Period::new(begun, At(last.0 + 60_000));
        store.readings(&series, period, false).expect("readings").value.iter().map(|reading| reading.count).collect()
    };
    let mut stored = 0;
    for (k, gateway) in gateways.iter().enumerate() {
        for unit in 0..UNITS {
            let (press, station) = (k + 1, unit + 1);
            let mut of_it = counts(&format!("p{press}-s{station}"), Quantity::Import);
            of_it.dedup();
            let answered: Vec<i64> = (1..=i64::from(asked(gateway, unit))).collect();
            assert_eq!(of_it, answered, "p{press}-s{station}: what is stored is what it answered");
            stored += of_it.len();
            let power = *counts(&format!("p{press}-s{station}"), Quantity::Power).last().expect("a power");
            let told = &now["presses"][k]["stations"][unit];
            assert_eq!(told["draw_w"].as_f64(), Some(power as f64), "{told}");
            let key = format!("p{press}/s{station}.draw");
            let expected = format!("{:.2}", power as f64 / 1e3);
            let wrong = shown.iter().filter(|page| page.lock().expect("whole").get(&key) != Some(&expected)).count();
            assert_eq!(wrong, 0, "{wrong} of {PAGES} pages do not show {expected} of {key}");
        }
    }
    let mut took = took.lock().expect("whole").clone();
    took.sort();
    let at = |share: f64| took[((took.len() - 1) as f64 * share) as usize].as_secs_f64() * 1e3;
    println!(
        "{METERS} meters, {:.0} answers a second; {PAGES} open pages; {} requests, {:.0} a second: half within {:.1} ms, 99 % within {:.1} ms; \
         {stored} answers stored of as many; memory {memory:.0} to {grown:.0} MB",
        f64::from(polled) / seconds,
        took.len(),
        took.len() as f64 / seconds,
        at(0.5),
        at(0.99),
    );
}
