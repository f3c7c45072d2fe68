//! `inkwatt check --system`: what is fine, what is lacking and what cannot be told, each with what to do.

use crate::supervised::{agent, free_port, plant, signal, until};
use std::fs::{self, Permissions};
use std::net::TcpListener;
use std::os::unix::fs::{MetadataExt, PermissionsExt, chown};
use std::os::unix::process::CommandExt;
use std::path::{Path, PathBuf};
use std::process::Command;
use tempfile::TempDir;
use tokio_serial::{SerialPort, SerialStream};

/// The user and the group that own nothing, as Debian numbers them.
const NOBODY: u32 = 65_534;

/// A plant folder whose configuration is a plant without meters and more; a `timedatectl` beside it says `clock`.
fn folder(more: &str, clock: &str) -> TempDir {
    let folder = TempDir::new().expect("a folder");
    fs::create_dir(folder.path().join("config")).expect("a folder");
    fs::create_dir(folder.path().join("bin")).expect("a folder");
    fs::write(folder.path().join("config/plant.toml"), plant(free_port()) + more).expect("written");
    let says = folder.path().join("bin/timedatectl");
    fs::write(&says, format!("#!/bin/sh\n{clock}\n")).expect("written");
    fs::set_permissions(&says, Permissions::from_mode(0o755)).expect("its mode");
    folder
}

const SYNCHRONISED: &str = "echo yes";

/// `inkwatt check --system` on a folder: its exit code and what it says.
fn check(folder: &Path) -> (Option<i32>, String) {
    checked(Command::new(env!("CARGO_BIN_EXE_inkwatt")), folder)
}

fn checked(mut inkwatt: Command, folder: &Path) -> (Option<i32>, String) {
    let path = format!("{}:{}", folder.join("bin").display(), std::env::var("PATH").unwrap_or_default());
    let output =
        inkwatt.env("PATH", path).args(["check", "--system", "--plant"]).arg(folder).output().expect("inkwatt runs");
    let said = String::from_utf8(output.stdout).expect("text") + &String::from_utf8_lossy(&output.stderr);
    (output.status.code(), said)
}

/// The check about something: its line and what to do, without the spaces that align them.
fn about(said: &str, what: &str) -> String {
    let lines: Vec<String> = said.lines().map(|line| line.split_whitespace().collect::<Vec<_>>().join(" ")).collect();
    let is_about = |line: &&String| line.split_once(' ').is_some_and(|(_, rest)| rest.starts_with(&format!("{what} ")));
    let at = lines.iter().position(|line| is_about(&line)).unwrap_or_else(|| panic!("nothing about {what} in\n{said}"));
    let remedy = lines.get(at + 1).filter(|line| line.starts_with("do: ")).map_or("", String::as_str);
    format!("{} {remedy}", lines[at]).trim().into()
}

fn is_root() -> bool {
    fs::metadata("/proc/self").expect("this process").uid() == 0
}

/// A line at an endpoint, without meters.
fn line(endpoint: &str, framing: &str) -> String {
    format!("[[line]]\nid = 'hall'\nendpoint = '{endpoint}'\nframing = '{framing}'\n")
}

#[test]
fn a_machine_that_lacks_nothing_ends_with_0() {
    let server = TcpListener::bind("127.0.0.1:0").expect("a port");
    let place = server.local_addr().expect("an address");
    let more = format!(
        "{}[[line]]\nid = 'oven'\nendpoint = '/dev/null'\nframing = 'rtu'\n\
         [mqtt]\nhost = '127.0.0.1'\nport = {}\nclient_id = 'hall'\nusername = 'hall'\npassword_file = 'password'\n\
         [[alerts.webhook]]\nname = 'office'\nurl = 'http://localhost:{}/x'\nkey_file = 'password'\n",
        line(&place.to_string(), "tcp"),
        place.port(),
        place.port(),
    );
    let folder = folder(&more, SYNCHRONISED);
    let password = folder.path().join("password");
    fs::write(&password, "secret\n").expect("written");
    fs::set_permissions(&password, Permissions::from_mode(0o600)).expect("its mode");
    let (code, said) = check(folder.path());
    assert_eq!(code, Some(0), "{said}");
    assert!(said.ends_with("11 checks, 0 lacking, 0 unknown\n"), "{said}");
    for fine in ["user", "clock", "store", "room", "board", "line oven", "line hall", "broker", "webhook office"] {
        assert!(about(&said, fine).starts_with("ok "), "{said}");
    }
    for fine in ["broker's password", "key of webhook office"] {
        assert!(about(&said, fine).contains("and not by others"), "{said}");
    }
}

