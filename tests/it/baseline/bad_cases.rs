//! What cannot be, or must be asked about, through the program: each answers in one clear sentence with what to do.

use super::*;
use inkwatt::readings::{Quantity, Reading, Series, Subject};
use inkwatt::time::QUARTER;
use std::fmt::Write;

/// Days of a press of which the length is so many kilometres, in the words of the reference's tables.
fn table(first: &str, days: usize, row: impl Fn(usize) -> (f64, f64, f64)) -> String {
    let mut text = String::from("date,run_h,web_km,kwh\n");
    for nth in 0..days {
        let (hours, km, kwh) = row(nth);
        let day = date(first) + chrono::Days::new(nth as u64);
        writeln!(text, "{day},{hours:.2},{km:.3},{kwh:.1}").expect("a text");
    }
    text
}

fn import(press: &Press, name: &str, text: &str) {
    let file = press.path().join(name);
    fs::write(&file, text).expect("written");
    press.import(&file);
}

fn edit(press: &Press, from: &str, to: &str) {
    let config = press.path().join("config/plant.toml");
    let text = fs::read_to_string(&config).expect("a configuration");
    assert_eq!(text.matches(from).count(), 1, "{from}");
    fs::write(config, text.replace(from, to)).expect("written");
}

/// What the one press of `inkwatt verify` lacks, and that this ends with 1.
fn lacks(press: &Press) -> String {
    let output = press.run(&["verify", "--json"]);
    assert_eq!(output.status.code(), Some(1), "{}", String::from_utf8_lossy(&output.stderr));
    let found: Value = serde_json::from_slice(&output.stdout).expect("JSON");
    found["missing"]["p1"].as_str().unwrap_or_else(|| panic!("nothing is missing: {found}")).to_owned()
}

#[test]
fn a_baseline_that_cannot_be_is_refused_with_what_to_do() {
    let press = Press::with(&["baseline_daily.csv", "reporting_daily.csv"]);
    let fit = |more: &[&str]| refused(&press, &[&["baseline", "fit", "p1"], more].concat());
    assert_eq!(
        fit(&["--drivers", "lamp_h"]),
        "error: lamp hours cannot explain a baseline: the new lamps need no warm-up and no standby, so the conversion \
         itself lowers them and would hide what it saved; take web_km, station_km or jobs\n"
    );
    assert_eq!(
        fit(&["--to", "2024-02-15"]),
        "error: the baseline from 2023-01-01 to 2024-02-15 reaches into the conversion, which began on 2024-01-01; end \
         it before that day\n"
    );
    assert_eq!(fit(&["--drivers", "web_km", "--to", "2023-01-20"]), "error: 20 days count, and 28 are needed\n");
    assert_eq!(
        fit(&["--drivers", "jobs"]),
        "error: no day counts, and 28 are needed; set aside: 365 days with a driver that is not known\n"
    );
    assert_eq!(
        fit(&["--drivers", "web_mm"]),
        "error: driver \"web_mm\" is not known\nhelp: did you mean \"web_km\"?\n"
    );
    assert_eq!(
        fit(&["--drivers", "web_km", "--from", "2020-01-01", "--to", "2020-12-31"]),
        "error: there is no energy of press p1 from 2020-01-01 to 2020-12-31; import its history, or name another \
         period\n"
    );
    assert_eq!(
        fit(&["--drivers", "web_km", "--from", "2024-03-01"]),
        "error: the baseline would begin on 2024-03-01 and end on 2023-12-31, before that; give --from and --to (without \
         them it begins with what is known and ends before the conversion)\n"
    );
    assert_eq!(
        refused(&press, &["baseline", "fit", "p2"]),
        "error: press or load \"p2\" is not known\nhelp: known: p1\n"
    );
    assert_eq!(
        refused(&press, &["baseline", "show", "p1"]),
        "error: press p1 has no frozen baseline\nhelp: inkwatt baseline fit p1, then freeze\n"
    );
    assert_eq!(
        refused(&press, &["baseline", "freeze", "p1", "--why", "so"]),
        "error: --drivers is missing: which model is frozen is your choice\nhelp: inkwatt baseline fit p1 compares them\n"
    );
    assert_eq!(
        fit(&["--kind", "rated"]),
        "error: ratings are no model that could be fitted\nhelp: inkwatt baseline freeze p1 --kind rated --bound 25% --why \
         TEXT\n"
    );
}

