//! Claims about import.

use inkwatt::acquire::files::sha256;
use inkwatt::attribute::{self, DayFacts};
use inkwatt::config;
use inkwatt::readings::{Event, Fate, Happening, Quantity, Rank, Reading, Run, Series, Subject};
use inkwatt::store::{Access, Store};
use inkwatt::time::{At, Month, Period, QUARTER, Zone};
use inkwatt::units::{Decimal, Energy};
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use tempfile::TempDir;

/// V E S., Shin C., Cho Y. (2021), Steel Industry Energy Consumption, DOI 10.24432/C52G8C: see
/// `tests/reference/README.md`.
const STEEL: &str = "tests/reference/uci_851_Steel_industry_data.csv";

/// A works in Korea whose supplier writes the end of each quarter hour, midnight with the date of the day it ends.
const WORKS: &str = r#"
[plant]
name = "Works"
zone = "Asia/Seoul"
currency = "KRW"
grid = "KR"

[[press]]
id = "p1"
name = "Press 1"
moving_above = 3
stations = [{ id = "s1", name = "White", does = "white" }]

[[meter]]
id = "supply"
covers = "site"
fiscal = true
boundary = { point = "supply" }
max_kw = 2000
interval = "15min"
device = [{ serial = "S-1" }]

[[csv]]
name = "steel"
time = "date"
format = "%d/%m/%Y %H:%M"
clock = "in-order"
[csv.readings]
interval = "15min"
stamped = "end-old-date"
columns = [
    { column = "Usage_kWh", meter = "supply", is = "interval-energy", unit = "kWh" },
    { column = "Lagging_Current_Reactive.Power_kVarh", meter = "supply", is = "interval-reactive-lag", unit = "kvarh" },
    { column = "Leading_Current_Reactive_Power_kVarh", meter = "supply", is = "interval-reactive-lead", unit = "kvarh" },
]
"#;

/// A hall with two presses, whose files have semicolons and decimal commas.
const HALL: &str = r#"
[plant]
name = "Hall"
zone = "Europe/London"
currency = "GBP"
grid = "GB"

[[press]]
id = "p1"
name = "Press 1"
moving_above = 3
stations = [{ id = "s1", name = "White", does = "white" }]

[[meter]]
id = "supply"
covers = "site"
fiscal = true
boundary = { point = "supply" }
max_kw = 200
interval = "15min"
device = [{ serial = "S-1" }]

[[csv]]
name = "quarters"
separator = ";"
decimal = ","
time = "Time"
format = "%Y-%m-%d %H:%M"
clock = "in-order"
[csv.readings]
interval = "15min"
stamped = "start"
columns = [{ column = "kWh", meter = "supply", is = "interval-energy", unit = "kWh" }]

[[csv]]
name = "weather"
time = "Time"
format = "%Y-%m-%d %H:%M"
clock = "utc"
[csv.readings]
columns = [{ column = "Outside", is = "temperature", unit = "C" }]

[[csv]]
name = "jobs"
time = "Start"
format = "%Y-%m-%d %H:%M"
clock = "in-order"
[csv.jobs]
length_unit = "m"
columns = { press = "Press", job = "Job", end = "End", planned = "Planned" }
"#;

/// A plant folder with this configuration.
pub struct Plant(TempDir);

impl Plant {
    fn new(configuration: &str) -> Self {
        let folder = TempDir::new().expect("a folder");
        fs::create_dir(folder.path().join("config")).expect("a folder");
        fs::write(folder.path().join("config/plant.toml"), configuration).expect("written");
        Self(folder)
    }

    /// Where it is.
    pub fn path(&self) -> &Path {
        self.0.path()
    }

    /// Writes a file of the plant folder.
    pub fn file(&self, name: &str, text: &str) -> PathBuf {
        let path = self.path().join(name);
        fs::write(&path, text).expect("written");
        path
    }

