//! Claims about baselines and savings, on the synthetic press of `tests/reference/mv_synthetic`.

mod bad_cases;
mod every_value;

use chrono::NaiveDate;
use inkwatt::agent::{self, Books};
use inkwatt::cli;
use inkwatt::config;
use inkwatt::plant::{Circuit, Load};
use inkwatt::readings::{Event, Happening, Rank};
use inkwatt::store::{Access, Store};
use inkwatt::time::{At, Period};
use inkwatt::units::Energy;
use inkwatt::verify::baseline::{Fitted, Form, Frozen, boundaries};
use inkwatt::verify::savings::{Metering, Reporting, Savings, savings};
use inkwatt::verify::{self, Aside, Confidence, Day, Driver, LoadBy, Scope};
use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use tempfile::TempDir;

const REFERENCE: &str = "tests/reference/mv_synthetic";

/// The synthetic press: a press main that is read once a day, converted in January 2024.
pub const PRESS: &str = r#"
[plant]
name = "Hall"
zone = "Europe/Berlin"
currency = "EUR"
grid = "DE"

[[press]]
id = "p1"
name = "Press 1"
moving_above = 3
stations = [
    { id = "s1", name = "White", does = "white", implementation = [{ started = 2024-01-01, accepted = 2024-02-01 }] },
]

[[meter]]
id = "p1-main"
covers = { press = "p1" }
boundary = { point = "press-main" }
max_kw = 150
class = "1"
ct_class = "0.5"
interval = "24h"
device = [{ serial = "S-1" }]

[[csv]]
name = "daily"
time = "date"
format = "%Y-%m-%d"
clock = "in-order"
[csv.readings]
interval = "24h"
stamped = "start"
columns = [
    { column = "run_h", press = "p1", is = "interval-running", unit = "h" },
    { column = "web_km", press = "p1", is = "interval-length", unit = "km" },
    { column = "kwh", meter = "p1-main", is = "interval-energy", unit = "kWh" },
]
"#;

/// A plant folder of the synthetic press.
pub struct Press(TempDir);

impl Press {
    /// With these files of the reference imported by the program itself.
    pub fn with(files: &[&str]) -> Self {
        let press = Self::of(PRESS);
        files.iter().for_each(|file| press.import(&reference(file)));
        press
    }

    /// With a configuration, and without any readings.
    pub fn of(plant: &str) -> Self {
        let folder = TempDir::new().expect("a folder");
        fs::create_dir(folder.path().join("config")).expect("a folder");
        fs::write(folder.path().join("config/plant.toml"), plant).expect("written");
        Self(folder)
    }

    /// A file that the program itself imports.
    pub fn import(&self, file: &Path) {
        let (refused, file) = (self.path().display().to_string(), file.display().to_string());
        let output = self.run(&["import", "readings", &file, "--refused", &refused]);
        assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
    }

    pub fn path(&self) -> &Path {
        self.0.path()
    }

    pub fn run(&self, arguments: &[&str]) -> Output {
        let mut command = Command::new(env!("CARGO_BIN_EXE_inkwatt"));
        command.current_dir(self.path()).env("USER", "anna").args(arguments).output().expect("it runs")
    }

    fn days(&self, first: &str, last: &str) -> Vec<Day> {
        let configuration = config::load(self.path()).expect("a configuration");
        let now = At::parse("2026-01-01T00:00:00Z").expect("an instant");
        let books = Books::open(self.path(), &configuration, now).expect("books");
        let store = Store::open(self.path(), configuration.plant.zone, Access::Read).expect("a store");
        let scope = Scope::of(books.plant(), &"p1".into()).expect("a press");
        let days = agent::observe(&books, &store, &[scope], (date(first), date(last)), now, |_| {});
        days.expect("days").remove(0)
    }
}

