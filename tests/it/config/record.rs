//! `inkwatt record` and `inkwatt check`, as run from a shell.

use super::Folder;
use inkwatt::names::{Judged, MeterId};
use inkwatt::readings::{Happening, Quantity, Rank, Reading, Series, Subject};
use inkwatt::store::{Access, Store};
use inkwatt::time::{At, Period, Zone};
use std::process::Command;

/// Exit code, standard output, standard error.
fn inkwatt(folder: &Folder, arguments: &[&str]) -> (Option<i32>, String, String) {
    let done = Command::new(env!("CARGO_BIN_EXE_inkwatt"))
        .args(arguments)
        .arg("--plant")
        .arg(folder.path())
        .env("USER", "anna")
        .output()
        .expect("started");
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("UTF-8");
    (done.status.code(), text(done.stdout), text(done.stderr))
}

/// What is told of a fact that was recorded.
fn recorded(folder: &Folder, arguments: &[&str]) -> String {
    let (code, out, err) = inkwatt(folder, arguments);
    assert_eq!((code, err.as_str()), (Some(0), ""), "{arguments:?}");
    out
}

fn store(folder: &Folder, access: Access) -> Store {
    Store::open(folder.path(), Zone::parse("Europe/London").expect("a zone"), access).expect("a store")
}

fn only_event(folder: &Folder) -> (Happening, Option<String>) {
    let events = store(folder, Access::Read).events().expect("read").value;
    assert_eq!(events.len(), 1, "{events:?}");
    (events[0].what.clone(), events[0].note.clone())
}

#[test]
fn a_lamp_is_recorded_with_who_and_why() {
    let folder = Folder::sound();
    let lamp = ["record", "lamp", "p1/s2", "arc-1", "--since", "2026-03-02T10:20", "--why", "exchanged"];
    assert_eq!(
        recorded(&folder, &lamp),
        "lamp arc-1 fitted to station p1/s2 since 2026-03-02T10:20:00+00:00 (anna: exchanged)\n"
    );
    let (what, note) = only_event(&folder);
    assert_eq!(what, Happening::LampFitted { station: "p1/s2".into(), lamp: Some("arc-1".into()) });
    assert_eq!(note.as_deref(), Some("anna: exchanged"));
}

#[test]
fn the_same_fact_recorded_again_takes_the_place_of_the_former() {
    let folder = Folder::sound();
    let lamp = |lamp: &'static str| {
        ["record", "lamp", "p1/s2", lamp, "--since", "2026-03-02", "--why", "typing error", "--by", "ben"]
    };
    recorded(&folder, &lamp("arc-1"));
    assert_eq!(
        recorded(&folder, &lamp("none")),
        "no lamp in station p1/s2 since 2026-03-02T00:00:00+00:00, in place of what was recorded before (ben: typing error)\n"
    );
    assert_eq!(only_event(&folder).0, Happening::LampFitted { station: "p1/s2".into(), lamp: None });
    assert_eq!(
        recorded(&folder, &lamp("none")),
        "no lamp in station p1/s2 since 2026-03-02T00:00:00+00:00: this is recorded already\n"
    );
}

/// What is told of a fact that was refused.
fn refused(folder: &Folder, arguments: &[&str]) -> String {
    let (code, out, err) = inkwatt(folder, arguments);
    assert_eq!((code, out.as_str()), (Some(2), ""), "{arguments:?}");
    err
}

#[test]
fn a_lamp_is_in_one_station_at_a_time_and_can_be_moved() {
    let folder = Folder::sound();
    let lamp = |station: &'static str, lamp: &'static str, since: &'static str| {
        ["record", "lamp", station, lamp, "--since", since, "--why", "w"]
    };
    assert_eq!(
        refused(&folder, &lamp("p2/s1", "arc-2", "2026-03-02")),
        "error: lamp \"arc-2\" is in station p1/s2 from the start; it cannot be in p2/s1 as well\n\
         help: if it was moved, add --from p1/s2, which is then recorded as empty\n"
    );
    assert_eq!(
        refused(&folder, &lamp("p1/s2", "led-1", "2026-03-02")),
        "error: lamp \"led-1\" is in station p1/s1 since 2026-02-03T00:00:00+00:00; it cannot be in p1/s2 as well\n\
         help: if it was moved, add --from p1/s1, which is then recorded as empty\n"
    );
    let moved = [&lamp("p1/s2", "led-1", "2026-03-02")[..], &["--from", "p1/s1"]].concat();
    let told = "lamp led-1 fitted to station p1/s2, moved from p1/s1, since 2026-03-02T00:00:00+00:00";
    assert_eq!(recorded(&folder, &moved), format!("{told} (anna: w)\n"));
    assert_eq!(recorded(&folder, &moved), format!("{told}: this is recorded already\n"));
    recorded(&folder, &lamp("p2/s1", "arc-1", "2026-03-10"));
    assert_eq!(
        refused(&folder, &lamp("p1/s1", "arc-1", "2026-03-05")),
        "error: lamp \"arc-1\" is in station p2/s1 since 2026-03-10T00:00:00+00:00; it cannot stay in p1/s1 until \
         after that\n\
         help: record first what is in p1/s1 since 2026-03-10T00:00:00+00:00, none if nothing is\n"
    );
    let absent = [&lamp("p2/s1", "led-1", "2026-03-05")[..], &["--from", "p1/s1"]].concat();
    assert_eq!(refused(&folder, &absent), "error: lamp \"led-1\" was not in station p1/s1 until then; no lamp was\n");
    let (code, out, _) = inkwatt(&folder, &["check"]);
    assert_eq!(code, Some(0));
    let hall = "\
  s1  s1  white       none                        meter p1-s1\n  s2  s2  ink    led  led-1  2121 W at the mains  meter p1-s2\n";
    assert!(out.contains(hall), "{out}");
}

