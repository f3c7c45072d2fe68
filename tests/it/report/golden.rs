//! A report that people have looked at, kept byte for byte: two days of an invented press, from readings to files, and
//! what came of the promise for its neighbour.
//!
//! Where a change alters it on purpose: `INKWATT_GOLDEN=renew cargo test --release --test it report::golden`, look at
//! tests/reference/golden/report.html as a picture, on screen and printed, and at the difference of the tables, and
//! commit them with the change.

mod origins;
mod savings;

use chrono::NaiveDate;
use inkwatt::attribute::{self, DayFacts, DayFold, DayLedger, DaySums};
use inkwatt::config::{self, Configuration};
use inkwatt::cost::{Interval, Supply};
use inkwatt::found::Found;
use inkwatt::names::{MeterId, PressId, RunId};
use inkwatt::plant::Plant;
use inkwatt::readings::{Above, Finding, Quantity, Reading, Rule, Run, Series, Subject, SupplierBill};
use inkwatt::report::month::view;
use inkwatt::report::{Billed, Facts, MonthInput, Noticed, ReportFile, Text, Versions, render};
use inkwatt::time::{At, HOUR, MINUTE, Month, Period};
use inkwatt::units::{Energy, Money};
use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

const PLANT: &str = include_str!("golden.toml");
const TARIFF: &str = r#"[[tariff]]
name = "Supply 2023-25"
valid_from = 2023-10-01
currency = "GBP"
source = "invented contract 7"
standing_per_day = 1.85
[[tariff.band]]
name = "day"
price = 0.2684
windows = [{ days = "mon-fri", from = "07:00", to = "23:00" }]
[[tariff.band]]
name = "night and weekend"
price = 0.1712
"#;

/// From midnight to some time of the last day of a March, by UTC.
fn clock(last: At, time: &str) -> At {
    let (hours, minutes) = time.split_once(':').expect("hours and minutes");
    let number = |text: &str| text.parse::<i64>().expect("a number");
    last + number(hours) * HOUR + number(minutes) * MINUTE
}

/// Whether an instant lies in one of the spans of the last day.
fn within(last: At, at: At, spans: &[(&str, &str)]) -> bool {
    spans.iter().any(|(from, to)| Period::new(clock(last, from), clock(last, to)).contains(at))
}

/// What is known of the end of a March: registers from an instant on, the web, the jobs.
struct Known {
    days: Vec<Found<DayLedger>>,
    sums: Vec<DaySums>,
    runs: Vec<Run>,
}

/// Watts of each meter: on the last day an arc lamp is struck at 06:55, the web runs, the fan follows.
fn watts(meter: &str, last: At, at: At) -> i64 {
    let prints = within(last, at, &[("7:10", "9:40"), ("10:00", "12:30"), ("14:00", "14:30"), ("22:40", "26:00")]);
    match meter {
        "p1-s1" if prints => 5_400,
        "p1-s1" if within(last, at, &[("6:55", "7:10")]) => 3_900,
        "p1-s1" if within(last, at, &[("7:10", "15:00"), ("22:30", "26:00")]) => 2_010,
        "p1-s1" => 12,
        "p1" => watts("p1-s1", last, at) + if prints { 5_100 } else { 240 },
        "fan" if within(last, at, &[("6:45", "15:30"), ("22:30", "26:00")]) => 1_500,
        "roof" if within(last, at, &[("6:00", "18:00"), ("-18:00", "-6:00")]) => 1_000,
        // The second press stands.
        "p2-s1" => 12,
        "supply" => {
            let drawn: i64 = ["p1", "p2-s1", "fan"].iter().map(|meter| watts(meter, last, at)).sum();
            drawn + 2_000 - watts("roof", last, at)
        }
        _ => 0,
    }
}

/// The readings of a meter between two instants; the main of the press is not read for an hour and a half, one half
/// hour of the supply is missing.
fn readings(plant: &Plant, meter: &str, last: At, period: Period) -> (Series, Vec<Reading>) {
    let meter = plant.meter(&MeterId::from(meter)).expect("a meter");
    let by_interval = meter.native > MINUTE;
    let (mut at, mut mwh, mut since) = (period.start, 0, 0);
    let mut readings = if by_interval { Vec::new() } else { vec![Reading { at, count: 0 }] };
    while at < period.end {
        mwh += watts(meter.id.as_str(), last, at) * 1_000 / 60;
        at = at + MINUTE;
        let silent = match meter.id.as_str() {
            "p1" => within(last, at, &[("10:20", "11:50")]),
            "supply" => within(last, at, &[("16:30", "16:31")]),
            _ => false,
        };
        if at != at.floor(meter.native) {
            continue;
        }
        let scale = meter.device.at(at).expect("a device").mwh_per_count;
        let count = |mwh: i64| mwh * scale.den / scale.num;
        let value = if by_interval { count(mwh - since) } else { count(mwh) };
        since = mwh;
        if !silent {
            readings.push(Reading { at, count: value });
        }
    }
    let quantity = if by_interval { Quantity::IntervalEnergy } else { Quantity::Import };
    (Series::new(Subject::Meter(meter.id.clone()), quantity), readings)
}

