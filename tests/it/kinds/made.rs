//! Invented plants: what they draw follows a law over the length of web, with scatter of a fixed seed.

use chrono::{Datelike, NaiveDate};
use serde_json::Value;
use std::f64::consts::TAU;
use std::fs;
use std::process::{Command, Output};
use tempfile::TempDir;

/// What a meter shows in a day.
pub struct Law {
    /// kWh whatever it brings.
    pub day: f64,
    /// kWh for each kilometre.
    pub km: f64,
    /// Standard deviation of what nothing explains, kWh.
    pub scatter: f64,
}

impl Law {
    /// By the law alone.
    pub fn at(&self, km: f64) -> f64 {
        self.day + self.km * km
    }

    /// With the scatter of that day.
    pub fn kwh(&self, seed: u64, date: NaiveDate, km: f64) -> f64 {
        self.at(km) + self.scatter * normal(seed, date)
    }

    /// A row of a press's file.
    pub fn row(&self, seed: u64, date: NaiveDate, km: f64) -> String {
        format!("{date},{km},{:.3}", self.kwh(seed, date, km))
    }
}

/// Twelve numbers evenly spread from 0 to 1 less their mean are normal to a good approximation.
fn normal(seed: u64, date: NaiveDate) -> f64 {
    (0..12).map(|nth| evenly(seed << 8 | nth, date)).sum::<f64>() - 6.0
}

/// From 0 to 1, by the finaliser of SplitMix64 (Steele, Lea and Flood 2014).
fn evenly(seed: u64, date: NaiveDate) -> f64 {
    let day = u64::from(date.num_days_from_ce().unsigned_abs());
    let mut z = (seed << 32 | day).wrapping_mul(0x9e37_79b9_7f4a_7c15);
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    (z ^ (z >> 31)) as f64 / u64::MAX as f64
}

/// Days with their length of web, 10 to 40 km.
pub fn days(first: &str, last: &str) -> impl Iterator<Item = (NaiveDate, f64)> {
    let [first, last]: [NaiveDate; 2] = [first, last].map(|date| date.parse().expect("a date"));
    let km = |date| (10.0 + 30.0 * evenly(99, date)).round();
    first.iter_days().take_while(move |date| *date <= last).map(move |date| (date, km(date)))
}

/// A law over days.
pub fn sum(days: impl Iterator<Item = (NaiveDate, f64)>, of: impl Fn(f64) -> f64) -> f64 {
    days.map(|(_, km)| of(km)).sum()
}

/// The mean of a day outside: from -2 °C in January to 22 °C in July, some degrees either way.
pub fn outdoor(date: NaiveDate) -> f64 {
    let year = 10.0 - 12.0 * (TAU * (f64::from(date.ordinal()) - 15.0) / 365.0).cos();
    ((year + 3.0 * normal(7, date)) * 100.0).round() / 100.0
}

/// Bills by month.
pub fn bills(days: impl Iterator<Item = (NaiveDate, f64)>) -> String {
    let days: Vec<_> = days.collect();
    let month = |date: NaiveDate| format!("{}", date.format("%Y-%m"));
    let same = days.chunk_by(|a, b| month(a.0) == month(b.0));
    let rows = same.map(|days| format!("{},{:.1}\n", month(days[0].0), days.iter().map(|day| day.1).sum::<f64>()));
    std::iter::once("month,kwh\n".to_owned()).chain(rows).collect()
}

/// Ten days of March with the arc lamp; where lamps are entered, its fitting and that of the LED after it.
pub fn exchange(hall: &Folder, [old, new]: &[Law; 2], is_entered: bool) -> Vec<NaiveDate> {
    let test: Vec<NaiveDate> = days("2024-03-05", "2024-03-14").map(|(date, _)| date).collect();
    let law = |date| if test.contains(&date) { old } else { new };
    hall.import("p1", &days("2024-02-01", "2024-06-30").map(|(d, km)| law(d).row(1, d, km)).collect::<Vec<_>>());
    if is_entered {
        for (lamp, since) in [("arc-1", "2024-03-05"), ("led-1", "2024-03-15")] {
            hall.said(&["record", "lamp", "p1/s1", lamp, "--since", since, "--why", "exchange test"]);
        }
    }
    test
}