#[test]
fn a_clock_that_is_not_synchronised_is_lacking_and_one_that_nobody_knows_of_is_unknown() {
    let (code, said) = check(folder("", "echo no").path());
    assert_eq!(code, Some(1), "{said}");
    assert!(about(&said, "clock").contains("not synchronised"), "{said}");
    assert!(about(&said, "clock").contains("do: sudo timedatectl set-ntp true"), "{said}");
    // As in a container: there is no bus to ask on.
    let (code, said) = check(folder("", "exit 1").path());
    match Path::new("/run/systemd/timesync/synchronized").exists() {
        true => assert!(about(&said, "clock").starts_with("ok "), "{said}"),
        false => assert!(code == Some(0) && about(&said, "clock").starts_with("unknown "), "{said}"),
    }
}

#[test]
fn a_device_that_is_not_there_or_no_device_is_lacking() {
    let (code, said) = check(folder(&line("/dev/ttyUSB77", "rtu"), SYNCHRONISED).path());
    assert_eq!(code, Some(1), "{said}");
    assert!(about(&said, "line hall").starts_with("lacking line hall /dev/ttyUSB77: No such file"), "{said}");
    let (_, said) = check(folder(&line("/dev", "rtu"), SYNCHRONISED).path());
    assert!(about(&said, "line hall").starts_with("lacking line hall /dev is no character device"), "{said}");
}

/// The program at a place that every user reaches, so that another user can be tried.
fn for_others(folder: &Path) -> PathBuf {
    let program = folder.join("bin/inkwatt");
    fs::copy(env!("CARGO_BIN_EXE_inkwatt"), &program).expect("a copy");
    fs::set_permissions(folder, Permissions::from_mode(0o755)).expect("its mode");
    program
}

/// Only root can give a device to a group and run as another user; who is not root closes a device to itself.
#[test]
fn a_device_that_this_user_may_not_open_is_lacking_and_the_group_is_named() {
    let runtime = tokio::runtime::Runtime::new().expect("a runtime");
    let _inside = runtime.enter();
    let (_other, device) = SerialStream::pair().expect("a pseudo-terminal");
    let name = device.name().expect("its name");
    let folder = folder(&line(&name, "rtu"), SYNCHRONISED);
    let (said, remedy) = if is_root() {
        chown(&name, Some(0), Some(20)).expect("given to dialout");
        fs::set_permissions(&name, Permissions::from_mode(0o660)).expect("its mode");
        let mut inkwatt = Command::new(for_others(folder.path()));
        inkwatt.uid(NOBODY).gid(NOBODY);
        (
            checked(inkwatt, folder.path()).1,
            "to group dialout, then start the agent anew: sudo usermod -aG dialout nobody",
        )
    } else {
        fs::set_permissions(&name, Permissions::from_mode(0o000)).expect("its mode");
        (check(folder.path()).1, "do: let a group read and write it by a rule of udev")
    };
    assert!(about(&said, "line hall").starts_with("lacking "), "{said}");
    assert!(about(&said, "line hall").contains(remedy), "{said}");
}

#[test]
fn a_store_that_cannot_be_written_is_lacking_and_another_user_is_not_the_agent() {
    let folder = folder("", SYNCHRONISED);
    let store = folder.path().join("store");
    fs::create_dir(&store).expect("a folder");
    fs::write(store.join("facts.db"), "").expect("written");
    fs::set_permissions(store.join("facts.db"), Permissions::from_mode(0o444)).expect("its mode");
    let (code, said) = if is_root() {
        chown(&store, Some(NOBODY), None).expect("given to nobody");
        let other = check(folder.path()).1;
        assert!(about(&other, "user").contains("do: sudo -u nobody inkwatt --plant"), "{other}");
        let mut inkwatt = Command::new(for_others(folder.path()));
        inkwatt.uid(NOBODY).gid(NOBODY);
        checked(inkwatt, folder.path())
    } else {
        check(folder.path())
    };
    assert_eq!(code, Some(1), "{said}");
    assert!(about(&said, "user").starts_with("ok "), "{said}");
    assert!(about(&said, "store").contains("store/facts.db cannot be written by "), "{said}");
    assert!(about(&said, "store").contains("do: sudo chown -R "), "{said}");
}

/// One meter of 2 values at 10 s, and the speed of one press by messages: 2 x 31,536,000 + 315,360,000 = 378,432,000 values in
/// ten years, x 1.3 = 492.0 MB.
#[test]
fn the_room_that_is_needed_is_reckoned_from_meters_and_topics() {
    let more = "[[line]]\nid = 'hall'\nendpoint = '/dev/null'\nframing = 'rtu'\n\
        [[meter]]\nid = 'p1-main'\ncovers = { press = 'p1' }\nboundary = { point = 'press-main' }\nmax_kw = 60\n\
        device = [{ serial = 'M-1' }]\n[meter.modbus]\nline = 'hall'\nunit = 1\nregisters = 'two'\npoll = '10s'\n\
        [mqtt]\nhost = 'broker.invalid'\nclient_id = 'hall'\n\
        [[mqtt.topic]]\npattern = 'hall/{press}/speed'\nis = 'speed'\nunit = 'm/min'\nvalue = '/v'\n";
    let folder = folder(more, SYNCHRONISED);
    fs::create_dir(folder.path().join("config/registers")).expect("a folder");
    let map = "max_block = 125\nbridge = 0\nwords = 'big'\nbytes = 'big'\ntable = 'holding'\n\
        [[register]]\nis = 'import'\naddress = 0\ntype = 'u32'\nstep = '10 Wh'\n\
        [[register]]\nis = 'power'\naddress = 2\ntype = 'i32'\nstep = '1 W'\n";
    fs::write(folder.path().join("config/registers/two.toml"), map).expect("written");
    let (_, said) = check(folder.path());
    let reckoned =
        "10 years need 991 MB: 378 million values (polled meters: 1, by messages once a second: 1) of 1.3 bytes";
    assert!(about(&said, "room").contains(reckoned), "{said}");
}