    /// Runs `inkwatt import`; the file names may be those of the plant folder.
    pub fn import(&self, arguments: &[&str]) -> Output {
        let mut command = Command::new(env!("CARGO_BIN_EXE_inkwatt"));
        command.current_dir(self.path()).arg("import").args(arguments).output().expect("it runs")
    }

    /// Its store.
    pub fn store(&self, zone: &str) -> Store {
        Store::open(self.path(), Zone::parse(zone).expect("a zone"), Access::Read).expect("a store")
    }
}

/// What a command printed and how it ended.
fn said(output: &Output) -> (Option<i32>, String, String) {
    let text = |bytes: &[u8]| String::from_utf8(bytes.to_vec()).expect("text");
    (output.status.code(), text(&output.stdout), text(&output.stderr))
}

fn of_supply(quantity: Quantity) -> Series {
    Series::new(Subject::Meter("supply".into()), quantity)
}

fn readings(store: &Store, series: &Series, period: Period) -> Vec<Reading> {
    let found = store.readings(series, period, false).expect("readings");
    assert_eq!(found.issues, []);
    found.value
}

/// A number as printed, in millionths.
fn millionths(text: &str) -> i64 {
    Decimal::parse(text).and_then(|number| number.scale(1_000_000, 1, 1)).expect("a number")
}

fn steel() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(STEEL)
}

/// The works with the open dataset, imported.
pub fn works() -> Plant {
    let works = Plant::new(WORKS);
    let output = works.import(&["readings", steel().to_str().expect("a path")]);
    let done = "35040 lines; 105120 new, 0 same, 0 corrected; 0 lines refused\n";
    assert_eq!(said(&output), (Some(0), format!("{}: {done}", steel().display()), String::new()));
    works
}

/// The values of the quarter hours that end in a month, from its first to its last.
fn month_of(store: &Store, quantity: Quantity, zone: Zone, month: Month) -> Vec<Reading> {
    let Period { start, end } = zone.month(month);
    readings(store, &of_supply(quantity), Period::new(start + 1, end + 1))
}

fn total(readings: &[Reading], to_millionths: i64) -> i64 {
    readings.iter().map(|reading| reading.count).sum::<i64>() * to_millionths
}

#[test]
fn the_open_dataset_is_the_published_file() {
    let hash = sha256(fs::read(steel()).expect("the file").as_slice()).expect("read");
    assert_eq!(hash, "9b1cee6f9cb9cd9df2b95814ca90a9a2ff15b7f5f1fba0fae3c643e82072eacc");
}

#[test]
fn the_open_dataset_imports_whole_and_a_second_time_changes_nothing() {
    let works = works();
    let before = everything(&works);
    assert_eq!(before.iter().map(Vec::len).collect::<Vec<_>>(), [35_040; 3]);
    let output = works.import(&["readings", steel().to_str().expect("a path"), "--mapping", "steel"]);
    let done = "35040 lines; 0 new, 105120 same, 0 corrected; 0 lines refused\n";
    assert_eq!(said(&output), (Some(0), format!("{}: {done}", steel().display()), String::new()));
    assert_eq!(everything(&works), before);

    // The year begins with the quarter hour that ends at 00:15 and ends at midnight, Korean time, without a gap.
    let first = At::parse("2018-01-01T00:15:00+09:00").expect("an instant");
    let expected: Vec<At> = (0..35_040).map(|k| first + k * QUARTER).collect();
    for series in before {
        assert_eq!(series.iter().map(|reading| reading.at).collect::<Vec<_>>(), expected);
    }
}

fn everything(works: &Plant) -> [Vec<Reading>; 3] {
    let store = works.store("Asia/Seoul");
    let all = Period::new(At(0), At(2_000_000_000_000));
    [Quantity::IntervalEnergy, Quantity::IntervalReactiveLag, Quantity::IntervalReactiveLead]
        .map(|quantity| readings(&store, &of_supply(quantity), all))
}

