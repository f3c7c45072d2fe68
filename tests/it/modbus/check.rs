//! `check --poll` and `check --electrical` against a pymodbus server, in the words that people read.

use super::Peer;
use std::path::Path;
use std::process::{Command, Stdio};

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
