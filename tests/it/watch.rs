//! Claims about the watch, on the invented plant and what really went wrong in it: `truth.json`, which nothing in the program
//! reads.

use crate::demo::made;
use inkwatt::attribute::{DayFacts, day as attributed};
use inkwatt::readings::{Quantity, Reading, Rule, Series, Subject};
use inkwatt::time::{At, HOUR, MINUTE};
use inkwatt::watch::{Day, Gateways, Terms, Watch};
use serde_json::Value;
use std::collections::BTreeMap;
use std::path::Path;
use std::process::Command;

fn inkwatt(folder: &Path, arguments: &[&str]) -> (Option<i32>, String, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_inkwatt"))
        .arg("--plant")
        .arg(folder)
        .args(arguments)
        .output()
        .expect("it runs");
    let text = |bytes| String::from_utf8(bytes).expect("UTF-8");
    (output.status.code(), text(output.stdout), text(output.stderr))
}

/// Every finding of the history.
fn found() -> Value {
    let (folder, _) = made();
    let (code, told, errors) = inkwatt(folder, &["watch", "--from", "2025-01-01", "--to", "2026-07-01", "--json"]);
    assert_eq!((code, errors.as_str()), (Some(1), ""));
    serde_json::from_str(&told).expect("JSON")
}

fn of<'a>(found: &'a Value, rule: &str) -> Vec<&'a Value> {
    found["findings"].as_array().expect("findings").iter().filter(|finding| finding["rule"] == rule).collect()
}

fn planted(trouble: &str) -> Vec<Value> {
    let truth = std::fs::read_to_string(made().0.join("truth.json")).expect("the truth");
    let truth: Value = serde_json::from_str(&truth).expect("JSON");
    let all = truth["troubles"].as_array().expect("troubles").iter();
    all.filter(|one| one["trouble"] == trouble).cloned().collect()
}

fn kwh(finding: &Value, field: &str) -> f64 {
    finding[field].as_str().and_then(|text| text.parse().ok()).unwrap_or_else(|| panic!("{field} in {finding}"))
}

fn day(stamp: &Value) -> chrono::NaiveDate {
    stamp.as_str().and_then(|text| text.get(..10)?.parse().ok()).unwrap_or_else(|| panic!("a day in {stamp}"))
}

/// Each weekend on which a lamp was left on is one finding with its energy. What else is found lies in the hours before, in which
/// that lamp stayed lit between two jobs; no other lamp is accused.
#[test]
fn every_lamp_left_on_is_found_with_its_energy_and_no_other() {
    let (found, planted) = (found(), planted("left on at the weekend"));
    let (long, short): (Vec<&Value>, Vec<&Value>) =
        of(&found, "left-on").into_iter().partition(|finding| day(&finding["until"]) > day(&finding["since"]));
    assert_eq!((long.len(), planted.len()), (4, 4), "{long:#?}");
    for (finding, truth) in long.iter().zip(&planted) {
        assert_eq!(finding["about"], truth["about"]);
        assert_eq!((day(&finding["since"]), day(&finding["until"])), (day(&truth["from"]), day(&truth["until"])));
        let (told, really) = (kwh(finding, "energy_kwh"), truth["wh"].as_f64().expect("Wh") / 1e3);
        assert!((told / really - 1.0).abs() < 0.03, "{told} kWh, really {really}");
        assert!(kwh(finding, "cost") > 0.0);
    }
    let fridays: Vec<_> = planted.iter().map(|truth| day(&truth["from"])).collect();
    assert!(short.iter().all(|one| one["about"] == "p3/s8" && fridays.contains(&day(&one["since"]))), "{short:#?}");
}

/// The station that draws more is found within days of its day, its watts within 15 % of the truth, its interval holds the truth,
/// and no other of 27 stations is accused in 18 months.
#[test]
fn the_station_that_draws_more_is_found_since_its_day_and_no_other() {
    let (found, planted) = (found(), planted("draws above its baseline"));
    let higher = of(&found, "higher-draw");
    assert_eq!((higher.len(), planted.len()), (1, 1), "{higher:#?}");
    let (finding, truth) = (higher[0], &planted[0]);
    assert_eq!(
        (&finding["about"], &finding["until"], &finding["is_about"]),
        (&truth["about"], &Value::Null, &false.into())
    );
    let late = (day(&finding["since"]) - day(&truth["from"])).num_days();
    assert!((0..=2).contains(&late), "{late} days off");
    let raised = (day(&finding["raised"]) - day(&truth["from"])).num_days();
    assert!((0..=7).contains(&raised), "raised after {raised} days");
    let (told, half, really) =
        (kwh(finding, "energy_kwh"), kwh(finding, "energy_half_kwh"), truth["wh"].as_f64().expect("Wh") / 1e3);
    assert!((told / really - 1.0).abs() < 0.15, "{told} kWh, really {really}");
    assert!((told - really).abs() < half, "{told} ± {half} kWh, really {really}");
    assert!(kwh(finding, "ahead_kwh") > 0.0 && kwh(finding, "ahead_cost") > 0.0);
    assert_eq!(found["charted"], 27);
}