fn run(job: &str, product: &str, start: At, end: Option<At>) -> Run {
    Run {
        id: RunId::from(format!("p1-{job}").as_str()),
        press: PressId::from("p1"),
        job: job.into(),
        product: Some(product.into()),
        start,
        ready: None,
        end,
        width_mm: Some(330),
        planned_mm: Some(9_000_000),
        good_mm: Some(8_400_000),
    }
}

/// The month that ends with a last day of March; known from some hours before that day, or the day before as well.
fn month(plant: &Plant, last: &str, hours_before: i64) -> Known {
    let date: NaiveDate = last.parse().expect("a date");
    let last = At::parse(&format!("{last}T00:00:00Z")).expect("an instant");
    let period = Period::new(last - hours_before * HOUR, last + 26 * HOUR);
    let mut facts = DayFacts::default();
    for meter in &plant.meters {
        facts.readings.extend([readings(plant, meter.id.as_str(), last, period)]);
    }
    let moves = [("7:10", "9:40"), ("10:00", "12:30"), ("14:00", "14:30"), ("22:40", "26:00")];
    let minutes = (0..period.millis() / MINUTE).map(|k| period.start + k * MINUTE);
    let speed = |at: At| Reading { at, count: if within(last, at, &moves) { 60_000 } else { 0 } };
    let speed: Vec<Reading> = minutes.map(speed).collect();
    facts.readings.insert(Series::new(Subject::Press(PressId::from("p1")), Quantity::Speed), speed);
    facts.runs = vec![
        run("4711", "jam 340 g", clock(last, "6:50"), Some(clock(last, "9:42"))),
        run("4712", "wine front", clock(last, "9:45"), None),
        run("4713", "=tyre tag", clock(last, "12:40"), Some(clock(last, "13:10"))),
        run("4714", "shampoo <back>", clock(last, "22:30"), Some(clock(last, "25:30"))),
    ];
    let days = Month::parse(&date.format("%Y-%m").to_string()).expect("a month").days();
    let (days, sums) = days
        .map(|day| {
            let found = attribute::day(plant, &facts, day);
            let fold = DayFold::of(plant, &facts);
            let worked = fold.worked_on(plant.zone.day(day));
            let sums = DaySums::of(plant, &found.value, worked, fold.web_on(day));
            (found, sums)
        })
        .unzip();
    Known { days, sums, runs: facts.runs }
}

fn configuration() -> Configuration {
    let folder = tempfile::tempdir().expect("a folder");
    let config = folder.path().join("config");
    fs::create_dir_all(config.join("tariffs")).expect("a folder");
    fs::write(config.join("plant.toml"), PLANT).expect("a file");
    fs::write(config.join("tariffs/supply.toml"), TARIFF).expect("a file");
    fs::write(config.join("promise.toml"), savings::PROMISE).expect("a file");
    config::load(folder.path()).unwrap_or_else(|problems| panic!("{problems}"))
}

fn files() -> Vec<ReportFile> {
    with_input(|input| render(&view(input).expect("a month with data"), &[]).expect("usable templates"))
}

/// Has something made of the month.
fn with_input<R>(then: impl FnOnce(&MonthInput) -> R) -> R {
    let configuration = configuration();
    let plant = &configuration.plant;
    let (now, before) = (month(plant, "2025-03-31", 24), month(plant, "2024-03-31", 0));
    let statements = savings::statements(&configuration);
    let texts = [
        ("config/plant.toml", PLANT),
        ("config/promise.toml", savings::PROMISE),
        ("config/tariffs/supply.toml", TARIFF),
    ];
    let texts = texts.map(|(path, text)| Text { path: path.into(), text: text.into() });
    let facts = Facts { days: &now.days, sums: &now.sums, runs: &now.runs };
    let march = Month { year: 2025, month: 3 };
    let bare = |(period, energy)| Interval { period, energy, lag: None, lead: None };
    let drawn = now.sums.iter().flat_map(|day| day.used(plant.zone)).map(bare).collect();
    let supply = Supply::new(plant, drawn);
    let billed = Billed::of(&supply, &configuration.tariffs, march, &facts, &[supplier_bill()]).expect("a tariff");
    then(&MonthInput {
        plant,
        month: march,
        facts,
        year_before: Some(&before.sums),
        savings: Some(&statements),
        findings: Some(&noticed()),
        billed: Some(&billed),
        closed: Some("closed on 2025-04-08 by anna"),
        issues: &[],
        tariffs: &configuration.tariffs,
        factors: &configuration.factors,
        instruments: &[],
        texts: &texts,
        versions: Versions { program: "0.0.0", rules: 0, zones: "2025b" },
    })
}