#[test]
fn of_a_long_time_only_the_days_that_are_new_are_observed() {
    let press = Press::with(&["baseline_daily.csv"]);
    let span = ("2023-03-01", "2023-03-25");
    let whole = press.days(span.0, span.1);
    let kept = rusqlite::Connection::open(press.path().join("store/derived.db")).expect("the cache");
    let gone = ["2023-03-01", "2023-03-10", "2023-03-11"];
    kept.execute("DELETE FROM day", []).expect("forgotten");
    gone.iter().for_each(|day| {
        assert_eq!(kept.execute("DELETE FROM observed WHERE date = ?1", [day]).expect("forgotten"), 1);
    });
    assert_eq!(press.days(span.0, span.1), whole);
    let mut query = kept.prepare("SELECT date FROM day ORDER BY date").expect("a query");
    let computed: Vec<String> =
        query.query_map([], |row| row.get(0)).and_then(Iterator::collect).expect("the days that were computed");
    assert_eq!(computed, gone);
}

/// A file of the reference.
pub fn reference(file: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(REFERENCE).join(file)
}

/// Runs the command and gives its JSON.
fn json(press: &Press, arguments: &[&str]) -> Value {
    let output = press.run(arguments);
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).expect("JSON")
}

pub fn expected() -> Value {
    let text = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join(REFERENCE).join("expected.json"));
    serde_json::from_str(&text.expect("a file")).expect("JSON")
}

/// A number, or a text that is one: the reference writes 22 digits as texts.
pub fn number(value: &Value) -> f64 {
    value.as_f64().or_else(|| value.as_str()?.parse().ok()).unwrap_or_else(|| panic!("{value} is no number"))
}

#[track_caller]
fn same(found: f64, expected: &Value, what: &str) {
    let expected = number(expected);
    assert!((found / expected - 1.0).abs() < 1e-9, "{what}: {found} for {expected}");
}

/// The baseline in force and what is saved against it from February to April 2024.
fn saved(press: &Press) -> (Frozen, Savings) {
    let configuration = config::load(press.path()).expect("a configuration");
    let plant = &configuration.plant;
    let store = Store::open(press.path(), plant.zone, Access::Read).expect("a store");
    let judged = verify::Judged::Press("p1".into());
    let (frozen, _) = cli::in_force(&store, &judged).expect("readable").expect("frozen");
    let events: Vec<Event> = store.events().expect("events").value;
    let (before, days) = (press.days("2023-01-01", "2023-12-31"), press.days("2024-02-01", "2024-04-30"));
    let span = Period::new(plant.zone.day(date("2024-02-01")).start, plant.zone.day(date("2024-04-30")).end);
    let scope = Scope::of(plant, &"p1".into()).expect("a press");
    let boundary = boundaries(plant, &scope, span).expect("measured");
    let saved = savings(&frozen, &days, &Reporting { plant, boundary, events: &events, baseline: &before });
    (frozen, saved.expect("a saving"))
}

const HOURS: [&str; 4] = ["p1", "--drivers", "run_h,web_km", "--json"];

pub fn freeze(press: &Press, more: &[&str]) {
    freeze_over(press, "run_h,web_km", more);
}

fn freeze_over(press: &Press, drivers: &str, more: &[&str]) {
    let arguments = [&["baseline", "freeze", "p1", "--drivers", drivers, "--why", "as the reference"], more].concat();
    let output = press.run(&arguments);
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
}

#[test]
fn each_day_of_the_reference_s_saving_comes_out_of_import_and_freeze() {
    let press = Press::with(&["baseline_daily.csv", "reporting_daily.csv"]);
    freeze(&press, &[]);
    let (_, saved) = saved(&press);
    assert_eq!((saved.counted, saved.hours_converted, saved.questions.len()), (90, false, 0));
    let each = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join(REFERENCE).join("reporting_expected.csv"));
    for ((date, kwh, actual), line) in saved.points.iter().zip(each.expect("a file").lines().skip(1)) {
        let cells: Vec<&str> = line.split(',').collect();
        assert_eq!(date.to_string(), cells[0]);
        same(*kwh, &Value::from(cells[1]), "adjusted baseline of a day");
        assert!((kwh - actual - cells[2].parse::<f64>().expect("a number")).abs() < 1e-9, "{date}");
    }
    let half = saved.avoided.half_width(Confidence::P90);
    assert!((1_790.0..1_810.0).contains(&half), "{half}");
}

