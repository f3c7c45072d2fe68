//! Claims about `inkwatt explain`, on the first days of the invented plant.

use crate::report::command::{inkwatt, know, told};
use inkwatt::demo::History;
use serde_json::Value;
use std::path::Path;
use std::process::Command;
use tempfile::TempDir;

fn known() -> TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    know(folder.path(), History::default().skip(5).take(3));
    folder
}

fn explained(folder: &Path, arguments: &[&str]) -> Value {
    let output = inkwatt(folder, &[&["explain", "--json"], arguments].concat());
    assert_eq!(told(&output), (Some(0), String::new()), "{arguments:?}");
    serde_json::from_slice(&output.stdout).expect("JSON")
}

/// Millionths of an exact number.
fn count(exact: &Value) -> i64 {
    let exact = inkwatt::units::Decimal::parse(exact.as_str().expect("a text")).expect("a number");
    exact.scale(1_000_000, 1, 1).expect("it fits")
}

fn rows(value: &Value) -> &[Value] {
    value.as_array().expect("rows")
}

/// The energy of a station is what its register rose by: from the figure of the month to a day, from the day to an instant,
/// from there to two counts of its register.
#[test]
fn a_figure_is_followed_down_to_the_counts_of_a_register() {
    let folder = known();
    let month = explained(folder.path(), &["2025-01/energy/p1/s5"]);
    assert_eq!(month["unit"], "kWh");
    assert_eq!((rows(&month["meters"]).len(), &month["meters"][0]["claim"]), (1, &"own".into()));
    let of_day = rows(&month["days"]).iter().find(|of| of["day"] == "2025-01-07").expect("a working day");

    let day = explained(folder.path(), &["2025-01/energy/p1/s5", "--day", "2025-01-07"]);
    let slices = rows(&day["slices"]);
    assert_eq!(slices.iter().map(|slice| count(&slice["amount"])).sum::<i64>(), count(&of_day["amount"]));
    let register =
        rows(&day["readings"]).iter().find(|of| of["series"] == "import of meter p1-s5").expect("a register");
    assert!(count(&register["rose"]["kwh"]) >= count(&of_day["amount"]));
    assert_eq!(register["within"], 1440);

    let lit = slices.iter().find(|slice| slice["lamp_state"] == "curing").expect("a slice of a lamp that cures");
    let at = &lit["start"].as_str().expect("a time")[..16];
    let instant = explained(folder.path(), &["2025-01/energy/p1/s5", "--at", at]);
    let slices = rows(&instant["slices"]);
    assert_eq!((slices.len(), &slices[0]["start"]), (1, &lit["start"]));
    let series: Vec<&str> = rows(&instant["readings"]).iter().filter_map(|of| of["series"].as_str()).collect();
    for wanted in ["import of meter p1-s5", "speed of press p1", "lamp-level of station p1/s5"] {
        assert!(series.contains(&wanted), "{wanted} in {series:?}");
    }
    let register =
        rows(&instant["readings"]).iter().find(|of| of["series"] == "import of meter p1-s5").expect("a register");
    let (from, to) = (&register["rose"]["from"], &register["rose"]["to"]);
    if (from, to) == (&slices[0]["start"], &slices[0]["end"]) {
        assert_eq!(count(&register["rose"]["kwh"]), count(&slices[0]["amount"]));
    }
}

/// Money is followed to the band of a tariff and its file, carbon to the set of factors and its file.
#[test]
fn money_and_carbon_are_followed_to_the_texts_that_state_price_and_factor() {
    let folder = known();
    let cost = explained(folder.path(), &["2025-01/cost/p1"]);
    let prices = rows(&cost["prices"]);
    assert_eq!(prices.iter().map(|of| count(&of["amount"])).sum::<i64>(), count(&cost["exact"]));
    assert!(prices.iter().all(|of| of["text"]["path"] == "config/tariffs/supply.toml"), "{prices:?}");
    let carbon = explained(folder.path(), &["2025-01/carbon/p1"]);
    let factors = rows(&carbon["factors"]);
    assert_eq!((factors.len(), &factors[0]["amount"]), (1, &carbon["exact"]));
    // UK set of 2025: 0.177 kg for a kWh (see config/factors/gb.toml).
    assert_eq!(
        (&factors[0]["factor"], &factors[0]["text"]["path"]),
        (&"0.17700".into(), &"shipped:factors/gb.toml".into())
    );
}

/// A closed month is explained under the texts with which it was closed, whatever they say by now.
#[test]
fn a_closed_month_is_explained_as_it_was_closed() {
    let folder = known();
    let closed = inkwatt(folder.path(), &["close", "2025-01", "--by", "anna"]);
    assert_eq!(told(&closed), (Some(0), String::new()));
    let before = explained(folder.path(), &["2025-01/cost/p1"]);
    assert_eq!((&before["closed"]["exact"], &before["closed"]["same"]), (&before["exact"], &true.into()));
    assert_eq!(before["closed"]["by"], "anna");

    let tariff = folder.path().join("config/tariffs/supply.toml");
    let text = std::fs::read_to_string(&tariff).expect("a tariff");
    std::fs::write(&tariff, text.replace("price = 0.", "price = 1.")).expect("a file");
    let after = explained(folder.path(), &["2025-01/cost/p1"]);
    assert_eq!(before["exact"], after["exact"]);
    assert_eq!(before["prices"], after["prices"]);
}

