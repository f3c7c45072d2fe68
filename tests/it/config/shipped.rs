//! The files that come with the program.

use super::Folder;
use inkwatt::carbon::{Beside, FactorSet, Status};
use inkwatt::config::{EXAMPLE, load, missing};
use inkwatt::units::Decimal;
use std::path::Path;

/// Contains public sector information licensed under the Open Government Licence v3.0: the UK government's conversion
/// factors, sets of 2016 to 2023, copied from the official flat files (2016 to 2018 from CSV conversions of them).
const PUBLISHED: &str = include_str!("../../reference/uk_conversion_factors_electricity_2016_2023.csv");

fn shipped() -> Vec<FactorSet> {
    Folder::sound().load().factors
}

fn british() -> Vec<FactorSet> {
    shipped().into_iter().filter(|set| set.region == "GB").collect()
}

fn of(year: i32) -> FactorSet {
    let first = format!("{year}-01-01");
    british().into_iter().find(|set| set.valid_from.to_string() == first).expect("a set for the year")
}

/// A value of the table, by set year, scope, activity and gas.
fn published(year: i32, scope: &str, activity: &str, gas: &str) -> Decimal {
    let start = format!("{year},{scope},{activity},{gas},");
    let row = PUBLISHED.lines().find(|line| line.starts_with(&start)).expect("a row");
    Decimal::parse(&row[start.len()..]).expect("a number")
}

/// Rounds to as many decimals as the table shows.
fn agrees(ours: Decimal, table: Decimal) -> bool {
    let places = table.to_string().split_once('.').map_or(0, |(_, digits)| digits.len());
    format!("{:.places$}", ours.to_f64()) == table.to_string()
}

#[test]
fn the_example_loads() {
    let loaded = load(Path::new(env!("CARGO_MANIFEST_DIR")));
    let configuration = loaded.unwrap_or_else(|problems| panic!("{problems}"));
    assert_eq!(configuration.plant.presses.len(), 2);
    assert_eq!(configuration.tariffs.len(), 2);
}

#[test]
fn the_example_shows_every_key() {
    // The keys, as the reader lists them when one is not known.
    let places = [
        ("[plant]", "name, zone, currency, grid"),
        ("[board]", "listen, jobs, certificate_file, key_file, behind_tls, token"),
        ("[alerts]", "quiet_from, quiet_to, most_a_day, mqtt, webhook"),
        ("[calendar]", "day_starts, shifts, holidays, shutdowns"),
        ("[[press]]", "id, name, moving_above, stations"),
        ("[[lamps]]", "type, kind, length_mm, w_per_cm, rated_at, bands, assets"),
        ("[[load]]", "id, name, serves, rule, only"),
        ("[[line]]", "id, endpoint, framing, timeout, gateway_timeout, baud, parity, stop_bits"),
        (
            "[[meter]]",
            "id, name, covers, below, fiscal, flow, boundary, max_kw, class, rated_a, phases, ct_class, interval, device, modbus",
        ),
        ("[meter.modbus]", "line, unit, registers, poll"),
        (
            "[mqtt]",
            "host, port, client_id, username, password, password_env, password_file, authority_file, certificate_file, key_file, presence, topic",
        ),
        ("[[mqtt.topic]]", "pattern, is, unit, value, time, meter, metrics"),
        ("[[csv]]", "name, separator, decimal, time, format, clock, readings, jobs"),
        ("[csv.readings]", "interval, stamped, columns"),
        ("[csv.jobs]", "press, length_unit, columns"),
    ];
    for (table, keys) in places {
        let text = EXAMPLE.replacen(&format!("\n{table}\n"), &format!("\n{table}\nqqqqqqqq = 1\n"), 1);
        let told = Folder::sound().with("config/plant.toml", &text).told().join("\n");
        assert!(told.contains(&format!("key \"qqqqqqqq\" is not known\nhelp: known: {keys}")), "{table}: {told}");
        keys.split(", ").for_each(|key| assert!(EXAMPLE.contains(key), "{table}: {key}"));
    }
}

#[test]
fn the_sets_cover_2016_to_2026_without_a_gap() {
    let days: Vec<(String, String)> =
        british().iter().map(|set| (set.valid_from.to_string(), set.valid_to.to_string())).collect();
    let expected: Vec<_> = (2016..=2026).map(|year| (format!("{year}-01-01"), format!("{year}-12-31"))).collect();
    assert_eq!(days, expected);
}

#[test]
fn values_of_2016_to_2023_are_those_of_the_published_table() {
    for year in 2016..=2023 {
        let set = of(year);
        assert!(agrees(set.generation, published(year, "Scope2", "Electricity generated", "CO2e")), "{year}");
        let losses = set.beside(Beside::Losses).expect("losses are published");
        assert!(agrees(losses, published(year, "Scope3", "T&D- UK electricity", "CO2e")), "{year}");
        assert_eq!(set.gases.len(), 3, "{year}");
        for (gas, value) in &set.gases {
            assert!(agrees(*value, published(year, "Scope2", "Electricity generated", gas.word())), "{year} {gas:?}");
        }
    }
}

#[test]
fn gases_of_2016_to_2023_add_up_exactly_as_published() {
    let whole = |value: Decimal| value.scale(100_000_000_000, 1, 1).expect("fits");
    for year in 2016..=2023 {
        let set = of(year);
        let sum: i64 = set.gases.iter().map(|(_, value)| whole(*value)).sum();
        assert_eq!(sum, whole(set.generation), "{year}");
    }
}

/// 1,000,000 kWh under each set, computed from the published factors.
#[test]
fn a_gigawatt_hour_weighs_what_the_sets_say() {
    let kg = |year| of(year).generation.scale(1_000_000, 1, 1);
    assert_eq!([2022, 2023, 2024, 2025, 2026].map(kg), [193_380, 207_074, 207_050, 177_000, 130_960].map(Some));
}

#[test]
fn what_is_not_known_is_absent_and_what_may_change_is_provisional() {
    assert_eq!(of(2026).beside(Beside::Losses), None);
    assert_eq!([2024, 2025, 2026].map(|year| of(year).gases.len()), [0; 3]);
    let provisional: Vec<String> = british()
        .iter()
        .filter(|set| set.status == Status::Provisional)
        .map(|set| format!("{} {}", set.valid_from, set.grade))
        .collect();
    assert_eq!(provisional, ["2025-01-01 B+", "2026-01-01 B"]);
    assert!(british().iter().all(|set| set.licence == "Open Government Licence v3.0"));
    assert!(shipped().iter().all(|set| !set.licence.is_empty() && !set.source.is_empty()));
}

#[test]
fn what_is_missing_for_the_job_is_told() {
    let day = |text: &str| text.parse().expect("a day");
    assert_eq!(
        missing(&Folder::sound().load(), day("2027-03-01")),
        [
            "no meter is fiscal: nothing can be compared with the supplier's bill",
            "press p2 has no meter of its own: drives and dryers are not measured",
            "load fan has no meter: nothing can be charged for it",
            "neither a topic nor a file gives jobs: energy cannot be charged to them",
            "no tariff is in force on 2027-03-01: energy has no cost; see config/tariffs/",
            "no factor set of grid GB is for 2027: energy has no carbon",
        ]
    );
    let other = Folder::sound().edit("grid = \"GB\"", "grid = \"GBR\"").load();
    assert_eq!(
        missing(&other, day("2026-03-01")).last().map(String::as_str),
        Some("no factor set is for grid \"GBR\": energy has no carbon; did you mean \"GB\"?")
    );
}
