//! Claims about `inkwatt verify` and the savings part of the report, on the synthetic press of
//! `tests/reference/mv_synthetic`.

use crate::baseline::{PRESS, Press, expected, freeze, number};
use serde_json::Value;
use std::fs;

const FILES: [&str; 2] = ["baseline_daily.csv", "reporting_daily.csv"];

/// A proposal for the one station of the press; its numbers are invented.
const PROMISE: &str = r#"
title = "Proposal"
dated = 2023-11-01
price = 0.2

[[group]]
press = "p1"
stations = ["s1"]
length_mm = 400
lit = 1
hours = { manned = 4000, curing = 2000, standby = 0 }
old = { w_per_cm = 140, rated_at = "mains", level = 1 }
new = { w_per_cm = 53, rated_at = "mains", level = 1 }
"#;

fn told(press: &Press, arguments: &[&str]) -> (Option<i32>, String) {
    let output = press.run(arguments);
    let text = [output.stdout, output.stderr].concat();
    (output.status.code(), String::from_utf8(text).expect("UTF-8"))
}

#[test]
fn a_press_without_a_frozen_baseline_is_told_which_command_freezes_one() {
    let press = Press::with(&FILES);
    let (code, text) = told(&press, &["verify"]);
    let expected = "Press 1: no baseline is frozen, so that nothing can be said of its saving; compare models with\n  \
                    inkwatt baseline fit p1, then keep one with inkwatt baseline freeze p1";
    assert!(code == Some(1) && text.contains(expected), "{code:?} {text}");
}

#[test]
fn the_saving_of_the_reference_is_told_with_its_interval_and_what_is_missing() {
    let press = Press::with(&FILES);
    freeze(&press, &[]);
    let (code, text) = told(&press, &["verify", "p1", "--json"]);
    let found: Value = serde_json::from_str(&text).expect("JSON");
    let (found, expected) = (&found["presses"][0], &expected()["daily"]);
    let avoided = number(&expected["avoided_energy_kwh"]);
    let value = number(&found["avoided_kwh"]["value"]);
    assert!((value / avoided - 1.0).abs() < 1e-9, "{value} {avoided}");
    assert_eq!((code, &found["answer"], &found["days"]), (Some(0), &"unpromised".into(), &90.into()));
    let (_, text) = told(&press, &["verify"]);
    assert!(text.contains("Press 1: 40,922 ± "), "{text}");
    assert!(text.contains("There is no promise; write it into config/promise.toml"), "{text}");
    assert!(text.lines().all(|line| line.chars().count() <= 100), "{text}");
}

#[test]
fn a_promise_that_no_lamp_state_can_explain_says_so_and_nothing_is_guessed() {
    let press = Press::with(&FILES);
    freeze(&press, &[]);
    fs::write(press.path().join("config/promise.toml"), PROMISE).expect("written");
    let (_, text) = told(&press, &["verify", "--press", "p1"]);
    let expected = "No lamp of the old kind is known to have cured in the baseline period";
    assert!(text.split_whitespace().collect::<Vec<_>>().join(" ").contains(expected), "{text}");
}

#[test]
fn a_report_says_what_came_of_the_promise_and_cites_the_baseline_by_hash() {
    let press = Press::with(&FILES);
    freeze(&press, &[]);
    let (code, text) = told(&press, &["report", "2024-04"]);
    assert_eq!(code, Some(0), "{text}");
    let read = |name: &str| fs::read_to_string(press.path().join("reports/2024-04").join(name)).expect("a file");
    let (page, table, manifest) = (read("report.html"), read("savings.csv"), read("manifest.json"));
    let at = |what: &str| page.find(what).unwrap_or_else(|| panic!("no {what}"));
    assert!(at("Did it save?") < at("Cost of electricity"));
    assert!(page.contains("metered before the conversion"));
    let manifest: Value = serde_json::from_str(&manifest).expect("JSON");
    let hash = manifest["made_from"]["baselines"][0]["sha256"].as_str().expect("a hash").to_owned();
    let row = table.lines().nth(1).expect("a row");
    assert!(row.starts_with("2024-04/savings/p1/measured,p1,,2024-02-01,2024-04-30,90,metered,"), "{row}");
    assert!(row.contains(&hash) && row.contains(",40922.1"), "{row}");
    assert!(!read("savings.csv-metadata.json").is_empty());
    let (_, text) = told(&press, &["report", "2023-12"]);
    assert!(!press.path().join("reports/2023-12/savings.csv").exists(), "{text}");
}