#[test]
fn a_recorded_fact_can_be_withdrawn_and_is_kept() {
    let folder = Folder::sound();
    let (_, nothing, told) = inkwatt(&folder, &["record", "list"]);
    assert_eq!((nothing.as_str(), told.contains("there is no store here yet")), ("", true), "{told}");
    let ratio = ["record", "meter", "p1-main", "--ct", "250/5", "--ct-programmed", "200/5", "--since", "2026-03-01"];
    let ratio = [&ratio[..], &["--why", "read off"]].concat();
    recorded(&folder, &ratio);
    let withdraw =
        ["record", "withdraw", "ratio", "p1-main", "--since", "2026-03-01", "--why", "misread", "--by", "ben"];
    assert_eq!(
        recorded(&folder, &withdraw),
        "withdrawn: ratio p1-main since 2026-03-01T00:00:00+00:00: values count 1.25 times (ben: misread)\n"
    );
    assert_eq!(store(&folder, Access::Read).events().expect("read").value, []);
    let listed = "2026-03-01T00:00:00+00:00  ratio p1-main: values count 1.25 times";
    assert_eq!(recorded(&folder, &["record", "list"]), format!("{listed}; withdrawn (ben: misread)\n"));
    assert_eq!(
        refused(&folder, &withdraw),
        "error: no ratio of p1-main is in force with the instant 2026-03-01T00:00:00+00:00\n\
         help: `inkwatt record list` shows what is recorded\n"
    );
    recorded(&folder, &ratio);
    assert_eq!(recorded(&folder, &["record", "list"]), format!("{listed} (anna: read off)\n"));
    assert_eq!(only_event(&folder).0, Happening::RatioCorrected { meter: "p1-main".into(), num: 5, den: 4 });
}

#[test]
fn a_withdrawal_that_would_put_a_lamp_in_two_stations_is_refused() {
    let folder = Folder::sound();
    let moved = ["record", "lamp", "p1/s2", "led-1", "--from", "p1/s1", "--since", "2026-03-02", "--why", "moved"];
    recorded(&folder, &moved);
    let withdraw = |station| ["record", "withdraw", "lamp", station, "--since", "2026-03-02", "--why", "w"];
    assert_eq!(
        refused(&folder, &withdraw("p1/s1")),
        "error: without it lamp \"led-1\" would be in station p1/s1 and in station p1/s2 at once\n\
         help: withdraw first that it was fitted to the other\n"
    );
    recorded(&folder, &withdraw("p1/s2"));
    recorded(&folder, &withdraw("p1/s1"));
    assert_eq!(store(&folder, Access::Read).events().expect("read").value, []);
}

#[test]
fn a_device_exchanged_keeps_the_displays_as_counts() {
    let folder = Folder::sound();
    let meter = ["record", "meter", "p1-main", "--serial", "M-9", "--since", "2026-03-02T10:20", "--why", "failed"];
    let told = recorded(&folder, &[&meter[..], &["--end-kwh", "91000.25", "--start-kwh", "0"]].concat());
    assert_eq!(told, "meter p1-main: device M-2 exchanged for M-9 at 2026-03-02T10:20:00+00:00 (anna: failed)\n");
    let expected = Happening::DeviceExchanged {
        meter: "p1-main".into(),
        serial: "M-9".into(),
        end_count: Some(9_100_025),
        start_count: Some(0),
    };
    assert_eq!(only_event(&folder).0, expected);
}

#[test]
fn a_ratio_is_corrected_from_an_instant_on() {
    let folder = Folder::sound();
    let told = recorded(
        &folder,
        &[
            "record",
            "meter",
            "p1-main",
            "--ct",
            "250/5",
            "--ct-programmed",
            "200/5",
            "--since",
            "2026-03-01",
            "--why",
            "read off",
        ],
    );
    assert_eq!(
        told,
        "meter p1-main: values count 1.25 times since 2026-03-01T00:00:00+00:00, not 1 times (anna: read off)\n"
    );
    assert_eq!(only_event(&folder).0, Happening::RatioCorrected { meter: "p1-main".into(), num: 5, den: 4 });
}

