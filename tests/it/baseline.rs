//! Claims about baselines and savings, on the synthetic press of `tests/reference/mv_synthetic`.

use chrono::NaiveDate;
use inkwatt::agent::{self, Books};
use inkwatt::config;
use inkwatt::store::{Access, Store};
use inkwatt::time::At;
use inkwatt::verify::{Day, Driver, Scope};
use std::fs;
use std::path::Path;
use std::process::{Command, Output};
use tempfile::TempDir;

const REFERENCE: &str = "tests/reference/mv_synthetic";

/// The synthetic press: a press main that is read once a day, converted in January 2024.
const PRESS: &str = r#"
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
struct Press(TempDir);

impl Press {
    /// With these files of the reference imported by the program itself.
    fn with(files: &[&str]) -> Self {
        let folder = TempDir::new().expect("a folder");
        fs::create_dir(folder.path().join("config")).expect("a folder");
        fs::write(folder.path().join("config/plant.toml"), PRESS).expect("written");
        let press = Self(folder);
        for file in files {
            let file = Path::new(env!("CARGO_MANIFEST_DIR")).join(REFERENCE).join(file);
            let refused = press.path().display().to_string();
            let file = file.display().to_string();
            let output = press.run(&["import", "readings", &file, "--refused", &refused]);
            assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
        }
        press
    }

    fn path(&self) -> &Path {
        self.0.path()
    }

    fn run(&self, arguments: &[&str]) -> Output {
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