#[test]
fn a_frozen_baseline_comes_back_to_the_last_bit_and_says_when_its_facts_were_corrected() {
    let press = Press::with(&["baseline_daily.csv"]);
    freeze(&press, &[]);
    let shown = json(&press, &["baseline", "show", "p1", "--json"]);
    let configuration = config::load(press.path()).expect("a configuration");
    let store = Store::open(press.path(), configuration.plant.zone, Access::Read).expect("a store");
    let judged = verify::Judged::Press("p1".into());
    let (frozen, _) = cli::in_force(&store, &judged).expect("readable").expect("frozen");
    let days = press.days("2023-01-01", "2023-12-31");
    let again = inkwatt::verify::baseline::fit(&frozen.form, &days, frozen.kind.least()).expect("a model");
    assert!((&frozen.model, &frozen.points, frozen.rho) == (&again.fit.model, &again.points, again.rho));
    assert_eq!((&shown["author"], &shown["reason"]), (&"anna".into(), &"as the reference".into()));
    let corrected = press.run(&[
        "record",
        "correction",
        "p1-main",
        "interval-energy",
        "--at",
        "2023-03-02T00:00:00",
        "--value",
        "999 kWh",
        "--why",
        "digit misread",
    ]);
    assert_eq!(corrected.status.code(), Some(0), "{}", String::from_utf8_lossy(&corrected.stderr));
    let shown = press.run(&["baseline", "show", "p1"]);
    assert_eq!(shown.status.code(), Some(1));
    let text = String::from_utf8_lossy(&shown.stdout);
    assert!(text.contains("its days have been corrected since: these numbers rest on what was known then"), "{text}");
}

#[test]
fn hours_of_a_faster_press_are_taken_at_the_speed_of_the_baseline() {
    // Own computation on the synthetic press: speed + 15 % at equal length would hide a fifth of the avoided energy.
    let press = Press::with(&["baseline_daily.csv", "reporting_daily.csv"]);
    freeze(&press, &[]);
    let (frozen, plain) = saved(&press);
    let mut days = press.days("2024-02-01", "2024-04-30");
    for day in &mut days {
        let hours = day.drivers[&Driver::RunH];
        day.drivers.insert(Driver::RunH, hours / 1.15);
    }
    let configuration = config::load(press.path()).expect("a configuration");
    let plant = &configuration.plant;
    let reporting = Reporting { plant, boundary: frozen.boundary.clone(), events: &[], baseline: &[] };
    let faster = savings(&frozen, &days, &reporting).expect("a saving");
    assert!(faster.hours_converted);
    assert!((faster.avoided.value / plain.avoided.value - 1.0).abs() < 0.03, "{}", faster.avoided.value);
    let questions: Vec<(&str, &str)> = faster.questions.iter().map(|q| (q.factor.as_str(), q.found.as_str())).collect();
    assert_eq!(questions, [("speed", "the web ran 9.68 km an hour, and 8.36 in the baseline")]);
    assert_eq!(faster.questions[0].answer.as_deref(), Some("run hours are taken at the speed of the baseline"));
}

