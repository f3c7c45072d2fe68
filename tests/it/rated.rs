//! A baseline from the ratings of lamps that nobody metered, from freezing to what is told of the saving.

use crate::demo::made;
use serde_json::Value;
use std::fs;
use std::path::Path;
use std::process::Command;
use tempfile::TempDir;

fn inkwatt(folder: &Path, arguments: &[&str]) -> (Option<i32>, String) {
    let mut command = Command::new(env!("CARGO_BIN_EXE_inkwatt"));
    let output = command.arg("--plant").arg(folder).env("USER", "anna").args(arguments).output().expect("it runs");
    (
        output.status.code(),
        String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr),
    )
}

/// A copy of the invented plant, by the program's own backup.
fn copied() -> TempDir {
    let (made, _) = made();
    let folder = TempDir::new().expect("a folder");
    let (code, told) = inkwatt(made, &["backup", &folder.path().display().to_string()]);
    assert_eq!(code, Some(0), "{told}");
    copy(&made.join("config"), &folder.path().join("config"));
    folder
}

fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to).expect("a folder");
    for entry in fs::read_dir(from).expect("a folder") {
        let entry = entry.expect("an entry");
        let onto = to.join(entry.file_name());
        match entry.path().is_dir() {
            true => copy(&entry.path(), &onto),
            false => fs::copy(entry.path(), onto).map(|_| ()).expect("copied"),
        }
    }
}

/// Exchanges a text of `config/plant.toml` wherever it stands.
fn edit(folder: &Path, old: &str, new: &str) {
    let file = folder.join("config/plant.toml");
    let text = fs::read_to_string(&file).expect("a plant");
    assert!(text.contains(old), "{old} is not in {text}");
    fs::write(file, text.replace(old, new)).expect("written");
}

fn in_one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

const RATED: [&str; 9] =
    ["baseline", "freeze", "p1", "--kind", "rated", "--by", "anna", "--why", "nobody metered before"];

/// By hand: a lamp of 140 W/cm x 40 cm at the mains draws 5,600 W at full level; at the promise's mean level of 90 %
/// 5,040 W. Neither standby nor warm-up nor a draw in other hours is stated. So the old lamps would have drawn 5.04 kWh for
/// each station-hour in which the new ones cured, which `truth.json` has from the simulation itself.
#[test]
fn rated_lamps_are_held_against_the_hours_of_the_new_ones_and_said_not_to_be_measured() {
    let folder = copied();
    let folder = folder.path();
    // The meters of the invented plant show the blower of each lamp too, of which its rating says nothing.
    edit(folder, r#"includes = ["driver loss", "blower"] }"#, r#"includes = ["driver loss"] }"#);
    let (code, told) = inkwatt(folder, &[&RATED[..], &["--bound", "20%"]].concat());
    assert!(code == Some(0) && told.contains("not a measured saving in the sense of IPMVP"), "{told}");
    let (_, told) = inkwatt(folder, &["baseline", "show", "p1"]);
    assert!(told.contains("not a measured saving in the sense of IPMVP"), "{told}");

    let span = ["verify", "p1", "--to", "2026-06-30"];
    let (_, told) = inkwatt(folder, &[&span[..], &["--json"]].concat());
    let found: Value = serde_json::from_str(&told).expect("JSON");
    let found = &found["presses"][0];
    assert_eq!((&found["baseline"], &found["is_measured"]), (&"rated".into(), &false.into()), "{told}");
    let truth = fs::read_to_string(made().0.join("truth.json")).expect("the truth");
    let truth: Value = serde_json::from_str(&truth).expect("JSON");
    let cured = &truth["what_the_bridge_should_find"]["press"]["p1"]["led_curing"]["minutes"];
    let by_hand = cured.as_f64().expect("minutes") / 60.0 * 5.04;
    let expected = found["expected_kwh"].as_f64().expect("kWh");
    assert!((expected / by_hand - 1.0).abs() < 0.02, "{expected} and {by_hand} by hand");
    // Limits of ± 20 % are a standard uncertainty of 20 % / √3 (GUM 4.3.7), at 90 % times 1.6449; meters only add to it.
    let half = found["avoided_kwh"]["half_width_90"].as_f64().expect("kWh");
    let least = 0.2 / 3_f64.sqrt() * 1.6449 * expected;
    assert!((0.999 * least..1.05 * least).contains(&half), "{half}, by the bound alone {least}");

    let (_, told) = inkwatt(folder, &span);
    let words = in_one_line(&told);
    for said in [
        "Baseline: computed from ratings: not a measured saving in the sense of IPMVP.",
        "Promised and by ratings since the acceptance",
        "Press 1, by ratings",
        "From promised to by ratings",
        "lies within ± 20 % of this: a bound that was stated and not measured",
        "No standby is counted",
    ] {
        assert!(words.contains(said), "{said} in {told}");
    }

    let (_, told) = inkwatt(folder, &["report", "2026-06"]);
    let report = folder.join("reports/2026-06");
    let page = fs::read_to_string(report.join("report.html")).unwrap_or_else(|error| panic!("{error}: {told}"));
    assert!(page.contains("computed from ratings: not a measured saving in the sense of IPMVP"));
    let table = fs::read_to_string(report.join("savings.csv")).expect("a table");
    let mut rows = csv::Reader::from_reader(table.as_bytes());
    let heads = rows.headers().expect("heads").clone();
    let place = |name: &str| heads.iter().position(|head| head == name).expect("a column");
    let rows: Vec<_> =
        rows.records().map(|row| row.expect("a row")).filter(|row| &row[place("press")] == "p1").collect();
    let words: Vec<&str> = rows.iter().map(|row| &row[place("row")]).collect();
    assert!(words.contains(&"by ratings") && !words.contains(&"measured"), "{words:?}");
    assert!(rows.iter().all(|row| &row[place("row")] == "capacity" || &row[place("baseline")] == "rated"));
}

#[test]
fn ratings_are_refused_where_nothing_can_be_held_against_them() {
    let folder = copied();
    let folder = folder.path();
    let refused = |arguments: &[&str]| {
        let (code, told) = inkwatt(folder, arguments);
        assert_eq!(code, Some(2), "{told}");
        told
    };
    assert_eq!(
        refused(&RATED),
        "error: --bound is missing: how far what the old lamps would have drawn may lie from their ratings\nhelp: state it \
         as a share, such as --bound 25%\n"
    );
    assert_eq!(
        refused(&["baseline", "freeze", "fan", "--kind", "rated", "--bound", "20%", "--why", "none"]),
        "error: load fan has no lamps; its baseline is metered before the conversion, or billed\n"
    );
    assert_eq!(
        refused(&[&RATED[..], &["--bound", "20%", "--drivers", "web_km"]].concat()),
        "error: --drivers says nothing of ratings, which rest on no day\nhelp: leave it out\n"
    );
    assert_eq!(
        refused(&["baseline", "freeze", "p1", "--drivers", "web_km", "--bound", "20%", "--why", "so"]),
        "error: --bound is about ratings\nhelp: leave it out, or freeze with --kind rated\n"
    );
    let (code, told) = inkwatt(folder, &[&RATED[..], &["--bound", "20%"]].concat());
    assert_eq!(code, Some(0), "{told}");
    let (_, told) = inkwatt(folder, &["verify", "p1", "--to", "2026-06-30"]);
    let words = in_one_line(&told);
    assert!(words.contains("(blower only now); like must be compared with like"), "{told}");
}