/// Totals of the year, computed with numpy on the dataset: 959,636.71 kWh, 456,759.84 kvarh lagging, 135,638.04 leading.
/// Months 1 to 6: `tests/reference/uci_851_monthly_expected_1_to_6.csv`, computed likewise.
#[test]
fn the_open_dataset_has_its_monthly_energy_peaks_and_reactive_energy() {
    let works = works();
    let store = works.store("Asia/Seoul");
    let zone = Zone::parse("Asia/Seoul").expect("a zone");
    let configuration = config::load(works.path()).unwrap_or_else(|problems| panic!("{problems}"));
    let device = configuration.plant.meters[0].device.at(At(0)).expect("a device").mwh_per_count;
    assert_eq!(device.den, 1);
    let sum = |readings: &[Reading]| total(readings, device.num);
    let [energy, lag, lead] = everything(&works);
    assert_eq!(
        [&energy, &lag, &lead].map(|readings| sum(readings)),
        ["959636.71", "456759.84", "135638.04"].map(millionths)
    );
    // 628.72 kW in the quarter hour before 09:45 on 22 November.
    let peak = energy.iter().max_by_key(|reading| reading.count).expect("a peak");
    assert_eq!(4 * peak.count * device.num, millionths("628.72"));
    assert_eq!(zone.stamp(peak.at), "2018-11-22T09:45:00+09:00");

    let expected = include_str!("../reference/uci_851_monthly_expected_1_to_6.csv");
    for row in expected.lines().skip(1) {
        let cells: Vec<&str> = row.split(',').collect();
        let month = Month { year: 2018, month: cells[0].parse().expect("a month") };
        let [energy, lag, lead] =
            [Quantity::IntervalEnergy, Quantity::IntervalReactiveLag, Quantity::IntervalReactiveLead]
                .map(|quantity| month_of(&store, quantity, zone, month));
        assert_eq!(energy.len(), cells[1].parse::<usize>().expect("a count"));
        assert_eq!([&energy, &lag, &lead].map(|r| sum(r)), [2, 3, 4].map(|k| millionths(cells[k])), "{month}");
        let peak = energy.iter().map(|reading| reading.count).max().expect("a peak");
        assert_eq!(4 * peak * device.num, millionths(cells[7]), "{month}");
        let first = energy.iter().find(|reading| reading.count == peak).expect("the peak");
        let start = zone.local(first.at - QUARTER).format("%Y-%m-%d %H:%M").to_string();
        assert_eq!(start, cells[9], "{month}");
        let apparent = (0..energy.len()).map(|k| {
            let [p, q] = [energy[k].count, lag[k].count.max(lead[k].count)].map(|count| (count * device.num) as f64);
            4.0 * p.hypot(q) / 1e6
        });
        let kva: f64 = cells[5].parse().expect("a number");
        assert!((apparent.fold(0.0, f64::max) - kva).abs() < 1e-5, "{month}");
    }
}

#[test]
fn every_quarter_hour_of_the_open_dataset_is_one_usage_and_their_sum_is_exact() {
    let works = works();
    let store = works.store("Asia/Seoul");
    let plant = config::load(works.path()).unwrap_or_else(|problems| panic!("{problems}")).plant;
    let series = attribute::needs(&plant);
    let year = (1..=12).flat_map(|month| Month { year: 2018, month }.days());
    let (mut count, mut sum, mut owned) = (0, Energy::ZERO, Energy::ZERO);
    for date in year {
        let reach = attribute::reach(&plant, date);
        let known: BTreeMap<Series, Vec<Reading>> = series
            .iter()
            .map(|series| (series.clone(), store.readings(series, reach, true).expect("readings").value))
            .collect();
        let facts = DayFacts { readings: known, runs: Vec::new(), until: None };
        let ledger = attribute::day(&plant, &facts, date).value;
        count += ledger.usage.len();
        sum += ledger.usage.iter().filter_map(|usage| usage.energy).sum();
        owned += ledger.slices.iter().filter_map(|slice| slice.usage.energy).sum();
    }
    assert_eq!((count, sum.to_string(), owned), (35_040, "959636.710000".to_owned(), sum));
}