#[test]
fn hours_without_a_length_of_web_block_the_verdict() {
    let mut judged = Reported::over("run_h");
    let speed = |savings: &Savings| -> Vec<(String, Option<String>)> {
        savings.questions.iter().map(|question| (question.factor.clone(), question.answer.clone())).collect()
    };
    assert_eq!(speed(&judged.savings(&[])), []);
    judged.frozen.conditions.km_per_hour = None;
    let found = judged.savings(&[]);
    assert_eq!((speed(&found), found.hours_converted), (vec![("speed".into(), None)], false));
    let expected = "how fast the web ran is not known in the baseline, so that a higher speed, which lowers run hours, \
                    would hide part of the saving: import the length of the web, or freeze a baseline over an output such \
                    as jobs";
    assert_eq!(found.questions[0].found, expected);
    let what = Happening::StaticFactor {
        factor: "speed".into(),
        value: "as before".into(),
        holds: Some("same drives, same settings".into()),
    };
    let answered = judged.savings(&[recorded("s", "2024-02-01T00:00:00Z", what, "anna: asked the printers")]);
    assert!(answered.questions[0].answer.is_some());
    judged.frozen.conditions.km_per_hour = Some(8.36);
    for day in &mut judged.days {
        day.drivers.remove(&Driver::WebKm);
    }
    let found = judged.savings(&[]);
    assert_eq!((speed(&found), found.hours_converted), (vec![("speed".into(), None)], false));
    assert!(found.questions[0].found.starts_with("how fast the web ran is not known since the acceptance, "));
}

/// What a command says on stderr when it fails.
#[track_caller]
fn refused(press: &Press, arguments: &[&str]) -> String {
    let output = press.run(arguments);
    assert_eq!(output.status.code(), Some(2), "{}", String::from_utf8_lossy(&output.stdout));
    String::from_utf8(output.stderr).expect("text")
}

fn date(text: &str) -> NaiveDate {
    text.parse().expect("a date")
}

/// The rows of a reference file: date, run hours, kilometres, kWh.
fn rows(file: &str) -> Vec<(NaiveDate, f64, f64, f64)> {
    let text = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join(REFERENCE).join(file)).expect("a file");
    let row = |line: &str| {
        let cells: Vec<&str> = line.split(',').collect();
        let number = |k: usize| cells[k].parse::<f64>().expect("a number");
        (date(cells[0]), number(1), number(2), number(3))
    };
    text.lines().skip(1).map(row).collect()
}

#[test]
fn daily_figures_that_a_plant_imports_become_days_whatever_their_hours() {
    let press = Press::with(&["reporting_daily.csv"]);
    let days = press.days("2024-02-01", "2024-04-30");
    let found: Vec<_> = days
        .iter()
        .map(|day| {
            let driver = |driver| day.drivers.get(&driver).copied().expect("a driver");
            (day.date, driver(Driver::RunH), driver(Driver::WebKm), day.energy.kwh())
        })
        .collect();
    assert_eq!(found, rows("reporting_daily.csv"));
    assert!(days.iter().all(|day| day.aside.is_none()));
    let short: Vec<_> = days.iter().filter(|day| day.hours != 24.0).map(|day| (day.date, day.hours)).collect();
    assert_eq!(short, [(date("2024-03-31"), 23.0)]);
}

/// A frozen baseline, the days of its reporting period, and the plant.
struct Reported {
    press: Press,
    frozen: Frozen,
    days: Vec<Day>,
}

impl Reported {
    fn new() -> Self {
        Self::over("run_h,web_km")
    }

    fn over(drivers: &str) -> Self {
        let press = Press::with(&["baseline_daily.csv", "reporting_daily.csv"]);
        freeze_over(&press, drivers, &[]);
        let (frozen, _) = saved(&press);
        let days = press.days("2024-02-01", "2024-04-30");
        Self { press, frozen, days }
    }

    fn savings(&self, events: &[Event]) -> Savings {
        let configuration = config::load(self.press.path()).expect("a configuration");
        let boundary = self.frozen.boundary.clone();
        let reporting = Reporting { plant: &configuration.plant, boundary, events, baseline: &[] };
        savings(&self.frozen, &self.days, &reporting).expect("a saving")
    }
}

fn recorded(id: &str, at: &str, what: Happening, note: &str) -> Event {
    let at = At::parse(at).expect("an instant");
    Event { id: id.into(), at, rank: Rank::Correction, revision: 0, what, note: Some(note.into()) }
}