#[test]
fn adjustments_and_static_factors_are_recorded() {
    let folder = Folder::sound();
    let span = ["--from", "2026-03-01", "--until", "2026-04-01", "--why", "chiller on hire"];
    let told = recorded(&folder, &[&["record", "adjustment", "p1", "--kwh=-120.5"], &span[..]].concat());
    assert_eq!(
        told,
        "press p1: adjusted by -120.5 kWh from 2026-03-01T00:00:00+00:00 until 2026-04-01T00:00:00+01:00 (anna: chiller \
         on hire)\n"
    );
    let expected = Happening::Adjustment {
        judged: Judged::Press("p1".into()),
        until: At::parse("2026-04-01T00:00:00+01:00").expect("a time"),
        mwh: -120_500_000,
        uncertainty_mwh: None,
    };
    assert_eq!(only_event(&folder).0, expected);
    let told = recorded(&folder, &[&["record", "adjustment", "fan", "--kwh=40"], &span[..]].concat());
    assert!(told.starts_with("load fan: adjusted by 40 kWh from 2026-03-01"), "{told}");
    let refused = refused(&folder, &[&["record", "adjustment", "fam", "--kwh=40"], &span[..]].concat());
    assert_eq!(refused, "error: press or shared load \"fam\" is not known\nhelp: did you mean \"fan\"?\n");
    let told = recorded(
        &folder,
        &["record", "static", "shifts a week", "15", "--since", "2026-03-01", "--why", "night shift"],
    );
    assert_eq!(told, "shifts a week is 15 since 2026-03-01T00:00:00+00:00 (anna: night shift)\n");
}

#[test]
fn a_reading_is_corrected_and_the_former_told() {
    let folder = Folder::sound();
    let at = At::parse("2026-03-02T10:15:00Z").expect("a time");
    let series = Series::new(Subject::Meter(MeterId::from("p1-main")), Quantity::Import);
    let live = [(series.clone(), Reading { at, count: 9_999_999 })];
    store(&folder, Access::Command).commit("test", Rank::Live, &live, &[], None).expect("stored");
    let correct = |at: &'static str| {
        ["record", "correction", "p1-main", "import", "--at", at, "--value", "84118.2 kWh", "--why", "digit misread"]
    };
    assert_eq!(
        recorded(&folder, &correct("2026-03-02T10:15:00")),
        "import of meter p1-main at 2026-03-02T10:15:00+00:00: 84118.2 kWh in place of 99999.99 kWh (anna: digit misread)\n"
    );
    let readings = store(&folder, Access::Read).readings(&series, Period::new(at, at + 1), false).expect("read").value;
    assert_eq!(readings, [Reading { at, count: 8_411_820 }]);
    let (code, _, err) = inkwatt(&folder, &correct("2026-03-02T10:16:00"));
    assert_eq!(
        (code, err.as_str()),
        (
            Some(2),
            "error: no reading of import of meter p1-main in force at 2026-03-02T10:16:00+00:00\n\
             help: the nearest readings are at 2026-03-02T10:15:00+00:00; --add states one where there is none\n"
        )
    );
}

#[test]
fn a_correction_decides_between_sources_that_contradict_each_other_and_is_listed() {
    let folder = Folder::sound();
    let at = At::parse("2026-03-02T10:15:00Z").expect("a time");
    let series = Series::new(Subject::Meter(MeterId::from("p1-main")), Quantity::Import);
    for count in [8_411_820, 8_411_920] {
        let said = [(series.clone(), Reading { at, count })];
        store(&folder, Access::Command).commit("import", Rank::Import, &said, &[], None).expect("stored");
    }
    let correct = |at: &'static str, value: &'static str| {
        ["record", "correction", "p1-main", "import", "--at", at, "--value", value, "--add", "--why", "the display"]
    };
    let decided = correct("2026-03-02T10:15:00", "84118.2 kWh");
    let decided: Vec<&str> = decided.into_iter().filter(|word| *word != "--add").collect();
    assert_eq!(
        recorded(&folder, &decided),
        "import of meter p1-main at 2026-03-02T10:15:00+00:00: 84118.2 kWh decides between 84118.2 kWh and 84119.2 kWh \
         (anna: the display)\n"
    );
    // 60 kW at most: 1 kWh in a minute.
    let told = recorded(&folder, &correct("2026-03-02T10:16:00", "84128.2 kWh"));
    assert!(told.contains("but this is more than the max_kw of 60 of meter p1-main allows"), "{told}");
    let told = recorded(&folder, &correct("2026-03-02T10:16:00", "84119.2 kWh"));
    assert!(!told.contains("max_kw"), "{told}");
    assert_eq!(
        recorded(&folder, &["record", "list"]),
        "2026-03-02T10:15:00+00:00  correction p1-main import: 84118.2 kWh (anna: the display)\n\
         2026-03-02T10:16:00+00:00  correction p1-main import: 84119.2 kWh (anna: the display)\n"
    );
}

