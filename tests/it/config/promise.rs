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