const HALL: &str = r#"
[plant]
name = "Hall"
zone = "Europe/Berlin"
currency = "EUR"
grid = "DE"
"#;

const CONVERTED: &str = ", implementation = [{ started = 2024-01-01, accepted = 2024-02-01 }]";

/// A press whose main is read once a day.
pub fn press(id: &str, is_converted: bool) -> String {
    let station =
        format!(r#"{{ id = "s1", name = "White", does = "white"{} }}"#, if is_converted { CONVERTED } else { "" });
    one_press(id, &station)
        + &meter(&format!("{id}-main"), &format!(r#"press = "{id}""#), "press-main", "")
        + &file(id, &[("kwh", &format!("{id}-main"))])
}

/// A press whose three lamps are metered; two were converted.
pub fn stations() -> String {
    let station = |id: &str, more: &str| format!(r#"{{ id = "{id}", name = "{id}", does = "ink"{more} }}"#);
    let all = [("s1", CONVERTED), ("s2", CONVERTED), ("s3", "")].map(|(id, more)| station(id, more)).join(", ");
    let lamp = |id: &str| meter(id, &format!(r#"station = "p1/{id}""#), "lamp-supply", "below = \"p1-main\"");
    one_press("p1", &all)
        + &meter("p1-main", r#"press = "p1""#, "press-main", "")
        + &["s1", "s2", "s3"].map(lamp).concat()
        + &file("p1", &[("s1", "s1"), ("s2", "s2"), ("s3", "s3")])
}

/// A press whose only lamp is metered, with an LED entered as fitted to it or none.
pub fn lamp_press(is_entered: bool) -> String {
    let lamp = if is_entered { r#", lamp = "led-1""# } else { "" };
    one_press("p1", &format!(r#"{{ id = "s1", name = "White", does = "white"{CONVERTED}{lamp} }}"#))
        + &meter("p1-s1", r#"station = "p1/s1""#, "lamp-supply", "")
        + &file("p1", &[("kwh", "p1-s1")])
}

pub const LAMPS: &str = r#"
[[lamps]]
type = "arc"
kind = "arc"
length_mm = 400
w_per_cm = 140
rated_at = "mains"
bands = { standby_w = 400, curing_w = 2900, hysteresis_w = 150, dwell = "10s" }
assets = [{ id = "arc-1" }]

[[lamps]]
type = "LED"
kind = "led"
length_mm = 400
w_per_cm = 50
rated_at = "mains"
bands = { standby_w = 60, curing_w = 350, hysteresis_w = 30, dwell = "2s" }
assets = [{ id = "led-1" }]
"#;

pub const WEATHER: &str = r#"
[[csv]]
name = "weather"
time = "Time"
format = "%Y-%m-%d %H:%M"
clock = "utc"
[csv.readings]
columns = [{ column = "Outside", is = "temperature", unit = "C" }]
"#;

fn one_press(id: &str, stations: &str) -> String {
    format!(
        r#"
[[press]]
id = "{id}"
name = "Press {id}"
moving_above = 3
stations = [{stations}]
"#
    )
}

fn meter(id: &str, covers: &str, point: &str, more: &str) -> String {
    format!(
        r#"
[[meter]]
id = "{id}"
covers = {{ {covers} }}
boundary = {{ point = "{point}" }}
max_kw = 150
class = "1"
ct_class = "0.5"
interval = "24h"
device = [{{ serial = "S-{id}" }}]
{more}
"#
    )
}

fn file(press: &str, meters: &[(&str, &str)]) -> String {
    let energy = |(column, meter): &(&str, &str)| {
        format!("    {{ column = \"{column}\", meter = \"{meter}\", is = \"interval-energy\", unit = \"kWh\" }},\n")
    };
    let energies: String = meters.iter().map(energy).collect();
    format!(
        r#"
[[csv]]
name = "{press}"
time = "date"
format = "%Y-%m-%d"
clock = "in-order"
[csv.readings]
interval = "24h"
stamped = "start"
columns = [
    {{ column = "web_km", press = "{press}", is = "interval-length", unit = "km" }},
{energies}]
"#
    )
}

/// A plant folder.
pub struct Folder {
    folder: TempDir,
    columns: String,
}

impl Folder {
    /// Of parts of its configuration.
    pub fn of(parts: &[String]) -> Self {
        let folder = TempDir::new().expect("a folder");
        fs::create_dir(folder.path().join("config")).expect("a folder");
        fs::write(folder.path().join("config/plant.toml"), HALL.to_owned() + &parts.concat()).expect("written");
        let is_by_station = parts.iter().any(|part| part.contains("column = \"s1\""));
        let columns = if is_by_station { "date,web_km,s1,s2,s3" } else { "date,web_km,kwh" };
        Self { folder, columns: columns.into() }
    }

    pub fn file(&self, name: &str, text: &str) {
        fs::write(self.folder.path().join(name), text).expect("written");
    }

    /// Rows of a press's file.
    pub fn import(&self, press: &str, rows: &[String]) {
        self.file("rows.csv", &format!("{}\n{}\n", self.columns, rows.join("\n")));
        self.said(&["import", "readings", "rows.csv", "--mapping", press]);
    }

    /// Four readings a day about its mean.
    pub fn weather(&self, dates: &[NaiveDate]) {
        let row = |date: &NaiveDate| {
            let at = |(hour, more): (u32, f64)| format!("{date} {hour:02}:00,{:.2}\n", outdoor(*date) + more);
            [(3, -4.0), (9, 0.0), (15, 4.0), (20, 0.0)].map(at).concat()
        };
        self.file("weather.csv", &format!("Time,Outside\n{}", dates.iter().map(row).collect::<String>()));
        self.said(&["import", "temperature", "weather.csv"]);
    }

    fn run(&self, arguments: &[&str]) -> Output {
        let mut command = Command::new(env!("CARGO_BIN_EXE_inkwatt"));
        command.current_dir(self.folder.path()).env("USER", "anna").args(arguments).output().expect("it runs")
    }

    /// What a command says that does what it is asked for.
    #[track_caller]
    pub fn said(&self, arguments: &[&str]) -> String {
        let output = self.run(arguments);
        let text = String::from_utf8(output.stdout).expect("text");
        assert_eq!(output.status.code(), Some(0), "{text}{}", String::from_utf8_lossy(&output.stderr));
        text
    }

    /// What a command says that refuses.
    #[track_caller]
    pub fn refused(&self, arguments: &[&str]) -> String {
        let output = self.run(arguments);
        assert_eq!(output.status.code(), Some(2), "{}", String::from_utf8_lossy(&output.stdout));
        String::from_utf8(output.stderr).expect("text")
    }

    #[track_caller]
    pub fn json(&self, arguments: &[&str]) -> Value {
        serde_json::from_str(&self.said(&[arguments, &["--json"]].concat())).expect("JSON")
    }

    #[track_caller]
    pub fn freeze(&self, how: &[&str]) {
        self.said(&[&["baseline", "freeze", "p1", "--why", "nothing better"], how].concat());
    }

    /// The saving of press p1 by `inkwatt verify`, which says what it rests on, in words and by its word, and whose
    /// interval at 90 % covers what was planted and is narrow enough to mean something.
    #[track_caller]
    pub fn tells(&self, kind: &str, words: &str, planted: f64) -> Value {
        let all = self.json(&["verify", "p1"]);
        let found = &all["presses"][0];
        assert_eq!((&found["baseline"], &found["is_measured"]), (&kind.into(), &true.into()), "{all}");
        let avoided = &found["avoided_kwh"];
        let [value, half] = ["value", "half_width_90"].map(|name| avoided[name].as_f64().expect("a number"));
        assert!((value - planted).abs() <= half, "{value} ± {half} for {planted}");
        assert!(half < 0.05 * planted, "{half} of {planted}");
        let told = self.said(&["verify", "p1"]);
        let told = told.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(told.contains(&format!("Baseline: {words}.")), "{told}");
        found.clone()
    }
}

/// What stands between two texts, lines taken as spaces.
pub fn between(text: &str, before: &str, after: &str) -> String {
    let text: String = text.split_whitespace().collect::<Vec<_>>().join(" ");
    let rest = text.split_once(before).unwrap_or_else(|| panic!("{before} is not in {text}")).1;
    rest.split_once(after).unwrap_or_else(|| panic!("{after} is not in {rest}")).0.to_owned()
}
