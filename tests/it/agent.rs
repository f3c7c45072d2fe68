//! Claims about the whole agent: the real process against a real broker and real sockets, killed, starved of its store,
//! and asked to poll.

use crate::mqtt::{Mosquitto, publish};
use inkwatt::acquire::Clock;
use inkwatt::agent::Agent;
use inkwatt::config;
use inkwatt::readings::{Quantity, Rank, Reading, Series, Subject};
use inkwatt::store::{Access, Store};
use inkwatt::time::{At, HOUR, Period, Zone};
use rusqlite::Connection;
use std::fmt::Write;
use std::fs;
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};
use tempfile::TempDir;
use tokio::sync::watch;

/// How long anything may take before a test gives up.
const PATIENCE: Duration = Duration::from_secs(60);

/// A plant folder with one press, and whatever the test adds.
fn plant(more: &str) -> TempDir {
    let folder = TempDir::new().expect("a folder");
    let text = format!(
        "[plant]\nname = 'Hall'\nzone = 'Europe/London'\ncurrency = 'GBP'\ngrid = 'GB'\n\
         [board]\nlisten = '127.0.0.1:{}'\n\
         [[press]]\nid = 'p1'\nname = 'Press 1'\nmoving_above = 3\n\
         stations = [{{ id = 's1', name = 'Varnish', does = 'varnish', lamp = 'none' }}]\n{more}",
        free_port()
    );
    fs::create_dir(folder.path().join("config")).expect("a folder");
    fs::write(folder.path().join("config/plant.toml"), text).expect("written");
    folder
}

/// A meter without a source of its own.
fn meter(id: &str) -> String {
    format!(
        "[[meter]]\nid = '{id}'\ncovers = 'site'\nboundary = {{ point = 'supply' }}\nmax_kw = 100\ninterval = '1min'\n\
         device = [{{ serial = 'X', wh_per_count = 1 }}]\n"
    )
}

/// A broker's section that takes the energy of a meter with its time.
fn broker(port: u16) -> String {
    format!(
        "[mqtt]\nhost = '127.0.0.1'\nport = {port}\nclient_id = 'inkwatt'\n[[mqtt.topic]]\npattern = 'hall/{{meter}}'\n\
         is = 'import'\nunit = 'Wh'\nvalue = '/v'\ntime = '/t'\n"
    )
}

fn free_port() -> u16 {
    std::net::TcpListener::bind("127.0.0.1:0").and_then(|l| l.local_addr()).expect("a free port").port()
}

fn import(meter: &str) -> Series {
    Series::new(Subject::Meter(meter.into()), Quantity::Import)
}

/// What the store holds of a meter's energy.
fn stored(folder: &Path, meter: &str, period: Period) -> Vec<Reading> {
    let zone = Zone::parse("Europe/London").expect("a zone");
    let store = Store::open(folder, zone, Access::Read).expect("a store");
    store.readings(&import(meter), period, false).expect("readings").value
}

/// Waits for a condition, at most for [`PATIENCE`].
fn until(what: &str, mut condition: impl FnMut() -> bool) {
    let begun = Instant::now();
    while !condition() {
        assert!(begun.elapsed() < PATIENCE, "{what} did not come about");
        std::thread::sleep(Duration::from_millis(20));
    }
}

/// The installed program as an agent.
fn run(folder: &Path) -> Child {
    Command::new(env!("CARGO_BIN_EXE_inkwatt"))
        .args(["--plant".as_ref(), folder.as_os_str(), "run".as_ref()])
        .stderr(Stdio::null())
        .spawn()
        .expect("the program runs")
}

/// The process is killed without warning again and again while a source publishes. What the source was told is kept is
/// in the store at the end, once. `kill -9` is not a power cut: the system's own buffers survive it.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn twenty_kills_lose_nothing_that_was_acknowledged_and_double_nothing() {
    const KILLS: usize = 20;
    const READINGS: i64 = 4_000;
    let broker_process = Mosquitto::open();
    let folder = plant(&(meter("m1") + &broker(broker_process.port)));
    let base = (Clock::start(0).now() - 3 * HOUR).floor(1_000);
    let reading = |k: i64| Reading { at: base + k * 1_000, count: 5 * k };
    let period = Period::new(base, base + READINGS * 1_000);

    // The session must exist before anything is published to it.
    let mut agent = run(folder.path());
    publish_until_stored(&broker_process, folder.path(), base - 1_000).await;

    let messages = (0..READINGS).map(|k| ("hall/m1", false, payload(reading(k)))).collect();
    let (progress, published) = watch::channel(0);
    let source = tokio::spawn(publish(broker_process.port, messages, progress));
    for kill in 1..=KILLS {
        let due = kill * READINGS as usize / (KILLS + 1);
        published.clone().wait_for(|count| *count >= due).await.expect("the source runs");
        agent.kill().expect("killed");
        agent.wait().expect("ended");
        agent = run(folder.path());
    }
    source.await.expect("everything was acknowledged to the source");
    let expected: Vec<Reading> = (0..READINGS).map(reading).collect();
    until("the last reading in the store", || stored(folder.path(), "m1", period).len() >= expected.len());
    agent.kill().expect("killed");
    agent.wait().expect("ended");
    assert_eq!(stored(folder.path(), "m1", period), expected);
}