#[test]
fn refused_lines_are_written_with_their_reasons_and_can_be_put_right() {
    let hall = Plant::new(HALL);
    hall.file(
        "june.csv",
        "Time;kWh\n2025-06-01 00:00;1,5\n2025-06-01 00:15;1.5\n2025-06-01 00:30\n2025-06-01 00:45;2\n",
    );
    let output = hall.import(&["readings", "june.csv", "--mapping", "quarters"]);
    let reason = "kWh: found \"1.5\", expected a decimal number with the decimal sign ,";
    let text = format!(
        "june.csv: 4 lines; 2 new, 0 same, 0 corrected; 2 lines refused\n  line 3: {reason}\n  \
         every refused line with its reason: june.csv.refused.csv\n"
    );
    assert_eq!(said(&output), (Some(1), text, String::new()));

    let refused = fs::read_to_string(hall.path().join("june.csv.refused.csv")).expect("the file");
    let quoted = reason.replace('"', "\"\"");
    assert_eq!(
        refused,
        format!(
            "inkwatt_line;inkwatt_reason;Time;kWh\n3;\"{quoted}\";2025-06-01 00:15;1.5\n\
             4;row: found 1 cell, expected 2, as the header has;2025-06-01 00:30\n"
        )
    );
    // As it is, it is refused again: each line keeps its number and, where the reason is another one now, the first.
    let output = hall.import(&["readings", "june.csv.refused.csv", "--mapping", "quarters"]);
    let again = "june.csv.refused.csv.refused.csv";
    let text = format!(
        "june.csv.refused.csv: 2 lines; 0 new, 0 same, 0 corrected; 2 lines refused\n  line 2: {reason}\n  \
         every refused line with its reason: {again}\n"
    );
    assert_eq!(said(&output), (Some(1), text, String::new()));
    assert_eq!(fs::read_to_string(hall.path().join(again)).expect("the file"), refused);
    hall.file("half.csv", &refused.replace("00:15;1.5", "00:15;1;5"));
    hall.import(&["readings", "half.csv", "--mapping", "quarters"]);
    let half = fs::read_to_string(hall.path().join("half.csv.refused.csv")).expect("the file");
    let both =
        format!("3;\"row: found 3 cells, expected 2, as the header has; at first: {quoted}\";2025-06-01 00:15;1;5\n");
    assert!(half.contains(&both), "{half}");

    let right = refused.replace("00:15;1.5", "00:15;1,5").replace("00:30\n", "00:30;3\n");
    hall.file("june.csv.refused.csv", &right);
    let output = hall.import(&["readings", "june.csv.refused.csv", "--mapping", "quarters"]);
    let text = "june.csv.refused.csv: 2 lines; 2 new, 0 same, 0 corrected; 0 lines refused\n";
    assert_eq!(said(&output), (Some(0), text.to_owned(), String::new()));
}

#[test]
fn the_repeated_hour_is_imported_where_it_is_there_twice_and_refused_where_it_is_there_once() {
    let hall = Plant::new(HALL);
    let rows = |times: &[&str]| {
        let rows: String = times.iter().map(|time| format!("2025-10-26 {time};1\n")).collect();
        format!("Time;kWh\n{rows}")
    };
    let once = ["00:30", "00:45", "01:00", "01:15", "01:30", "01:45", "02:00", "02:15"];
    hall.file("once.csv", &rows(&once));
    let (code, text, _) = said(&hall.import(&["readings", "once.csv", "--mapping", "quarters"]));
    assert_eq!(code, Some(1));
    assert_eq!(
        text,
        "once.csv: 8 lines; 4 new, 0 same, 0 corrected; 4 lines refused\n  line 4: Time: found \"2025-10-26 01:00\", \
         expected a time that can be told apart: it is 01:00+01:00 or 01:00+00:00, and neither the order nor the \
         number of the rows around it says which\n  every refused line with its reason: once.csv.refused.csv\n"
    );

    let twice: Vec<&str> = once[..6].iter().chain(&once[2..]).copied().collect();
    hall.file("twice.csv", &rows(&twice));
    let (code, text, _) = said(&hall.import(&["readings", "twice.csv", "--mapping", "quarters"]));
    let done = "twice.csv: 12 lines; 8 new, 4 same, 0 corrected; 0 lines refused\n";
    assert_eq!((code, text.as_str()), (Some(0), done));
    let store = hall.store("Europe/London");
    let day = store.readings(&of_supply(Quantity::IntervalEnergy), Period::new(At(0), At(2_000_000_000_000)), false);
    let ends: Vec<At> = day.expect("readings").value.iter().map(|reading| reading.at).collect();
    let first = At::parse("2025-10-25T23:45:00Z").expect("an instant");
    assert_eq!(ends, (0..12).map(|k| first + k * QUARTER).collect::<Vec<_>>());
}