#[test]
fn a_press_that_nobody_knows_is_one_clear_error() {
    let press = Press::with(&FILES);
    let (code, text) = told(&press, &["verify", "p9"]);
    assert!(code == Some(2) && text.starts_with("error: press \"p9\" is not known\nhelp: "), "{code:?} {text}");
}

#[test]
fn a_mistake_in_the_promise_stops_only_what_is_held_against_it() {
    let press = Press::with(&FILES);
    freeze(&press, &[]);
    fs::write(press.path().join("config/promise.toml"), "titel = 'Proposal'\n").expect("written");
    let backup = press.path().join("copy");
    let backup = backup.to_str().expect("a path");
    for done in [
        &["record", "static", "shifts", "2", "--since", "2024-03-01", "--why", "late shift", "--by", "anna"][..],
        &["export", "slices", "--from", "2024-03-01", "--to", "2024-03-02"],
        &["backup", backup],
        &["report", "2024-04"],
    ] {
        let (code, text) = told(&press, done);
        assert_eq!(code, Some(0), "{done:?} {text}");
        assert!(text.contains("warning: config/promise.toml cannot be used and is left out; inkwatt check names why"));
    }
    let page = fs::read_to_string(press.path().join("reports/2024-04/report.html")).expect("a page");
    assert!(page.contains("config/promise.toml cannot be used; inkwatt check names why"));
    for refused in [&["check"][..], &["verify"], &["baseline", "show", "p1"]] {
        let (code, text) = told(&press, refused);
        assert!(code == Some(2) && text.contains("key \"titel\" is not known"), "{refused:?} {text}");
    }
}

#[test]
fn a_mistake_in_a_tariff_stops_no_metering_and_nothing_is_priced_by_the_others() {
    let press = Press::with(&FILES);
    let tariffs = press.path().join("config/tariffs");
    fs::create_dir_all(&tariffs).expect("a folder");
    fs::write(tariffs.join("new.toml"), "[[tariff]]\nname = 'New'\n").expect("written");
    let (code, text) = told(&press, &["export", "slices", "--from", "2024-03-01", "--to", "2024-03-02"]);
    assert!(code == Some(0) && text.contains("warning: config/tariffs/new.toml cannot be used"), "{text}");
    let (code, text) = told(&press, &["report", "2024-04"]);
    assert!(code == Some(2) && text.contains("config/tariffs/new.toml:1:1: "), "{text}");
}

