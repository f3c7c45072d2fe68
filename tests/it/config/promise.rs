//! `promise.toml`.

use super::Folder;
use inkwatt::config::{EXAMPLE, PROMISE_EXAMPLE, load};
use inkwatt::plant::RatedAt;
use inkwatt::verify;
use std::path::Path;

const SOUND: &str = include_str!("promise.toml");

fn with(text: &str) -> Folder {
    Folder::sound().with("config/promise.toml", text)
}

/// What is told about the sound promise with one place changed.
fn told(from: &str, to: &str) -> Vec<String> {
    assert_eq!(SOUND.matches(from).count(), 1, "{from:?} must stand in the promise once");
    with(&SOUND.replace(from, to)).told()
}

#[test]
fn the_example_loads_and_agrees_with_itself() {
    let configuration = load(Path::new(env!("CARGO_MANIFEST_DIR"))).unwrap_or_else(|problems| panic!("{problems}"));
    let promise = configuration.promise.expect("the example");
    assert_eq!(verify::check(&promise, &configuration.plant), Vec::<String>::new());
    assert!(promise.heat.is_some() && promise.contract.is_some());
    assert!(PROMISE_EXAMPLE.starts_with("# The promise"));
}

#[test]
fn the_example_shows_every_key() {
    // The keys, as the reader lists them when one is not known.
    let places = [
        ("title", "title, dated, price, grid_kg, investment, declared, group, shared, stated, contract, heat"),
        ("[[declared]]", "name, money"),
        ("[[group]]", "press, stations, length_mm, old, new, lit, hours, kwh"),
        ("[group.old]", "w_per_cm, rated_at, supply_factor, level, standby_share, off_w, power_factor"),
        ("[[shared]]", "load, before_kwh, after_kwh"),
        ("[stated]", "kwh, money, co2e_kg, kva, payback_years"),
        ("[contract]", "basis, guaranteed_kwh, deemed_hours, floor_price, share, cap, signs, dates"),
        (
            "[heat]",
            "heating_months, cooling_months, old_ducted_out, new_ducted_out, heating_efficiency, cooling_cop, make_up_air",
        ),
    ];
    for (table, keys) in places {
        let unknown = if table == "title" { "qqqqqqqq = 1\ntitle".into() } else { format!("{table}\nqqqqqqqq = 1") };
        let text = PROMISE_EXAMPLE.replacen(&format!("\n{table}"), &format!("\n{unknown}"), 1);
        let told = with(&text).with("config/plant.toml", EXAMPLE).told().join("\n");
        assert!(told.contains(&format!("key \"qqqqqqqq\" is not known\nhelp: known: {keys}")), "{table}: {told}");
        keys.split(", ").for_each(|key| assert!(PROMISE_EXAMPLE.contains(key), "{table}: {key}"));
    }
}

#[test]
fn a_plant_without_a_promise_has_none() {
    assert_eq!(Folder::sound().load().promise, None);
}

#[test]
fn a_promise_is_read_as_written() {
    let promise = with(SOUND).load().promise.expect("a promise");
    let group = &promise.groups[0];
    assert_eq!(group.stations.iter().map(|id| id.as_str()).collect::<Vec<_>>(), ["p1/s1", "p1/s2"]);
    assert_eq!((group.length_cm, group.lit, group.hours.standby), (43.0, 1.6, 700.0));
    assert_eq!((group.old.rated_at, group.old.supply_factor, group.old.off_w), (RatedAt::Mains, 1.0, 0.0));
    assert_eq!((promise.grid_kg, promise.stated.kwh, promise.stated.money), (None, Some(15_100.0), None));
    assert_eq!(promise.declared, [("inks".to_string(), -600.0)]);
    let dates: Vec<String> = promise.contract.iter().flat_map(|c| &c.dates).map(ToString::to_string).collect();
    assert_eq!(dates, ["2026-09-01", "2027-03-01"]);
}

#[test]
fn everything_wrong_is_told_at_once() {
    let spoiled = SOUND
        .replace("press = \"p1\"", "press = \"p7\"")
        .replace("level = 0.8", "level = 80")
        .replace("standby = 700", "standby = -1")
        .replace("load = \"fan\"", "load = \"fann\"")
        .replace("kwh = 15100", "kwhs = 15100");
    assert_eq!(
        with(&spoiled).told(),
        [
            "config/promise.toml:10:9: group \"p7\": press \"p7\" is not known\nhelp: known: p1, p2",
            "config/promise.toml:14:51: group \"p7\": standby must be 0 to 100000 hours a year, found -1",
            "config/promise.toml:15:53: group \"p7\": old: level must be greater than 0 and at most 2, where 1 is full, \
             found 80",
            "config/promise.toml:19:8: shared \"fann\": load \"fann\" is not known\nhelp: did you mean \"fan\"?",
            "config/promise.toml:24:1: stated: key \"kwhs\" is not known\nhelp: did you mean \"kwh\"?",
        ]
    );
}

#[test]
fn stations_are_those_of_the_press_and_are_converted_once() {
    assert_eq!(
        told("[\"s1\", \"s2\"]", "[\"s1\", \"s9\"]"),
        ["config/promise.toml:11:19: group \"p1\": station \"s9\" of press \"p1\" is not known\nhelp: known: s1, s2"]
    );
    assert_eq!(
        told("[\"s1\", \"s2\"]", "[\"s1\", \"s1\"]"),
        ["config/promise.toml:11:19: group \"p1\": stations must not name \"s1\" again: a station is converted once"]
    );
    assert_eq!(
        told("[\"s1\", \"s2\"]", "[]"),
        ["config/promise.toml:11:12: group \"p1\": stations must name a station"]
    );
}