#[test]
fn jobs_are_imported_once_corrected_by_a_later_file_and_take_the_place_of_live_runs() {
    let hall = Plant::new(HALL);
    let at = |text| At::parse(text).expect("an instant");
    let run = Run {
        id: "p1/4711/1".into(),
        press: "p1".into(),
        job: "4711".into(),
        product: None,
        start: at("2025-06-02T05:03:00Z"),
        ready: None,
        end: None,
        width_mm: None,
        planned_mm: None,
        good_mm: None,
    };
    let live = Event {
        id: run.id.to_string(),
        at: run.start,
        rank: Rank::Live,
        revision: 0,
        what: Happening::Run(run.clone()),
        note: None,
    };
    let zone = Zone::parse("Europe/London").expect("a zone");
    let mut store = Store::open(hall.path(), zone, Access::Command).expect("a store");
    store.commit("mqtt", Rank::Live, &[], &[live], None).expect("committed");

    let header = "Press,Job,Start,End,Planned";
    let row = |job, start, end| format!("p1,{job},2025-06-02 {start},2025-06-02 {end},1500.5\n");
    let text = format!("{header}\n{}{}", row("4711", "06:00", "08:00"), row("4712", "08:10", "09:00"));
    hall.file("jobs.csv", &text);
    let counts = |output: &Output| said(output).1;
    let first = "jobs.csv: 2 lines; 1 new, 0 same, 1 corrected; 0 lines refused\n";
    assert_eq!(counts(&hall.import(&["jobs", "jobs.csv"])), first);
    let again = "jobs.csv: 2 lines; 0 new, 2 same, 0 corrected; 0 lines refused\n";
    assert_eq!(counts(&hall.import(&["jobs", "jobs.csv"])), again);
    hall.file("later.csv", &text.replace("09:00", "09:30"));
    let later = "later.csv: 2 lines; 0 new, 1 same, 1 corrected; 0 lines refused\n";
    assert_eq!(counts(&hall.import(&["jobs", "later.csv"])), later);

    let known = store.events().expect("events").value;
    let mut runs: Vec<Run> = known
        .into_iter()
        .filter_map(|event| match event.what {
            Happening::Run(run) => Some(run),
            _ => None,
        })
        .collect();
    runs.sort_by_key(|run| run.start);
    let imported = |id: &str, job: &str, start, end| Run {
        id: id.into(),
        job: job.into(),
        start: at(start),
        end: Some(at(end)),
        planned_mm: Some(1_500_500),
        ..run.clone()
    };
    assert_eq!(
        runs,
        [
            imported("p1/4711/1", "4711", "2025-06-02T05:00:00Z", "2025-06-02T07:00:00Z"),
            imported("p1/4712/1", "4712", "2025-06-02T07:10:00Z", "2025-06-02T08:30:00Z"),
        ]
    );
}

