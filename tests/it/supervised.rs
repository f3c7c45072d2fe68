//! The agent under a service manager: what it tells, and how far its unit is closed off.

use std::fs;
use std::os::unix::net::UnixDatagram;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;
use tempfile::TempDir;

/// A word that the service manager is told.
fn word(socket: &UnixDatagram) -> String {
    let mut bytes = [0; 256];
    let length = socket.recv(&mut bytes).expect("the agent says something in time");
    String::from_utf8_lossy(&bytes[..length]).into_owned()
}

/// The words of the protocol are those of sd_notify(3).
#[test]
fn a_service_manager_hears_that_the_agent_is_ready_lives_and_stops() {
    let folder = TempDir::new().expect("a folder");
    fs::create_dir(folder.path().join("config")).expect("a folder");
    let port = std::net::TcpListener::bind("127.0.0.1:0").and_then(|l| l.local_addr()).expect("a port").port();
    let plant = format!(
        "[plant]\nname = 'Hall'\nzone = 'Europe/London'\ncurrency = 'GBP'\ngrid = 'GB'\n[board]\nlisten = '127.0.0.1:{port}'\n\
         [[press]]\nid = 'p1'\nmoving_above = 3\nstations = [{{ id = 's1', does = 'ink', lamp = 'none' }}]\n"
    );
    fs::write(folder.path().join("config/plant.toml"), plant).expect("written");
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
    let asked = Command::new("kill").arg(agent.id().to_string()).status().expect("kill");
    assert!(asked.success());
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