#[test]
fn what_contradicts_itself_is_refused_with_the_remedy() {
    assert_eq!(
        told("w_per_cm = 66, rated_at = \"mains\"", "w_per_cm = 66, rated_at = \"mains\", supply_factor = 1.1"),
        [
            "config/promise.toml:16:60: group \"p1\": new: a rating at the mains has no supply_factor: the losses are in it\n\
             help: leave supply_factor out, or write rated_at = \"lamp\""
        ]
    );
    assert_eq!(
        told("basis = \"actual\"", "basis = \"deemed\""),
        ["config/promise.toml:27:9: contract: deemed_hours is missing\n\
             help: with basis = \"deemed\" write the curing hours a year that the contract deems worked"]
    );
    assert_eq!(
        told("guaranteed_kwh = 10500", "guaranteed_kwh = 10500\ndeemed_hours = 1600"),
        ["config/promise.toml:29:16: contract: deemed_hours has no meaning with basis = \"actual\""]
    );
}

#[test]
fn a_promise_without_groups_or_hours_is_told_what_is_missing() {
    assert_eq!(
        with("title = \"x\"\ndated = 2025-09-15\nprice = 0.2\n").told(),
        ["config/promise.toml:1:1: there is no [[group]]\nhelp: a group holds the stations of one press that are \
             converted alike"]
    );
    assert_eq!(told("curing = 1600, ", ""), ["config/promise.toml:14:9: group \"p1\": curing is missing"]);
}

/// 2 x 43 cm: old 7,568 W x 0.8 x 1.6 x 1,600 h + 0.3 x 7,568 W x 2 x 700 h = 18,677.8 kWh, new 6,578.5 kWh, and the fan.
/// By the plant file both stations have arc lamps at first and both are in the group.
#[test]
fn a_fan_that_serves_no_other_arc_lamp_may_save() {
    let configuration = with(SOUND).load();
    let promise = configuration.promise.expect("a promise");
    assert_eq!(verify::check(&promise, &configuration.plant), Vec::<String>::new());
}

#[test]
fn a_fan_that_still_serves_an_arc_lamp_is_asked_about() {
    let configuration = with(&SOUND.replace("[\"s1\", \"s2\"]", "[\"s1\"]").replace("lit = 1.6", "lit = 1"))
        .edit("rule = \"lamp-time\"", "rule = \"lamp-time\"\nonly = \"arc\"")
        .load();
    let promise = configuration.promise.expect("a promise");
    let remarks = verify::check(&promise, &configuration.plant);
    assert_eq!(
        remarks[0],
        "load fan is to save 3,000 kWh a year; by the promise's own groups it still serves the arc lamps of p1/s2: ask \
         the supplier how a fan that must run for them saves anything"
    );
}

/// Common practice, no source: eight lamps of 40.64 cm, 140 against 53 W/cm, all lit at full level for 4,000 h a year come to
/// 113.1 MWh, and 0.05 a kWh on that to 5,657. A promise writes whole millimetres: 8 x 40.6 x 87 x 4,000 = 113,030 kWh.
const RATINGS_ALONE: &str = r#"
title = "Ratings alone"
dated = 2025-09-15
price = 0.05

[[group]]
press = "p1"
stations = ["s1", "s2", "s3", "s4", "s5", "s6", "s7", "s8"]
length_mm = 406
lit = 8
hours = { manned = 4000, curing = 4000, standby = 0 }
old = { w_per_cm = 140, rated_at = "mains", level = 1, power_factor = 0.9 }
new = { w_per_cm = 53, rated_at = "mains", level = 1, off_w = 0, power_factor = 0.95 }
kwh = 113100

[stated]
kwh = 113100
money = 5657
kva = 32
"#;

#[test]
fn the_arithmetic_of_the_trade_agrees_with_itself_and_is_asked_about_its_hours() {
    let stations: Vec<String> =
        (1..=8).map(|k| format!("{{ id = \"s{k}\", name = \"S{k}\", does = \"ink\" }}")).collect();
    let plant = format!(
        "[plant]\nname = \"Hall\"\nzone = \"Europe/Berlin\"\ncurrency = \"EUR\"\ngrid = \"DE\"\n[[press]]\nid = \"p1\"\nname = \"Press \
         1\"\nmoving_above = 3\nstations = [{}]\n",
        stations.join(", ")
    );
    let remarks = |promise: &str| {
        let configuration = with(promise).with("config/plant.toml", &plant).load();
        verify::check(&configuration.promise.expect("a promise"), &configuration.plant)
    };
    let hours =
        |remark: &String| remark.contains("4,000 of 4,000 manned hours, 100 %") || remark.contains("draw nothing");
    let found = remarks(RATINGS_ALONE);
    assert!(found.len() == 2 && found.iter().all(hours), "{found:#?}");
    // At 1,600 of the 4,000 h the same figure is recognised as the upper bound.
    let found = remarks(&RATINGS_ALONE.replace("curing = 4000", "curing = 1600"));
    let bound = "which is every station lit at full level in all manned hours";
    assert!(found.iter().any(|remark| remark.contains(bound) && remark.contains("45,212 kWh a year")), "{found:#?}");
    // Money, apparent power and the saving are held against it one by one.
    for (stated, other, told) in [
        ("money = 5657", "money = 6000", "113,100 kWh at 0.050 give 5,655"),
        ("kva = 32", "kva = 50", "their power factors give 32"),
        ("kwh = 113100\n\n", "kwh = 150000\n\n", "give 113,030 kWh a year"),
    ] {
        assert_eq!(RATINGS_ALONE.matches(stated).count(), 1, "{stated}");
        let found = remarks(&RATINGS_ALONE.replace(stated, other));
        assert!(found.iter().any(|remark| remark.contains(told)), "{told}: {found:#?}");
    }
}