/// 70,382.3 kWh drawn, 40,922.1 avoided (`daily` of the reference); 0.95 times as much is 3,519.115 kWh less drawn.
#[test]
fn a_meter_that_includes_more_than_in_the_baseline_is_refused_until_the_difference_is_measured() {
    let press = Press::with(&FILES);
    freeze(&press, &[]);
    let with = |boundary: &str| {
        let changed = PRESS.replace("boundary = { point = \"press-main\" }", &format!("boundary = [{boundary}]"));
        fs::write(press.path().join("config/plant.toml"), changed).expect("written");
    };
    let since = |point: &str, inside: &str| {
        with(&format!(
            "{{ point = \"press-main\" }}, {{ point = \"{point}\", includes = [{inside}], since = 2024-01-10 }}"
        ));
    };
    since("press-main", "\"Chiller\"");
    let (code, text) = told(&press, &["verify"]);
    let plain = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(plain.contains("baseline: press-main; now: press-main with chiller (chiller only now)"), "{code:?} {text}");
    let record = |like: &str, uncertainty: &str| {
        let on = ["--on", "2024-02-20", "--why", "two meters for a week", "--by", "anna"];
        let fact = ["record", "boundary", "p1-main", "--like", like, "--factor", "0.95", "--uncertainty", uncertainty];
        told(&press, &[&fact[..], &on].concat())
    };
    assert_eq!(record("press-main with chiller", "0.02").0, Some(2));
    assert_eq!(record("press-main", "0").0, Some(2));
    let (code, text) = record("press-main", "0.02");
    let line = "meter p1-main: press-main with chiller counts 0.95 times, ± 0.02, as press-main";
    assert!(code == Some(0) && text.contains(line), "{code:?} {text}");
    let avoided = || {
        let found: Value = serde_json::from_str(&told(&press, &["verify", "p1", "--json"]).1).expect("JSON");
        (number(&found["presses"][0]["avoided_kwh"]["value"]), number(&found["presses"][0]["actual_kwh"]))
    };
    let reference = &expected()["daily"];
    let (saved, drawn) = (number(&reference["avoided_energy_kwh"]), 70_382.3);
    let (found, actual) = avoided();
    assert!((actual - 0.95 * drawn).abs() < 0.01 && (found - saved - 0.05 * drawn).abs() < 0.01, "{found} {actual}");
    let (_, text) = told(&press, &["verify"]);
    let plain = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(plain.contains("Its 70,382 kWh count 0.95 times, ± 0.02 at 90 %"), "{text}");
    press.run(&["report", "2024-04"]);
    let csv = fs::read_to_string(press.path().join("reports/2024-04/savings.csv")).expect("a file");
    assert!(csv.lines().any(|line| line.contains(",boundary,p1-main,")), "{csv}");
    // Another boundary than that of the day on which it was measured, and a withdrawn correction, make nothing alike.
    since("press-main", "\"chiller\", \"blower\"");
    let plain = || told(&press, &["verify"]).1.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(plain().contains("(blower and chiller only now)"), "{}", plain());
    since("press-main", "\"CHILLER \"");
    assert!((avoided().0 - found).abs() < 1e-9);
    let why = ["--since", "2024-02-20", "--why", "the week was a holiday", "--by", "anna"];
    let (code, text) = told(&press, &[&["record", "withdraw", "boundary", "p1-main"][..], &why].concat());
    assert_eq!(code, Some(0), "{text}");
    assert!(plain().contains("(chiller only now)"), "{}", plain());
}

/// 12 A of 200 A are 6 %. Class 1 at 1.0 % and transformers of class 0.5 at 1.5 % (IEC 61869-2 from 5 %), rectangular:
/// 1.041 %. What a day's energy would give at 230 V, some 150 A, does not count where the current is recorded.
#[test]
fn the_load_of_a_meter_is_that_of_its_recorded_currents() {
    let press = Press::with(&FILES);
    let currents = "\n[[csv]]\nname = \"currents\"\ntime = \"day\"\nformat = \"%Y-%m-%d\"\nclock = \"in-order\"\n\
                    [csv.readings]\ncolumns = [{ column = \"amps\", meter = \"p1-main\", is = \"current-l1\", unit = \"A\" }]\n";
    let rated = PRESS.replace("class = \"1\"", "class = \"1\"\nrated_a = 200\nphases = 1");
    fs::write(press.path().join("config/plant.toml"), rated + currents).expect("written");
    let first: chrono::NaiveDate = "2024-02-01".parse().expect("a date");
    let rows = first.iter_days().take(90).map(|day| format!("{day},12\n"));
    let file = press.path().join("amps.csv");
    fs::write(&file, format!("day,amps\n{}", rows.collect::<String>())).expect("written");
    let (code, text) = told(&press, &["import", "readings", &file.display().to_string(), "--mapping", "currents"]);
    assert_eq!(code, Some(0), "{text}");
    freeze(&press, &[]);
    let (_, text) = told(&press, &["report", "2024-04"]);
    let page = fs::read_to_string(press.path().join("reports/2024-04/report.html")).expect(&text);
    for told in [
        "5 to 20 % 100 %",
        "1.04",
        "load by recorded currents and power at 230 V and a usual power factor",
        "The meters worked in other bins of load before than after",
    ] {
        assert!(page.contains(told), "{told}");
    }
}
