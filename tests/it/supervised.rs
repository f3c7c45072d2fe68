//! The agent under a service manager: what it tells, and how far its unit is closed off.

use std::fs;
use std::io::{BufRead, BufReader};
use std::net::{TcpListener, TcpStream};
use std::os::unix::net::UnixDatagram;
use std::path::Path;
use std::process::{Child, ChildStderr, Command, Stdio};
use std::time::Duration;
use tempfile::TempDir;

/// A word that the service manager is told.
fn word(socket: &UnixDatagram) -> String {
    let mut bytes = [0; 256];
    let length = socket.recv(&mut bytes).expect("the agent says something in time");
    String::from_utf8_lossy(&bytes[..length]).into_owned()
}

pub fn free_port() -> u16 {
    TcpListener::bind("127.0.0.1:0").and_then(|l| l.local_addr()).expect("a port").port()
}

/// A plant without meters, whose board has a port.
pub fn plant(port: u16) -> String {
    format!(
        "[plant]\nname = 'Hall'\nzone = 'Europe/London'\ncurrency = 'GBP'\ngrid = 'GB'\n[board]\nlisten = '127.0.0.1:{port}'\n\
         [[press]]\nid = 'p1'\nmoving_above = 3\nstations = [{{ id = 's1', does = 'ink', lamp = 'none' }}]\n"
    )
}

/// Sends a signal.
pub fn signal(name: &str, to: &Child) {
    let sent = Command::new("kill").args([name, &to.id().to_string()]).status().expect("kill");
    assert!(sent.success());
}

/// An agent on a plant folder, and what it logs.
pub fn agent(folder: &Path) -> (Child, BufReader<ChildStderr>) {
    let mut agent = Command::new(env!("CARGO_BIN_EXE_inkwatt"))
        .args(["--plant".as_ref(), folder.as_os_str(), "run".as_ref()])
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program runs");
    let log = BufReader::new(agent.stderr.take().expect("its log"));
    (agent, log)
}

/// Reads what the agent logs up to the line that has these words.
pub fn until(log: &mut impl BufRead, words: &str) -> Vec<String> {
    let mut lines = Vec::new();
    loop {
        let mut line = String::new();
        assert!(log.read_line(&mut line).expect("its log") > 0, "it ended before it said \"{words}\": {lines:#?}");
        lines.push(line);
        if lines.last().is_some_and(|line| line.contains(words)) {
            return lines;
        }
    }
}

#[test]
fn a_wrong_configuration_changes_nothing_and_a_right_one_is_taken_up_without_a_new_process() {
    let folder = TempDir::new().expect("a folder");
    fs::create_dir(folder.path().join("config")).expect("a folder");
    let file = folder.path().join("config/plant.toml");
    let (first, second) = (free_port(), free_port());
    fs::write(&file, plant(first)).expect("written");
    let (mut agent, mut log) = agent(folder.path());
    until(&mut log, &format!("the board is on http://127.0.0.1:{first}"));

    fs::write(&file, plant(second).replace("moving_above", "moving_abvoe")).expect("written");
    signal("-HUP", &agent);
    let said = until(&mut log, "stays in force; mend it and reload again").concat();
    assert!(said.contains("moving_abvoe"), "{said}");
    TcpStream::connect(("127.0.0.1", first)).expect("the board is served as before");

    fs::write(&file, plant(second)).expect("written");
    signal("-HUP", &agent);
    until(&mut log, "the changed configuration is in force");
    until(&mut log, &format!("the board is on http://127.0.0.1:{second}"));
    TcpStream::connect(("127.0.0.1", second)).expect("the board is served where it now says");
    TcpStream::connect(("127.0.0.1", first)).expect_err("and no longer where it was");

    signal("-TERM", &agent);
    assert!(agent.wait().expect("its end").success());
}

#[test]
fn a_configuration_whose_port_is_taken_gives_way_to_the_one_before() {
    let folder = TempDir::new().expect("a folder");
    fs::create_dir(folder.path().join("config")).expect("a folder");
    let file = folder.path().join("config/plant.toml");
    let first = free_port();
    let held = TcpListener::bind("127.0.0.1:0").expect("a port");
    fs::write(&file, plant(first)).expect("written");
    let (mut agent, mut log) = agent(folder.path());
    until(&mut log, &format!("the board is on http://127.0.0.1:{first}"));
    fs::write(&file, plant(held.local_addr().expect("an address").port())).expect("written");
    signal("-HUP", &agent);
    until(&mut log, "another program has this port");
    until(&mut log, &format!("the board is on http://127.0.0.1:{first}"));
    TcpStream::connect(("127.0.0.1", first)).expect("the board is served as before");
    signal("-TERM", &agent);
    assert!(agent.wait().expect("its end").success());
}

/// The words of the protocol are those of sd_notify(3).
#[test]
fn a_service_manager_hears_that_the_agent_is_ready_lives_and_stops() {
    let folder = TempDir::new().expect("a folder");
    fs::create_dir(folder.path().join("config")).expect("a folder");
    fs::write(folder.path().join("config/plant.toml"), plant(free_port())).expect("written");
    let path = folder.path().join("notify");
    let socket = UnixDatagram::bind(&path).expect("a socket");
    socket.set_read_timeout(Some(Duration::from_secs(30))).expect("a time-out");
    let mut agent = Command::new(env!("CARGO_BIN_EXE_inkwatt"))
        .args(["--plant".as_ref(), folder.path().as_os_str(), "run".as_ref()])
        .env("NOTIFY_SOCKET", &path)
        .env("WATCHDOG_USEC", "100000")
        .stderr(Stdio::null())
        .spawn()
        .expect("the program runs");
    let mut heard = [word(&socket), word(&socket), word(&socket), word(&socket)];
    heard.sort();
    heard[1..].iter().for_each(|word| assert_eq!(word, "WATCHDOG=1"));
    assert_eq!(heard[0], "READY=1");
    signal("-TERM", &agent);
    while word(&socket) != "STOPPING=1" {}
    assert!(agent.wait().expect("its end").success());
}

/// Below 2.0 of 10 by systemd-analyze(1), section "systemd-analyze security".
#[test]
fn the_unit_is_closed_off() {
    let unit = Path::new(env!("CARGO_MANIFEST_DIR")).join("deploy/systemd/inkwatt.service");
    let told = Command::new("systemd-analyze")
        .args(["security", "--offline=true", "--no-pager", "--threshold=20"])
        .arg(unit)
        .output()
        .expect("systemd-analyze is missing: run tests/all once, it installs it");
    assert!(told.status.success(), "{}", String::from_utf8_lossy(&told.stdout));
}