fn payload(reading: Reading) -> String {
    format!(r#"{{"t": {}, "v": {}}}"#, reading.at.0, reading.count)
}

/// Publishes one reading over and over until it is in the store: then the agent's session is there.
async fn publish_until_stored(broker: &Mosquitto, folder: &Path, at: At) {
    let begun = Instant::now();
    let period = Period::new(at, at + 1);
    loop {
        assert!(begun.elapsed() < PATIENCE, "the agent does not listen");
        let message = vec![("hall/m1", false, payload(Reading { at, count: 0 }))];
        publish(broker.port, message, watch::Sender::new(0)).await;
        let there = folder.join("store/facts.db").exists() && !stored(folder, "m1", period).is_empty();
        if there {
            return;
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
}

#[test]
fn a_request_to_terminate_commits_everything_and_ends_with_0_whoever_hangs_on_the_agent() {
    let folder = plant(&meter("m1"));
    // Neither what was promised nor a price is needed to meter.
    fs::create_dir(folder.path().join("config/tariffs")).expect("a folder");
    for file in ["promise.toml", "tariffs/supply.toml"] {
        fs::write(folder.path().join("config").join(file), "no TOML").expect("written");
    }
    let mut agent = run(folder.path());
    until("the agent's socket", || folder.path().join("store/agent.sock").exists());
    let text = fs::read_to_string(folder.path().join("config/plant.toml")).expect("a configuration");
    let address =
        text.lines().find_map(|line| line.strip_prefix("listen = '")?.strip_suffix('\'')).expect("an address");
    // Two that connect and then say nothing, or only half of it.
    let _silent = std::os::unix::net::UnixStream::connect(folder.path().join("store/agent.sock")).expect("a socket");
    let mut half = TcpStream::connect(address).expect("a connection");
    std::io::Write::write_all(&mut half, b"GET / HTTP/1.1\r\nHost").expect("sent");
    let asked = Command::new("kill").arg(agent.id().to_string()).status().expect("kill");
    assert!(asked.success());
    assert_eq!(agent.wait().expect("ended").code(), Some(0));
}

#[test]
fn a_second_agent_on_the_same_folder_is_refused() {
    let folder = plant(&meter("m1"));
    let mut agent = run(folder.path());
    until("the agent's socket", || folder.path().join("store/agent.sock").exists());
    // Another address, so that it is the store and not the page that refuses.
    let path = folder.path().join("config/plant.toml");
    let text = fs::read_to_string(&path).expect("a configuration");
    let moved: Vec<String> = text
        .lines()
        .map(
            |line| {
                if line.starts_with("listen") { format!("listen = '127.0.0.1:{}'", free_port()) } else { line.into() }
            },
        )
        .collect();
    fs::write(&path, moved.join("\n")).expect("written");
    let second = Command::new(env!("CARGO_BIN_EXE_inkwatt"))
        .args(["--plant".as_ref(), folder.path().as_os_str(), "run".as_ref()])
        .output()
        .expect("the program runs");
    let said = String::from_utf8(second.stderr).expect("text");
    agent.kill().expect("killed");
    agent.wait().expect("ended");
    assert_eq!(second.status.code(), Some(3), "{said}");
    assert!(said.contains("agent"), "{said}");
}

/// While another process holds the store's write lock for longer than a writer waits, readings are held in memory and
/// said to be; when it lets go, they are on disk.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn readings_are_held_and_said_to_be_while_the_store_refuses() {
    let broker_process = Mosquitto::open();
    let folder = plant(&(meter("m1") + &broker(broker_process.port)));
    let configuration = config::load(folder.path()).expect("a configuration");
    let agent = Agent::start(folder.path(), &configuration, Clock::start(0)).expect("an agent");
    let base = (Clock::start(0).now() - HOUR).floor(1_000);
    publish_until_stored(&broker_process, folder.path(), base - 1_000).await;

    let other = Connection::open(folder.path().join("store/facts.db")).expect("a handle");
    other.execute_batch("BEGIN IMMEDIATE").expect("the lock");
    let messages = (0..10).map(|k| ("hall/m1", false, payload(Reading { at: base + k * 1_000, count: k }))).collect();
    publish(broker_process.port, messages, watch::Sender::new(0)).await;
    let live = agent.live.clone();
    let held = tokio::task::spawn_blocking(move || {
        until("held readings", || live.now().store.held >= 10);
        live.now().store
    });
    let health = held.await.expect("held");
    assert!(health.fault.is_some(), "{health:?}");
    assert_eq!(health.dropped, 0);

    other.execute_batch("ROLLBACK").expect("the lock is free");
    let (live, path) = (agent.live.clone(), folder.path().to_path_buf());
    let written = tokio::task::spawn_blocking(move || {
        until("the store's recovery", || live.now().store.fault.is_none());
        until("the readings", || stored(&path, "m1", Period::new(base, base + HOUR)).len() == 10);
    });
    written.await.expect("written");
    agent.stop().await;
}

/// Meters that count their requests, one on each socket, and the configuration that polls them.
#[cfg(feature = "demo")]
mod polled {
    use super::*;
    use crate::counting::{Counting, memory};

    /// The sections of so many meters polled once a second.
    fn sections(servers: &[Counting]) -> String {
        let mut text = String::new();
        for (k, server) in servers.iter().enumerate() {
            let port = server.port;
            write!(
                text,
                "[[line]]\nid = 'l{k}'\nendpoint = '127.0.0.1:{port}'\nframing = 'tcp'\n{}[meter.modbus]\nline = 'l{k}'\n\
                 unit = 1\nregisters = 'energy-integer'\npoll = '1s'\n",
                meter(&format!("m{k}")).replace("covers = 'site'", "covers = { station = 'p1/s1' }").replace("interval = '1min'\n", "")
            )
            .expect("text");
        }
        text
    }

    /// 200 meters polled once a second for a minute: what they served is what is stored. Lateness and memory are printed
    /// (`--nocapture`), not asserted.
    #[tokio::test(flavor = "multi_thread", worker_threads = 2)]
    async fn what_200_meters_serve_in_a_minute_is_stored() {
        const METERS: usize = 200;
        const MILLIS: i64 = 60_000;
        let mut servers = Vec::new();
        for _ in 0..METERS {
            servers.push(Counting::start().await);
        }
        let folder = plant(&sections(&servers[..1]));
        let mut configuration = config::load(folder.path()).expect("a configuration");
        spread(&mut configuration, &servers);
        let clock = Clock::start(0);
        let agent = Agent::start(folder.path(), &configuration, clock.clone()).expect("an agent");
        let begun = clock.now();
        clock.until(begun.ceil(1_000) + MILLIS - 500).await;
        let states: Vec<_> = agent.sources.lines.iter().map(|line| line.borrow().meters[0].clone()).collect();
        agent.stop().await;

        let (mut served, mut kept) = (0, 0);
        for (k, server) in servers.iter().enumerate() {
            let readings = stored(folder.path(), &format!("m{k}"), Period::new(begun, begun + 2 * MILLIS));
            assert_eq!(readings.iter().map(|r| r.count).collect::<Vec<_>>(), (1..=server.served()).collect::<Vec<_>>());
            served += server.served();
            kept += readings.len();
        }
        let worst = states.iter().map(|state| state.worst_lateness).max();
        let overruns: u64 = states.iter().map(|state| state.overruns).sum();
        println!("{served} served, {kept} stored, {overruns} overruns, worst lateness {worst:?} ms, {}", memory());
    }

    /// The line of the configuration, once for each server.
    fn spread(configuration: &mut config::Configuration, servers: &[Counting]) {
        let first = configuration.lines[0].clone();
        let line = |(k, server): (usize, &Counting)| {
            let mut line = first.clone();
            line.endpoint = format!("127.0.0.1:{}", server.port);
            line.meters[0].meter = format!("m{k}").as_str().into();
            line
        };
        configuration.lines = servers.iter().enumerate().map(line).collect();
    }

    #[tokio::test(flavor = "multi_thread", worker_threads = 2)]
    async fn a_clock_that_was_set_back_while_no_agent_ran_begins_a_new_epoch() {
        let server = Counting::start().await;
        let folder = plant(&sections(std::slice::from_ref(&server)));
        let (clock, zone) = (Clock::start(0), Zone::parse("Europe/London").expect("a zone"));
        let ahead = Reading { at: clock.now() + HOUR, count: 1_000_000 };
        {
            let mut store = Store::open(folder.path(), zone, Access::Agent).expect("a store");
            store.commit("test", Rank::Live, &[(import("m0"), ahead)], &[], None).expect("committed");
        }
        let period = Period::new(ahead.at, ahead.at + 1);
        assert_eq!(stored(folder.path(), "m0", period), [ahead]);
        let configuration = config::load(folder.path()).expect("a configuration");
        for _ in 0..2 {
            let agent = Agent::start(folder.path(), &configuration, clock.clone()).expect("an agent");
            agent.stop().await;
            assert_eq!(stored(folder.path(), "m0", period), []);
            let store = Store::open(folder.path(), zone, Access::Read).expect("a store");
            assert_eq!(store.newest_epoch().expect("epochs"), 1, "a second start finds nothing ahead");
        }
    }

    #[tokio::test(flavor = "multi_thread", worker_threads = 2)]
    async fn a_running_agent_reads_its_meters_on_request() {
        let server = Counting::start().await;
        let folder = plant(&sections(std::slice::from_ref(&server)));
        let mut agent = run(folder.path());
        let path = folder.path().to_path_buf();
        let checked = tokio::task::spawn_blocking(move || {
            until("the agent's socket", || path.join("store/agent.sock").exists());
            let poll = ["--plant".as_ref(), path.as_os_str(), "check".as_ref(), "--poll".as_ref()];
            Command::new(env!("CARGO_BIN_EXE_inkwatt")).args(poll).output().expect("the program runs")
        });
        let output = checked.await.expect("checked");
        let said = String::from_utf8(output.stdout).expect("text");
        // One connection: the command asked the agent and not the meter.
        assert!(said.contains("m0  unit 1, map energy-integer, answers in"), "{said}");
        assert_eq!(server.connections(), 1);
        let path = folder.path().to_path_buf();
        let watched = tokio::task::spawn_blocking(move || {
            let watch = ["--plant".as_ref(), path.as_os_str(), "check".as_ref(), "--electrical".as_ref()];
            let watch = Command::new(env!("CARGO_BIN_EXE_inkwatt")).args(watch).args(["--minutes", "0.01"]).output();
            watch.expect("the program runs")
        });
        let told = String::from_utf8(watched.await.expect("watched").stderr).expect("text");
        let busy = "An agent is polling these meters too. A gateway that allows one connection refuses one of the two: \
                    where meters give no answer, stop the agent and watch again.\n";
        assert!(told.contains(busy), "{told}");
        agent.kill().expect("killed");
        agent.wait().expect("ended");
    }
}

#[test]
fn the_page_says_whether_the_agent_is_well() {
    let folder = plant(&meter("m1"));
    let mut agent = run(folder.path());
    let text = fs::read_to_string(folder.path().join("config/plant.toml")).expect("a configuration");
    let address =
        text.lines().find_map(|line| line.strip_prefix("listen = '")?.strip_suffix('\'')).expect("an address");
    until("the page", || TcpStream::connect(address).is_ok());
    let (health, page, report) = (get(address, "/healthz"), get(address, "/"), get(address, "/reports/2026-01/../x"));
    // A foreign page that had its name point here.
    let foreign = get_as(address, "/healthz", "plant.example:8420");
    agent.kill().expect("killed");
    agent.wait().expect("ended");
    assert!(health.starts_with("HTTP/1.1 200") && health.contains("\"ready\":true"), "{health}");
    assert!(page.contains(">Press 1</a></h2>") && page.contains("default-src 'none'"), "{page}");
    assert!(report.starts_with("HTTP/1.1 404"), "{report}");
    assert!(foreign.starts_with("HTTP/1.1 421"), "{foreign}");
    let told = "This page answers to localhost, to loopback addresses and to the address it listens on. To serve it \
                under another name, give it a token: `inkwatt token NAME --role view` makes one.\n";
    assert!(foreign.ends_with(told), "{foreign}");
}

/// The answer to a plain request.
fn get(address: &str, path: &str) -> String {
    get_as(address, path, address)
}

/// The answer to a request for a host.
fn get_as(address: &str, path: &str, host: &str) -> String {
    use std::io::{Read, Write};
    let mut stream = TcpStream::connect(address).expect("a connection");
    write!(stream, "GET {path} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n").expect("sent");
    let mut answer = String::new();
    stream.read_to_string(&mut answer).expect("an answer");
    answer
}