#[test]
fn what_is_no_figure_is_said_with_what_is_near() {
    let folder = known();
    let refused = |arguments: &[&str]| told(&inkwatt(folder.path(), &[&["explain"], arguments].concat()));
    let (code, words) = refused(&["2025-01/enrgy/p1"]);
    assert_eq!(code, Some(2));
    assert_eq!(words, "error: no figure has the id \"2025-01/enrgy/p1\"\nhelp: did you mean \"2025-01/energy/p1\"?\n");
    let (code, words) = refused(&["energy/p1"]);
    assert_eq!(code, Some(2));
    assert!(words.starts_with("error: \"energy/p1\" is no id of a figure; it begins with its month"), "{words}");
    let (code, words) = refused(&["2025-01/energy/p1", "--at", "noon"]);
    assert_eq!(code, Some(2));
    assert!(words.contains("an instant is written like 2026-03-12T10:05"), "{words}");
    assert_eq!(refused(&["2024-01/energy/p1"]).0, Some(2));
}

/// What a person reads has the amount, the meters, and the command that goes on from there, which works as it stands.
#[test]
fn the_text_leads_from_the_month_to_a_day() {
    let folder = known();
    let output = inkwatt(folder.path(), &["explain", "2025-01/energy/plant"]);
    let text = String::from_utf8(output.stdout).expect("UTF-8");
    let next = text.trim_end().lines().last().expect("a line");
    let (_, command) = next.split_once("inkwatt ").expect("a command");
    let words: Vec<&str> = command.split(' ').map(|word| word.trim_matches('"')).collect();
    let shown = Command::new(env!("CARGO_BIN_EXE_inkwatt")).arg("--plant").arg(folder.path()).args(words).output();
    let shown = String::from_utf8(shown.expect("the program starts").stdout).expect("UTF-8");
    for part in ["\nSlices\n", "\nReadings: import of meter p1-main"] {
        assert!(shown.contains(part), "{part} in\n{shown}");
    }
}

/// A figure of the year is the sum of its months, each of which can be followed on; what instruments cover has no months.
#[test]
fn a_figure_of_a_year_is_followed_to_its_months_and_factors() {
    let folder = known();
    for id in ["2025/filing/electricity", "2025/filing/scope2-location"] {
        let year = explained(folder.path(), &[id]);
        let months = rows(&year["months"]);
        assert_eq!(months.iter().map(|of| count(&of["amount"])).sum::<i64>(), count(&year["exact"]), "{id}");
        let month = explained(folder.path(), &[months[0]["id"].as_str().expect("an id")]);
        assert_eq!(month["exact"], months[0]["amount"], "{id}");
        assert!(!rows(&year["shown"]).is_empty(), "{id}");
    }
    let location = explained(folder.path(), &["2025/filing/scope2-location"]);
    assert_eq!(location["factors"][0]["text"]["path"], "shipped:factors/gb.toml");
    assert_eq!(location["factors"][0]["amount"], location["exact"]);

    let market = explained(folder.path(), &["2025/carbon/scope2/market"]);
    assert!(market.get("months").is_none());
    let factors = rows(&market["factors"]);
    assert_eq!(factors.iter().map(|of| count(&of["amount"])).sum::<i64>(), count(&market["exact"]));

    let refused = |arguments: &[&str]| told(&inkwatt(folder.path(), &[&["explain"], arguments].concat()));
    let (code, words) = refused(&["2025/filing/electricty"]);
    assert_eq!((code, words.contains("did you mean \"2025/filing/electricity\"?")), (Some(2), true), "{words}");
    let (code, words) = refused(&["2025/filing/electricity", "--day", "2025-01-07"]);
    assert_eq!((code, words.starts_with("error: a figure of a year is made of months")), (Some(2), true), "{words}");
    assert_eq!(refused(&["2019/filing/electricity"]).0, Some(2));
}

/// Every id of the filing can be explained.
#[test]
fn every_figure_of_a_filing_is_explained() {
    let folder = known();
    assert_eq!(told(&inkwatt(folder.path(), &["filing", "2025"])).0, Some(0));
    let mut asked = 0;
    for name in ["filing.csv", "scope2.csv"] {
        let path = folder.path().join("reports/2025").join(name);
        let mut reader = csv::Reader::from_path(path).expect("a table");
        let mut ids: Vec<String> =
            reader.records().map(|row| row.expect("a row").get(0).expect("an id").to_owned()).collect();
        ids.dedup();
        for id in ids {
            assert_eq!(explained(folder.path(), &[&id])["id"], id.as_str());
            asked += 1;
        }
    }
    assert!(asked > 10, "{asked}");
}