#[test]
fn collinear_drivers_are_refused_by_name() {
    let press = Press::of(PRESS);
    // Always 8 km an hour, so that length says nothing that hours do not.
    let hours = |nth: usize| (4 + nth % 9) as f64;
    let year = table("2023-01-01", 60, |nth| (hours(nth), 8.0 * hours(nth), 200.0 + 60.0 * hours(nth)));
    import(&press, "year.csv", &year);
    let told = refused(&press, &["baseline", "freeze", "p1", "--drivers", "run_h,web_km", "--why", "both"]);
    assert_eq!(told, "error: web_km is a multiple of run_h: leave it out\n");
}

#[test]
fn reported_and_computed_power_are_refused_before_and_after() {
    let press = Press::with(&["baseline_daily.csv", "reporting_daily.csv"]);
    freeze(&press, &[]);
    for (point, words) in
        [("reported-dc", "power that a controller reports"), ("computed", "power computed from a level")]
    {
        let there = format!("point = \"{point}\"");
        edit(&press, "point = \"press-main\"", &there);
        let told = format!(
            "meter p1-main gives {words}, which no saving can rest on; measure at the AC input of the lamp supply, or name \
             another baseline"
        );
        assert_eq!(refused(&press, &["baseline", "fit", "p1"]), format!("error: {told}\n"));
        assert_eq!(lacks(&press), told);
        edit(&press, &there, "point = \"press-main\"");
    }
}

#[test]
fn a_boundary_other_than_that_of_the_baseline_has_no_saving() {
    let press = Press::with(&["baseline_daily.csv", "reporting_daily.csv"]);
    freeze(&press, &[]);
    edit(&press, "point = \"press-main\"", "point = \"press-main\", includes = [\"chiller\"]");
    assert_eq!(
        lacks(&press),
        "meter p1-main: baseline: press-main; now: press-main with chiller (chiller only now); like must be compared with \
         like. Freeze a baseline over days on which the boundary was the same as now, or put a measured correction on \
         file: inkwatt record boundary p1-main --like \"press-main\""
    );
}

#[test]
fn a_press_that_has_not_been_observed_since_its_acceptance_says_how_few_days_count() {
    let press = Press::with(&["baseline_daily.csv"]);
    freeze(&press, &[]);
    assert_eq!(lacks(&press), "no day counts, and 1 is needed");
}

/// Twenty-nine days at rest, 150 kWh each; the constant of the reference is 207.644 kWh a day.
#[test]
fn a_month_without_running_has_a_saving_and_no_model_of_its_own() {
    let press = Press::with(&["baseline_daily.csv"]);
    freeze(&press, &[]);
    import(&press, "february.csv", &table("2024-02-01", 29, |_| (0.0, 0.0, 150.0)));
    let found = &json(&press, &["verify", "p1", "--json"])["presses"][0];
    let expected = &expected()["daily"]["coef"][0];
    same(number(&found["avoided_kwh"]["value"]), &Value::from(29.0 * (number(expected) - 150.0)), "avoided");
    assert_eq!((&found["days"], &found["normalised_kwh"]), (&29.into(), &Value::Null));
    assert_eq!(found["questions"], serde_json::json!([]));
    let report = press.run(&["report", "2024-02"]);
    assert_eq!(report.status.code(), Some(0), "{}", String::from_utf8_lossy(&report.stderr));
}

/// Two shifts on weekdays.
const SHIFTS: &str = r#"
[calendar]
shifts = [
    { name = "early", days = "mon-fri", starts = "06:00", ends = "14:00" },
    { name = "late", days = "mon-fri", starts = "14:00", ends = "22:00" },
]
"#;

/// Days on which the web moves from six to `until` on weekdays, at another speed each: its speed as a controller signals it,
/// and the meter's day, 100 kWh, so much for each kilometre and a little besides.
fn work(press: &Press, first: &str, days: usize, until: i64, kwh_per_km: f64) {
    use chrono::Datelike;
    let zone = config::load(press.path()).expect("a configuration").plant.zone;
    let day = |nth: usize| date(first) + chrono::Days::new(nth as u64);
    let works = |nth: usize| day(nth).weekday().number_from_monday() < 6;
    let metres = |nth: usize| 40 + (nth * 7 % 30) as i64;
    let mut readings = Vec::new();
    for nth in 0..days {
        let start = zone.day(day(nth)).start;
        for quarter in 0..96 {
            let moves = works(nth) && (4 * 6..4 * until).contains(&quarter);
            let count = if moves { 1_000 * metres(nth) } else { 0 };
            let series = Series::new(Subject::Press("p1".into()), Quantity::Speed);
            readings.push((series, Reading { at: start + quarter * QUARTER, count }));
        }
    }
    let mut store = Store::open(press.path(), zone, Access::Command).expect("a store");
    store.commit("controller", Rank::Live, &readings, &[], None).expect("stored");
    drop(store);
    let row = |nth: usize| {
        let hours = if works(nth) { (until - 6) as f64 } else { 0.0 };
        let km = hours * 0.06 * metres(nth) as f64;
        (hours, km, 100.0 + kwh_per_km * km + (nth * 5 % 3) as f64)
    };
    import(press, &format!("{first}.csv"), &table(first, days, row));
}