/// What the watch found: a station that draws more and goes on, a lamp that was left on and is over, a meter that was silent.
fn noticed() -> Vec<Noticed> {
    let at = |text: &str| At::parse(text).expect("an instant");
    let finding = |rule: Rule, about: &str, since: &str, until: Option<&str>, above: Option<Above>| Finding {
        rule,
        about: about.into(),
        station: about.starts_with("p1/").then(|| about.into()),
        since: at(since),
        is_about: false,
        raised: at(since) + HOUR,
        until: until.map(at),
        above,
        evidence: vec!["This is what was found, with <markup> in it.".into()],
    };
    let above = |half: Option<f64>, ahead: bool| Above {
        watts: 312.4,
        watts_half: half,
        energy: Energy::from_wh(4_200),
        energy_half: half.map(|_| Energy::from_wh(300)),
        cost: Money::from_micros(920_000),
        ahead: ahead.then(|| (Energy::from_wh(31_000), Money::from_micros(7_300_000))),
    };
    let noticed = |finding: Finding, standing, answer: Option<&str>| Noticed {
        id: finding.id(),
        finding,
        standing,
        answer: answer.map(ToOwned::to_owned),
    };
    let higher = finding(Rule::HigherDraw, "p1/s1", "2025-03-10T00:00:00Z", None, Some(above(Some(21.7), true)));
    let left_on =
        finding(Rule::LeftOn, "p1/s2", "2025-03-15T18:00:00Z", Some("2025-03-15T21:30:00Z"), Some(above(None, false)));
    let silent = finding(Rule::Silent, "meter p1", "2025-03-03T08:00:00Z", Some("2025-03-03T09:00:00Z"), None);
    vec![
        noticed(higher, Some("acknowledged"), Some("by anna: the reflector is cleaned on Friday")),
        noticed(left_on, Some("over"), None),
        noticed(silent, None, None),
    ]
}

/// What the supplier billed of the month: more energy than was metered.
fn supplier_bill() -> SupplierBill {
    SupplierBill {
        id: "B-2025-03".into(),
        meter: "supply".into(),
        from: NaiveDate::from_ymd_opt(2025, 3, 1).expect("a date"),
        to: NaiveDate::from_ymd_opt(2025, 3, 31).expect("a date"),
        energy: Energy::from_wh(290_000),
        peak_kw: Some(15_200_000),
        peak_kva: None,
        amount: Money::from_micros(128_500_000),
        estimated: false,
    }
}

fn kept() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference/golden")
}

/// Where two texts part, in a line of each.
fn parting(kept: &[u8], made: &[u8]) -> String {
    let [kept, made] = [kept, made].map(|bytes| String::from_utf8_lossy(bytes).into_owned());
    let pairs = kept.lines().map(Some).chain([None]).zip(made.lines().map(Some).chain([None]));
    let first = pairs.enumerate().find(|(_, (kept, made))| kept != made);
    first.map_or_else(String::new, |(k, (kept, made))| format!("line {}\nkept {kept:?}\nmade {made:?}", k + 1))
}

#[test]
fn the_report_is_the_one_that_was_looked_at() {
    let made = files();
    if std::env::var("INKWATT_GOLDEN").is_ok_and(|wish| wish == "renew") {
        fs::create_dir_all(kept()).expect("a folder");
        made.iter().for_each(|file| fs::write(kept().join(&file.name), &file.bytes).expect("a file"));
    }
    for file in &made {
        let kept = fs::read(kept().join(&file.name)).unwrap_or_else(|error| panic!("{}: {error}", file.name));
        let told = || format!("{} is not as it was kept: {}", file.name, parting(&kept, &file.bytes));
        assert!(kept == file.bytes, "{}\nthe head of this file says how to renew it", told());
    }
    let entries = fs::read_dir(kept()).expect("a folder");
    let names: BTreeSet<String> =
        entries.map(|entry| entry.expect("an entry").file_name().to_string_lossy().into_owned()).collect();
    assert_eq!(names, made.iter().map(|file| file.name.clone()).collect());
}

/// Ids of the savings part of the page, and of the first column of its table. Shared loads, which are in no saving, have a
/// row there alone.
#[test]
fn each_figure_of_the_savings_part_is_a_row_of_its_table_and_each_row_is_on_the_page() {
    let files = files();
    let text = |name: &str| {
        let file = files.iter().find(|file| file.name == name).unwrap_or_else(|| panic!("no {name}"));
        String::from_utf8(file.bytes.clone()).expect("UTF-8")
    };
    let (page, table) = (text("report.html"), text("savings.csv"));
    let ids = page.split("data-id=\"").skip(1).filter_map(|rest| rest.split('"').next());
    let shown: BTreeSet<&str> = ids.filter(|id| id.starts_with("2025-03/savings/")).collect();
    let all = table.lines().skip(1).filter_map(|line| line.split(',').next());
    let rows: BTreeSet<&str> = all.filter(|id| !id.ends_with("/step/shared loads")).collect();
    assert!(shown.contains("2025-03/savings/p2/measured"), "{shown:?}");
    assert_eq!(shown, rows);
}