#[test]
fn days_with_lost_energy_count_on_neither_side_and_are_counted() {
    let mut judged = Reported::new();
    let all = judged.savings(&[]);
    for day in &mut judged.days[10..13] {
        day.aside = Some(Aside::Lost);
    }
    let found = judged.savings(&[]);
    assert_eq!((found.counted, found.aside), (87, [(Aside::Lost, 3)].into()));
    let lost = &all.points[10..13];
    let expected: f64 = lost.iter().map(|(_, expected, _)| expected).sum();
    let actual: f64 = lost.iter().map(|(_, _, actual)| actual).sum();
    assert!((all.expected - found.expected - expected).abs() < 1e-6);
    assert!((all.actual - found.actual - actual).abs() < 1e-6);
}

#[test]
fn an_adjustment_enters_with_its_uncertainty_for_the_days_that_count() {
    let mut judged = Reported::new();
    let before = judged.savings(&[]);
    let what = Happening::Adjustment {
        judged: verify::Judged::Press("p1".into()),
        until: At::parse("2024-02-20T23:00:00Z").expect("an instant"),
        mwh: -500_000_000,
        uncertainty_mwh: Some(100_000_000),
    };
    // Ten days, two of which do not count.
    let event = recorded("a", "2024-02-10T23:00:00Z", what, "anna: second chiller on hire");
    judged.days[10].aside = Some(Aside::Lost);
    judged.days[11].aside = Some(Aside::Lost);
    let plain = judged.savings(&[]);
    let found = judged.savings(std::slice::from_ref(&event));
    assert!((found.avoided.value - plain.avoided.value - 400.0).abs() < 1e-6, "{}", found.avoided.value);
    // 80 kWh at 90 % over 1.6449.
    assert!((found.parts.adjustments - 48.636).abs() < 1e-3, "{}", found.parts.adjustments);
    assert_eq!(
        (found.adjustments[0].period.0, found.adjustments[0].period.1),
        (date("2024-02-11"), date("2024-02-20"))
    );
    assert!(before.adjustments.is_empty());
}

#[test]
fn days_beyond_what_the_baseline_has_seen_are_named() {
    let mut judged = Reported::new();
    assert!(judged.savings(&[]).beyond.iter().all(|beyond| beyond.drivers.is_empty()));
    judged.days[5].drivers.insert(Driver::WebKm, 300.0);
    let found = judged.savings(&[]).beyond;
    let named = found.iter().find(|beyond| !beyond.drivers.is_empty()).expect("one");
    assert_eq!((named.date, &named.drivers), (date("2024-02-06"), &vec![("web_km".to_owned(), 300.0)]));
    assert!(named.leverage > 1.0);
}

#[test]
fn transformers_that_are_too_large_for_the_new_lamps_have_no_limit_and_are_told_so() {
    let judged = Reported::new();
    let mut plant = config::load(judged.press.path()).expect("a configuration").plant;
    plant.meters[0].circuit =
        Some(Circuit { rated_ma: Some(400_000), phases: 3, ct_class: Some("0.5".into()), has_ct: true });
    let loaded = |days: &[Day], load: Load| -> Vec<Day> {
        let one =
            |day: &Day| Day { loads: [(("p1-main".into(), load, LoadBy::Usual), day.energy)].into(), ..day.clone() };
        days.iter().map(one).collect()
    };
    let before = loaded(&judged.press.days("2023-01-01", "2023-12-31"), Load::From20);
    let of = |load: Load| {
        let boundary = judged.frozen.boundary.clone();
        let reporting = Reporting { plant: &plant, boundary, events: &[], baseline: &before };
        savings(&judged.frozen, &loaded(&judged.days, load), &reporting).expect("a saving")
    };
    let small = of(Load::From1);
    assert_eq!((small.parts.meters, small.metering.alike), (None, false));
    let told = "current transformers of class 0.5 have no limit at a load 1 to 5 % of their primary current: smaller \
                transformers would measure it";
    assert!(
        small.metering.meters[0].remarks.iter().any(|remark| remark == told),
        "{:?}",
        small.metering.meters[0].remarks
    );
    // Class 1 at 1.0 % and class 0.5 at 0.75 and 1.5 %, rectangular, each of its own energy.
    let wider = of(Load::From5);
    let relative = |ct: f64| (1.0 + ct * ct).sqrt() / 3.0_f64.sqrt() / 100.0;
    let expected = ((relative(0.75) * wider.expected).powi(2) + (relative(1.5) * wider.actual).powi(2)).sqrt();
    assert!((wider.parts.meters.expect("stated") / expected - 1.0).abs() < 1e-9);
    assert!(of(Load::From20).metering.alike);
}