#[test]
fn the_port_of_the_board_may_be_held_by_the_agent_of_this_plant_and_by_no_other() {
    let folder = folder("", SYNCHRONISED);
    let (code, said) = check(folder.path());
    assert!(code == Some(0) && about(&said, "board").ends_with(" is free"), "{said}");
    let (mut agent, mut log) = agent(folder.path());
    until(&mut log, "the board is on http://127.0.0.1:");
    let (code, said) = check(folder.path());
    assert!(code == Some(0) && about(&said, "board").ends_with("is held, and the agent of this plant runs"), "{said}");
    signal("-TERM", &agent);
    assert!(agent.wait().expect("its end").success());

    let held = TcpListener::bind("127.0.0.1:0").expect("a port");
    let taken = plant(held.local_addr().expect("an address").port());
    fs::write(folder.path().join("config/plant.toml"), taken).expect("written");
    let (code, said) = check(folder.path());
    assert_eq!(code, Some(1), "{said}");
    assert!(
        about(&said, "board").contains("is taken, and no agent runs on this plant do: stop what holds it"),
        "{said}"
    );
}

/// Names below `.invalid` are never known (RFC 2606, section 2).
#[test]
fn hosts_without_a_name_and_ports_without_a_listener_are_lacking() {
    let closed = free_port();
    let more = format!(
        "{}[mqtt]\nhost = 'broker.invalid'\nclient_id = 'hall'\n\
         [[alerts.webhook]]\nname = 'office'\nurl = 'http://127.0.0.1:{closed}/x'\nkey_env = 'INKWATT_TEST_NOT_SET'\n",
        line(&format!("127.0.0.1:{closed}"), "tcp"),
    );
    let (code, said) = check(folder(&more, SYNCHRONISED).path());
    assert_eq!(code, Some(1), "{said}");
    assert!(about(&said, "broker").starts_with("lacking broker broker.invalid:1883: "), "{said}");
    assert!(about(&said, "broker").contains("do: see that the host is spelt right"), "{said}");
    for what in ["line hall", "webhook office"] {
        let refused = format!("lacking {what} 127.0.0.1:{closed}: Connection refused");
        assert!(about(&said, what).starts_with(&refused), "{said}");
    }
    let absent = about(&said, "key of webhook office");
    assert!(absent.contains("INKWATT_TEST_NOT_SET, which is not set do: set it where the agent is started"), "{said}");
}

#[test]
fn a_secret_that_others_may_read_or_that_is_not_there_is_lacking() {
    let more = "[mqtt]\nhost = '127.0.0.1'\nclient_id = 'hall'\nusername = 'hall'\npassword_file = 'password'\n";
    let folder = folder(more, SYNCHRONISED);
    let (_, said) = check(folder.path());
    assert!(about(&said, "broker's password").contains("names password, which cannot be read"), "{said}");
    let password = folder.path().join("password");
    fs::write(&password, "secret\n").expect("written");
    for mode in [0o644, 0o640] {
        fs::set_permissions(&password, Permissions::from_mode(mode)).expect("its mode");
        let (code, said) = check(folder.path());
        assert_eq!(code, Some(1), "{said}");
        assert!(about(&said, "broker's password").contains(&format!("has mode {mode:o}")), "{said}");
        assert!(about(&said, "broker's password").contains("do: chmod 600 "), "{said}");
    }
    // As root can put it there for the group of the agent.
    if is_root() {
        chown(&password, Some(NOBODY), None).expect("given to nobody");
        assert!(about(&check(folder.path()).1, "broker's password").starts_with("ok "));
    }
}

#[test]
fn programs_read_it_as_json() {
    let folder = folder(&line("/dev/ttyUSB77", "rtu"), SYNCHRONISED);
    let mut inkwatt = Command::new(env!("CARGO_BIN_EXE_inkwatt"));
    inkwatt.arg("check").args(["--json", "--system", "--plant"]).arg(folder.path());
    let output = inkwatt.output().expect("inkwatt runs");
    let all: Vec<serde_json::Value> = serde_json::from_slice(&output.stdout).expect("JSON");
    let line = all.iter().find(|one| one["about"] == "line hall").expect("the line");
    assert_eq!(line["standing"], "lacking");
    assert!(line["do"].as_str().is_some_and(|remedy| remedy.contains("/dev/serial/by-id")), "{line}");
}