/// Two hours more on each of five nights a week from February on.
#[test]
fn a_third_shift_that_nobody_entered_is_asked_about_until_somebody_answers() {
    let press = Press::of(&(PRESS.to_owned() + SHIFTS));
    work(&press, "2023-11-06", 56, 22, 8.0);
    work(&press, "2024-02-01", 28, 24, 3.0);
    freeze_over(&press, "web_km", &[]);
    let questions = || json(&press, &["verify", "p1", "--json"])["presses"][0]["questions"].clone();
    let found = "the web moved 10.0 h a week outside every shift of the calendar, and 0.0 h in the baseline: a shift that \
                 nobody entered";
    let asked = |answer: Value| serde_json::json!([{ "factor": "shifts a week", "found": found, "answer": answer }]);
    assert_eq!(questions(), asked(Value::Null));
    let text = press.run(&["verify", "p1"]).stdout;
    assert!(String::from_utf8_lossy(&text).split_whitespace().collect::<Vec<_>>().join(" ").contains(found));
    let arguments = ["record", "static", "shifts a week", "15", "--since", "2024-02-05", "--why", "night shift"];
    let recorded = press.run(&arguments);
    assert_eq!(recorded.status.code(), Some(0), "{}", String::from_utf8_lossy(&recorded.stderr));
    assert_eq!(questions(), asked(Value::Null), "to enter a change is not yet to answer what it does");
    let holds = ["--baseline-holds", "the web of the night is in web_km"];
    let recorded = press.run(&[&arguments[..], &holds].concat());
    assert_eq!(recorded.status.code(), Some(0), "{}", String::from_utf8_lossy(&recorded.stderr));
    let answer = questions()[0]["answer"].as_str().expect("an answer").to_owned();
    assert!(answer.starts_with("the baseline holds: the web of the night is in web_km ("), "{answer}");
}

/// Rule 14 of the domain: a change that is entered blocks the verdict, whether or not the data betray it.
#[test]
fn a_static_factor_that_is_entered_is_a_question_until_it_is_answered_or_adjusted_for() {
    let press = Press::of(PRESS);
    work(&press, "2023-11-06", 56, 16, 8.0);
    work(&press, "2024-02-01", 28, 16, 3.0);
    freeze_over(&press, "web_km", &[]);
    let questions = || json(&press, &["verify", "p1", "--json"])["presses"][0]["questions"].clone();
    let record = |arguments: &[&str]| {
        let done = press.run(&[&["record"], arguments].concat());
        assert_eq!(done.status.code(), Some(0), "{}", String::from_utf8_lossy(&done.stderr));
    };
    assert_eq!(questions(), serde_json::json!([]));
    let why = ["--why", "recipe change", "--by", "anna"];
    record(&[&["static", "ink system", "water-based", "--since", "2023-12-01"], &why[..]].concat());
    assert_eq!(questions(), serde_json::json!([]), "in the days of the baseline");
    record(&[&["static", "Ink system", "water-based", "--since", "2024-02-03"], &why[..]].concat());
    assert_eq!(questions(), serde_json::json!([]), "as before");
    record(&[&["static", "ink system", "low migration", "--since", "2024-02-05"], &why[..]].concat());
    let found = "ink system is low migration since 2024-02-05, and was water-based (anna: recipe change)";
    let asked = |answer: Value| serde_json::json!([{ "factor": "ink system", "found": found, "answer": answer }]);
    assert_eq!(questions(), asked(Value::Null));
    let span = ["--from", "2024-02-05", "--until", "2024-03-01", "--kwh=-40", "--by", "anna"];
    record(&[&["adjustment", "p1", "--why", "slower ink"], &span[..]].concat());
    assert_eq!(questions(), asked("adjusted for (anna: slower ink)".into()));
}