#[test]
fn facts_about_unknown_things_or_future_times_are_refused() {
    let folder = Folder::sound();
    let cases: [(&[&str], &str); 6] = [
        (
            &["record", "lamp", "p1/s2", "led-9", "--since", "2026-03-02", "--why", "w"],
            "error: lamp \"led-9\" is not known\nhelp: known: arc-1, arc-2, led-1\n",
        ),
        (
            &["record", "lamp", "p1/s2", "led1", "--since", "2026-03-02", "--why", "w"],
            "error: lamp \"led1\" is not known\nhelp: did you mean \"led-1\"?\n",
        ),
        (
            &["record", "lamp", "p1/s2", "led-1", "--since", "2996-03-02", "--why", "w"],
            "error: --since 2996-03-02 lies in the future; record a fact once it has happened\n",
        ),
        (
            &["record", "meter", "p1-main", "--ct", "250", "--since", "2026-03-02", "--why", "w"],
            "error: --ct must be a transformer ratio such as 200/5, found \"250\"\n",
        ),
        (
            &["record", "static", "shifts", "3", "--since", "2026-03-02", "--why", " "],
            "error: --why is empty; a fact by hand needs its reason\n",
        ),
        (
            &["record", "correction", "p1-main", "import", "--at", "2026-03-02", "--value", "5 kW", "--why", "w"],
            "error: --value must be an amount of import, found \"5 kW\"\n\
             help: write one of mWh, Wh, kWh, MWh, with a number where it is another amount, as in \"10 MWh\"\n",
        ),
    ];
    for (arguments, expected) in cases {
        let (code, _, err) = inkwatt(&folder, arguments);
        assert_eq!((code, err.as_str()), (Some(2), expected));
    }
    assert!(!folder.path().join("store").exists(), "nothing is begun for a refused fact");
}

#[test]
fn check_prints_the_plant_as_understood() {
    let (code, out, err) = inkwatt(&Folder::sound(), &["check"]);
    assert_eq!((code, err.as_str()), (Some(0), ""));
    let hall = "\
Press p1, p1: meter p1-main, the web moves from 3 m/min on; stations in web direction
  s1  s1  white  led  led-1  2121 W at the mains  meter p1-s1
  s2  s2  ink    arc  arc-2  6880 W at the lamp   meter p1-s2

Press p2, p2: no meter of its own, the web moves from 3 m/min on; stations in web direction
  s1  s1  ink  none  no meter

Shared loads
  fan  fan  serves p1 p2  by lamp-time  no meter

Meters, each below the one whose energy includes its own
  supply     site           supply       120 kW  30min  S-1  file supplier
    p1-main  press p1       press-main   60 kW   10s    M-2  192.168.10.20:502 unit 11, energy-integer
      p1-s1  station p1/s1  lamp-supply  9 kW    10s    M-3  192.168.10.21:4001 unit 1, energy-float
      p1-s2  station p1/s2  lamp-supply  9 kW    10s    M-4  192.168.10.21:4001 unit 2, energy-float

Lines
  192.168.10.20:502   Modbus TCP    1 meter   0.1 requests and 3 registers a second
  192.168.10.21:4001  RTU over TCP  2 meters  1.0 requests and 2 registers a second

Broker 127.0.0.1:1883 as inkwatt, in the clear
  hall/{press}/speed  speed of the press

Files
  supplier  readings
";
    assert!(out.contains(hall), "{out}");
}

#[test]
fn check_tells_every_problem_and_ends_with_2() {
    let folder = Folder::sound().edit("max_kw = 120", "max_kw = 0").edit("grid = \"GB\"\n", "");
    let (code, out, err) = inkwatt(&folder, &["check"]);
    assert_eq!((code, out.as_str()), (Some(2), ""));
    assert_eq!(
        err,
        format!(
            "error: the configuration cannot be used, for 2 reasons\n\
             {file}:1:1: plant: grid is missing\n\
             {file}:67:10: meter \"supply\": max_kw must be greater than 0 and at most 100000 kW, found 0\n",
            file = folder.path().join("config/plant.toml").display()
        )
    );
    let (code, out, _) = inkwatt(&folder, &["check", "--json"]);
    assert_eq!(code, Some(2));
    assert!(
        out.contains("\"line\": 67,\n      \"column\": 10,\n      \"text\": \"meter \\\"supply\\\": max_kw"),
        "{out}"
    );
}