/// The nine hours without a gateway are one finding with its eleven meters.
#[test]
fn meters_that_were_silent_are_told_of_once() {
    let found = found();
    let silent: Vec<&Value> = of(&found, "silent")
        .into_iter()
        .filter(|one| day(&one["since"]) == "2026-03-17".parse().expect("a day"))
        .collect();
    assert_eq!(silent.len(), 1, "{silent:#?}");
    assert!(silent[0]["about"].as_str().is_some_and(|about| about.starts_with("gateway ")), "{silent:#?}");
    assert!(silent[0]["evidence"][0].as_str().is_some_and(|told| told.starts_with("11 meters behind")), "{silent:#?}");
}

/// What a person reads says what, since when, how much, what to ask, and how far to trust it; a day without any finding ends
/// with 0.
#[test]
fn the_text_says_what_to_ask_and_how_far_to_trust_it() {
    let (folder, _) = made();
    let (code, told, _) = inkwatt(folder, &["watch", "--rule", "higher-draw", "--to", "2026-06-30"]);
    assert_eq!(code, Some(1));
    for part in [
        "p1/s6  higher-draw  since 2026-04-20",
        "goes on",
        "W above its baseline (90 %)",
        "Ask production: was the level",
        "UV, ozone",
        "1 finding from 2026-06-30 to 2026-06-30",
        "27 stations charted",
    ] {
        assert!(told.contains(part), "{part} in\n{told}");
    }
    let (code, told, _) = inkwatt(folder, &["watch", "--rule", "left-on", "--to", "2026-03-04"]);
    assert_eq!(code, Some(0), "{told}");
    assert!(told.contains("0 findings from 2026-03-04"), "{told}");
    let (code, _, errors) = inkwatt(folder, &["watch", "--rule", "lamp"]);
    assert_eq!(code, Some(2));
    assert!(errors.contains("the rules are left-on, higher-draw"), "{errors}");
    assert_eq!(inkwatt(folder, &["watch", "--to", "2020-01-01"]).0, Some(2));
}

const CAPACITY: &str = r#"[plant]
name = "Hall"
zone = "Europe/London"
currency = "GBP"
grid = "GB"
[[press]]
id = "p1"
name = "Press 1"
moving_above = 3
stations = [{ id = "s1", name = "Varnish", does = "varnish", lamp = "none" }]
[[meter]]
id = "supply"
covers = "site"
boundary = { point = "supply" }
max_kw = 100
interval = "10s"
device = [{ serial = "X", wh_per_count = 1 }]
"#;

const TARIFF: &str = r#"[[tariff]]
name = "Supply"
valid_from = 2025-01-01
currency = "GBP"
source = "invented"
[[tariff.band]]
name = "all"
price = 0.2
[tariff.capacity]
agreed = 10
unit = "kW"
interval = "15min"
price = 1
excess_price = 2
per = "month"
"#;

/// From 12:00 on the site draws 18 kW where 10 are agreed. At 12:08 and 13 seconds, the last reading 3 seconds old, that is told with what
/// the quarter hour would come to; at 12:04 it is too early to say.
#[test]
fn a_peak_is_told_before_its_interval_is_over() {
    let folder = tempfile::TempDir::new().expect("a folder");
    std::fs::create_dir_all(folder.path().join("config/tariffs")).expect("a folder");
    std::fs::write(folder.path().join("config/plant.toml"), CAPACITY).expect("written");
    std::fs::write(folder.path().join("config/tariffs/supply.toml"), TARIFF).expect("written");
    let configuration = inkwatt::config::load(folder.path()).expect("a configuration");
    let plant = &configuration.plant;
    let noon = At::parse("2026-05-12T12:00:00+01:00").expect("an instant");
    let found = |until: At| {
        let midnight = plant.zone.day(plant.zone.date(until)).start;
        let mut count = 0;
        let mut readings = Vec::new();
        for k in 0.. {
            let at = midnight - HOUR + k * 10_000;
            if at > until {
                break;
            }
            // 10 s at 3.6 kW, later at 18 kW.
            count += if at > noon { 50 } else { 10 };
            readings.push(Reading { at, count });
        }
        let series = Series::new(Subject::Meter("supply".into()), Quantity::Import);
        let facts = DayFacts { readings: [(series, readings)].into(), runs: Vec::new(), until: Some(until) };
        let ledger = attributed(plant, &facts, plant.zone.date(until));
        let mut watch = Watch::new(plant, Terms::default(), Gateways::new());
        watch.take(&Day::of(plant, &configuration.tariffs, &ledger, &BTreeMap::new()));
        watch.findings().findings
    };
    assert_eq!(found(noon + 4 * MINUTE + 13_000).len(), 0);
    let told = found(noon + 8 * MINUTE + 13_000);
    assert_eq!(told.len(), 1, "{told:#?}");
    assert_eq!((told[0].rule, told[0].since, told[0].until), (Rule::OverCapacity, noon, None));
    assert!(told[0].evidence[0].starts_with("The interval that ends at 12:15 has drawn 18.0 kW so far"), "{told:#?}");
}