#[test]
fn the_temperature_outside_is_imported_as_the_sites() {
    let hall = Plant::new(HALL);
    hall.file("weather.csv", "Time,Outside\n2025-06-01 00:00,11.25\n2025-06-01 01:00,\n2025-06-01 02:00,-0.5\n");
    let output = hall.import(&["temperature", "weather.csv"]);
    let text = "weather.csv: 3 lines; 2 new, 0 same, 0 corrected; 0 lines refused\n";
    assert_eq!(said(&output), (Some(0), text.to_owned(), String::new()));
    let outside = Series::new(Subject::Site, Quantity::Temperature);
    let all = Period::new(At(0), At(2_000_000_000_000));
    let counts: Vec<i64> = readings(&hall.store("Europe/London"), &outside, all).iter().map(|r| r.count).collect();
    assert_eq!(counts, [11_250, -500]);
}

/// As a spreadsheet with decimal commas writes it. A later file about the same certificate takes the place of the former.
#[test]
fn certificates_are_imported_and_their_cancellation_follows() {
    let hall = Plant::new(HALL);
    let header = "id;mwh;from;to;market;source;fate;cancelled_on;beneficiary;bundled\n";
    let held = "G-1;400,5;2025-01-01;2025-12-31;GB;wind;held;;;no\n";
    let wrong = "G-2;1.400,5;2025-01-01;2025-12-31;GB;wind;held;;;\nG-3;1;2025-12-31;2025-01-01;GB;wind;held;;;\n\
                 G-4;1;2025-01-01;2025-12-31;GB;wind;retired;;;\nG-5;1;2025-01-01;2025-12-31;GB;wind;cancelled;;;\n\
                 G-6;1;2025-01-01;2025-12-31;;wind;held;;;\nG-7;0;2025-01-01;2025-12-31;GB;wind;held;;;maybe\n";
    hall.file("a.csv", &format!("{header}{held}{wrong}"));
    let (code, told, _) = said(&hall.import(&["certificates", "a.csv"]));
    assert!(
        told.starts_with(
            "a.csv: 7 lines; 1 new, 0 same, 0 corrected; 6 lines refused\n  line 3: mwh: found \"1.400,5\""
        ),
        "{told}"
    );
    assert_eq!(code, Some(1));
    let refused = fs::read_to_string(hall.path().join("a.csv.refused.csv")).expect("a file");
    let reasons = [
        "expected MWh above 0 with the decimal sign ,",
        "to: found \"2025-01-01\", expected a day from 2025-12-31 on",
        "fate: found \"retired\", expected cancelled, held or sold",
        "cancelled_on: found \"\", expected the day of cancellation",
        "market: found \"\", expected a text",
        "mwh: found \"0\", expected MWh above 0",
    ];
    for reason in reasons {
        assert!(refused.replace("\"\"", "\"").contains(reason), "{reason} in {refused}");
    }
    hall.file(
        "b.csv",
        &format!("{header}G-1;400,5;2025-01-01;2025-12-31;GB;wind;cancelled;2026-02-03;Quillhaven Labels;no\n"),
    );
    let told = said(&hall.import(&["certificates", "b.csv"])).1;
    assert_eq!(told, "b.csv: 1 line; 0 new, 0 same, 1 corrected; 0 lines refused\n");
    let told = said(&hall.import(&["certificates", "b.csv"])).1;
    assert_eq!(told, "b.csv: 1 line; 0 new, 1 same, 0 corrected; 0 lines refused\n");
    let events = hall.store("Europe/London").events().expect("events");
    let [event] = &events.value[..] else { panic!("one certificate: {events:?}") };
    let Happening::Instrument(one) = &event.what else { panic!("a certificate: {event:?}") };
    assert_eq!((one.energy.mwh(), one.bundled), (400_500_000_000, Some(false)));
    assert!(matches!(&one.fate, Fate::Cancelled { beneficiary, .. } if beneficiary == "Quillhaven Labels"));
    hall.file("c.csv", "id,mwh,from,to,market,source,state\n");
    let error = said(&hall.import(&["certificates", "c.csv"])).2;
    assert!(error.contains("header: found \"state\", expected columns of these names: id, mwh"), "{error}");
}