#[test]
fn a_small_part_of_the_energy_without_a_limit_is_wholly_unsure_and_a_larger_one_leaves_the_meter_unstated() {
    let judged = Reported::new();
    let mut plant = config::load(judged.press.path()).expect("a configuration").plant;
    plant.meters[0].circuit =
        Some(Circuit { rated_ma: Some(400_000), phases: 3, ct_class: Some("0.5".into()), has_ct: true });
    // So many thousandths of a day's energy where neither class has a limit, the rest where both have theirs.
    let loaded = |days: &[Day], thousandths: i64| -> Vec<Day> {
        let one = |day: &Day| {
            let idle = Energy::from_mwh(day.energy.mwh() * thousandths / 1_000);
            let at = |load, energy| (("p1-main".into(), load, LoadBy::Usual), energy);
            Day { loads: [at(Load::From1, idle), at(Load::From20, day.energy - idle)].into(), ..day.clone() }
        };
        days.iter().map(one).collect()
    };
    let before = loaded(&judged.press.days("2023-01-01", "2023-12-31"), 0);
    let of = |thousandths: i64| {
        let boundary = judged.frozen.boundary.clone();
        let reporting = Reporting { plant: &plant, boundary, events: &[], baseline: &before };
        savings(&judged.frozen, &loaded(&judged.days, thousandths), &reporting).expect("a saving").metering
    };
    // Class 1 at 1.0 % and class 0.5 at 0.75 % over 99.5 % of the energy, 100 % over the rest, rectangular.
    let (small, both) = (of(5), (1.0_f64 + 0.75 * 0.75).sqrt() / 100.0);
    let expected = (0.995 * both + 0.005) / 3.0_f64.sqrt();
    assert!((small.relative.1.expect("stated") / expected - 1.0).abs() < 1e-6, "{small:?}");
    let told = "less than 1 % of its energy was measured where no limit is stated: that is taken as wholly unsure";
    let tells = |found: &Metering| found.meters[0].remarks.iter().filter(|remark| *remark == told).count();
    assert_eq!((tells(&small), tells(&of(0)), tells(&of(11))), (1, 0, 0));
    assert_eq!(of(11).relative.1, None);
}

#[test]
fn other_kinds_of_baseline_are_told_apart() {
    let press = Press::with(&["baseline_daily.csv", "reporting_daily.csv"]);
    let test =
        ["--kind", "lamp-exchange-test", "--days", "2024-02-05,2024-02-06,2024-02-07,2024-02-08,2024-02-09,2024-02-11"];
    let output = press.run(&[["baseline", "fit", "p1", "--drivers", "web_km"].as_slice(), &test].concat());
    let text = String::from_utf8_lossy(&output.stdout);
    assert!(
        text.starts_with(
            "Baseline of press p1, lamp exchange test: arc lamps refitted for some days\n2024-02-05 to 2024-02-11\n"
        ),
        "{text}"
    );
    assert!(text.contains("6 days have seen little of what the press does in a year"), "{text}");
    assert!(text.lines().all(|line| line.chars().count() <= 100), "{text}");
}

#[test]
fn the_table_of_candidates_fits_a_terminal() {
    let press = Press::with(&["baseline_daily.csv"]);
    let output = press.run(&["baseline", "fit", "p1"]);
    let text = String::from_utf8_lossy(&output.stdout);
    assert_eq!(output.status.code(), Some(0), "{text}");
    assert!(text.lines().all(|line| line.chars().count() <= 100), "{text}");
    assert!(text.contains("web_km + ran"), "{text}");
    assert!(text.contains("station_km                        no day counts, and 28 are needed"), "{text}");
}
