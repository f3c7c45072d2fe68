//! Claims about `inkwatt report`, on the first days of the invented plant.

use inkwatt::demo::{Day, History, ZONE, configure, prepare};
use inkwatt::readings::{Rank, Reading, Series};
use inkwatt::store::{Access, Store};
use std::collections::BTreeMap;
use std::fs;
use std::net::{Ipv4Addr, SocketAddr};
use std::path::Path;
use std::process::{Command, Output};

/// A plant folder that knows the days of the invented plant that are wanted.
pub fn know(folder: &Path, days: impl Iterator<Item = Day>) {
    prepare(folder).expect("an empty folder");
    let nowhere = |port| SocketAddr::from((Ipv4Addr::LOCALHOST, port));
    configure(folder, &[1, 2, 3, 4].map(nowhere), nowhere(5), nowhere(6)).expect("a writable folder");
    let mut store = Store::open(folder, ZONE, Access::Agent).expect("a store");
    let mut history: BTreeMap<Series, Vec<Reading>> = BTreeMap::new();
    let mut events = Vec::new();
    for day in days {
        day.readings.into_iter().for_each(|(series, readings)| history.entry(series).or_default().extend(readings));
        events.extend(day.events);
    }
    store.commit("history", Rank::Live, &[], &events, None).expect("a commit");
    store.write_sealed("history", Rank::Live, &history.into_iter().collect::<Vec<_>>(), None).expect("a commit");
}

/// Runs the program on a plant folder.
pub fn inkwatt(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_inkwatt"))
        .arg("--plant")
        .arg(folder)
        .args(arguments)
        .output()
        .expect("the program starts")
}

/// Its exit code and what it wrote on stderr.
pub fn told(output: &Output) -> (Option<i32>, String) {
    (output.status.code(), String::from_utf8_lossy(&output.stderr).into_owned())
}

/// Names and contents of a report.
fn contents(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let files = fs::read_dir(folder).expect("a report").map(|entry| entry.expect("an entry").path());
    files
        .map(|path| {
            let name = path.file_name().expect("a name").to_string_lossy().into_owned();
            (name, fs::read(&path).expect("a readable file"))
        })
        .collect()
}

#[test]
fn the_command_writes_a_month_and_writes_it_alike_again() {
    let folder = tempfile::tempdir().expect("a folder");
    know(folder.path(), History::default().skip(5).take(3));

    let first = inkwatt(folder.path(), &["report", "2025-01", "--json"]);
    assert_eq!(told(&first), (Some(0), String::new()));
    let written = contents(&folder.path().join("reports/2025-01"));
    let again = inkwatt(folder.path(), &["report", "2025-01"]);
    assert_eq!(told(&again), (Some(0), String::new()));

    let names: Vec<&str> = written.keys().map(String::as_str).collect();
    let expected = [
        "bill.csv",
        "bill.csv-metadata.json",
        "carbon.csv",
        "carbon.csv-metadata.json",
        "cost.csv",
        "cost.csv-metadata.json",
        "energy.csv",
        "energy.csv-metadata.json",
        "findings.csv",
        "findings.csv-metadata.json",
        "intervals.csv",
        "intervals.csv-metadata.json",
        "jobs.csv",
        "jobs.csv-metadata.json",
        "manifest.json",
        "report.html",
        "scope2.csv",
        "scope2.csv-metadata.json",
    ];
    assert_eq!(names, expected);
    assert_eq!(contents(&folder.path().join("reports/2025-01")), written);
    assert_eq!(fs::read_dir(folder.path().join("reports")).expect("reports").count(), 1, "nothing beside the month");
    let summary: serde_json::Value = serde_json::from_slice(&first.stdout).expect("JSON");
    // The first value of the supply meter is of the half hour before midnight, and the last half hour comes a day later.
    assert_eq!((&summary["days_known"], &summary["days_in_part"]), (&2.into(), &2.into()));
}

#[test]
fn a_month_that_cannot_be_reported_is_refused_in_words() {
    let folder = tempfile::tempdir().expect("a folder");
    know(folder.path(), History::default().skip(5).take(1));
    let nothing =
        "error: no energy is known in 2024-12; import its readings or choose a month that the agent has seen\n";
    assert_eq!(told(&inkwatt(folder.path(), &["report", "2024-12"])), (Some(2), nothing.into()));
    let (code, words) = told(&inkwatt(folder.path(), &["report", "2025-1"]));
    assert_eq!(code, Some(2));
    assert!(words.contains("a month is written like 2026-03"), "{words}");
}

#[test]
fn jobs_are_listed_and_one_is_told_to_its_customer() {
    let folder = tempfile::tempdir().expect("a folder");
    know(folder.path(), History::default().skip(5).take(3));

    let listed = inkwatt(folder.path(), &["jobs", "--from", "2025-01-06", "--to", "2025-01-08", "--json"]);
    assert_eq!(told(&listed), (Some(0), String::new()));
    let listed: serde_json::Value = serde_json::from_slice(&listed.stdout).expect("JSON");
    let job = listed["jobs"][0]["job"].as_str().expect("a job").to_owned();

    let one = inkwatt(folder.path(), &["jobs", "--job", &job]);
    assert_eq!(told(&one), (Some(0), String::new()));
    let files = contents(&folder.path().join("reports/jobs").join(&job));
    let names: Vec<&str> = files.keys().map(String::as_str).collect();
    assert_eq!(names, ["statement.csv", "statement.csv-metadata.json", "statement.html"]);
    assert!(String::from_utf8_lossy(&one.stdout).ends_with("statement.html and 2 files beside it\n"));
}

#[test]
fn jobs_that_nobody_ran_and_days_in_disorder_are_refused_in_words() {
    let folder = tempfile::tempdir().expect("a folder");
    know(folder.path(), History::default().skip(5).take(1));
    for (arguments, words) in [
        (&["jobs", "--job", "../../etc"][..], "error: no run of job \"../../etc\" was charged with any energy\n"),
        (
            &["jobs", "--from", "2025-01-09", "--to", "2025-01-08"],
            "error: --to 2025-01-08 lies before --from 2025-01-09",
        ),
        (&["jobs", "--from", "2024-01-09", "--to", "2024-01-10"], "error: no meter has a reading from 2024-01-09 to"),
    ] {
        let (code, found) = told(&inkwatt(folder.path(), arguments));
        assert_eq!(code, Some(2));
        assert!(found.starts_with(words), "{found}");
    }
}