#[test]
fn what_cannot_be_imported_at_all_says_why() {
    let hall = Plant::new(HALL);
    hall.file("june.csv", "Time,kWh\n2025-06-01 00:00,1.5\n");
    hall.file("empty.csv", "");
    let cases: [(&[&str], i32, &str); 5] = [
        (
            &["readings", "empty.csv", "--mapping", "quarters"],
            2,
            "error: empty.csv: the file is empty; expected a header row that names its columns\n",
        ),
        (&["readings", "june.csv"], 2, "error: several mappings fit: say --mapping with one of quarters, weather\n"),
        (
            &["jobs", "june.csv", "--mapping", "quarters"],
            2,
            "error: no mapping \"quarters\" for jobs; config/plant.toml has: jobs\n",
        ),
        (
            &["readings", "june.csv", "--mapping", "quarters"],
            2,
            "error: june.csv: header: found \"Time,kWh\", expected a column \"kWh\"; the mapping says that ';' \
             parts the columns\n",
        ),
        (
            &["readings", "absent.csv", "--mapping", "quarters"],
            2,
            "error: absent.csv: there is no such file\n\
             help: its path is taken from the folder in which inkwatt is started, not from the plant folder\n",
        ),
    ];
    for (arguments, code, text) in cases {
        assert_eq!(said(&hall.import(arguments)), (Some(code), String::new(), text.to_owned()), "{arguments:?}");
    }
    hall.file("header.csv", "Time;kWh\n");
    let told = "header.csv: a header and no line below it; there is nothing to take in\n";
    let output = hall.import(&["readings", "header.csv", "--mapping", "quarters"]);
    assert_eq!(said(&output), (Some(0), told.to_owned(), String::new()));
    // A file where the folder of the store should be.
    let broken = Plant::new(HALL);
    broken.file("june.csv", "Time;kWh\n");
    broken.file("store", "");
    assert_eq!(said(&broken.import(&["readings", "june.csv", "--mapping", "quarters"])).0, Some(3));
}

#[test]
fn lines_that_contradict_what_was_imported_are_named_with_both_values() {
    let hall = Plant::new(HALL);
    hall.file("june.csv", "Time;kWh\n2025-06-01 00:00;1,5\n2025-06-01 00:15;2\n");
    hall.file("again.csv", "Time;kWh\n2025-06-01 00:00;1,5\n2025-06-01 00:15;2,5\n");
    assert_eq!(said(&hall.import(&["readings", "june.csv", "--mapping", "quarters"])).0, Some(0));
    let (code, text, _) = said(&hall.import(&["readings", "again.csv", "--mapping", "quarters"]));
    assert_eq!(code, Some(1), "{text}");
    assert_eq!(
        text,
        "again.csv: 2 lines; 0 new, 1 same, 0 corrected; 0 lines refused\n  \
         1 contradiction of what was imported before: neither value is used until `inkwatt record correction` says which \
         is right\n    \
         line 3: interval-energy of meter supply at 2025-06-01T00:30:00+01:00: 2 kWh or 2.5 kWh\n"
    );
}

#[test]
fn counts_are_told_as_json() {
    let hall = Plant::new(HALL);
    hall.file("june.csv", "Time;kWh\n2025-06-01 00:00;1,5\n2025-06-01 00:15;?\n");
    let output = hall.import(&["readings", "june.csv", "--mapping", "quarters", "--json"]);
    let (code, text, _) = said(&output);
    assert_eq!(code, Some(1));
    let told: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    assert_eq!(
        told,
        serde_json::json!({ "files": [{
            "file": "june.csv", "mapping": "quarters", "lines": 2, "new": 1, "same": 0, "corrected": 0, "kept": 0,
            "contested": 0, "contradictions": [], "refused": 1,
            "first_refusal": "line 3: kWh: found \"?\", expected a decimal number with the decimal sign ,",
            "refused_file": "june.csv.refused.csv"
        }] })
    );
}
