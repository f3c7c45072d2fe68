//! What each kind of baseline refuses, with what to do about it.

use super::made::{self, Folder, days};
use super::{LAMP, MAIN};

const FIT: [&str; 5] = ["baseline", "fit", "p1", "--drivers", "web_km"];

#[track_caller]
fn refused(hall: &Folder, how: &[&str]) -> String {
    hall.refused(&[&FIT, how].concat())
}

fn old_lamps(hall: &Folder, press: &str, first: &str, last: &str) {
    hall.import(press, &days(first, last).map(|(date, km)| MAIN[0].row(1, date, km)).collect::<Vec<_>>());
}

#[test]
fn a_sister_press_must_be_another_one_that_keeps_its_lamps() {
    let hall = Folder::of(&[made::press("p1", true), made::press("p2", true)]);
    old_lamps(&hall, "p2", "2023-06-01", "2024-04-30");
    let of = |other: &'static str| ["--kind", "sister-press", "--other", other];
    assert_eq!(refused(&hall, &of("p9")), "error: press \"p9\" is not known\nhelp: known: p1, p2\n");
    assert_eq!(refused(&hall, &of("p1")), "error: p1 is judged itself and does not keep its old lamps; name another\n");
    assert_eq!(
        refused(&hall, &[&of("p2")[..], &["--to", "2024-03-31"]].concat()),
        "error: the baseline from 2023-06-01 to 2024-03-31 reaches into the conversion, which began on 2024-01-01; end \
         it before that day\n"
    );
    // Up to its conversion it is as good as one that was never converted.
    let told = hall.said(&[&FIT[..], &of("p2")].concat());
    assert!(told.contains("2023-06-01 to 2023-12-31"), "{told}");
}

#[test]
fn a_retained_station_needs_meters_of_the_lamps_that_it_stands_for() {
    let hall = Folder::of(&[made::stations()]);
    hall.import("p1", &["2024-02-01,25,40,40,95".into()]);
    let of = |other: &'static str| ["--kind", "retained-station", "--other", other];
    assert_eq!(
        refused(&hall, &of("p1/s9")),
        "error: station \"p1/s9\" is not known\nhelp: known: p1/s1, p1/s2, p1/s3\n"
    );
    assert_eq!(
        refused(&hall, &of("p1/s1")),
        "error: p1/s1 is judged itself and does not keep its old lamps; name another\n"
    );
    let by_main = Folder::of(&[made::press("p1", true), made::press("p2", false)]);
    old_lamps(&by_main, "p2", "2024-02-01", "2024-02-02");
    assert_eq!(
        refused(&by_main, &of("p2/s1")),
        "error: press p1 has no meter of its own for each converted station, and its main measures more than lamps; meter \
         the lamp supplies, or name another baseline\n"
    );
}

#[test]
fn bills_say_which_line_is_wrong_and_which_month_stands_twice() {
    let hall = Folder::of(&[made::press("p1", true)]);
    old_lamps(&hall, "p1", "2024-02-01", "2024-02-02");
    assert_eq!(refused(&hall, &["--kind", "billed"]), "error: --bills is missing: a CSV file with month and kwh\n");
    let bills = |text: &str| {
        hall.file("bills.csv", text);
        refused(&hall, &["--kind", "billed", "--bills", "bills.csv"])
    };
    assert_eq!(
        bills("month,kwh\n2023-01,812.5\n2023-13,790\n"),
        "error: bills.csv, line 3: expected a month such as 2025-01 and its kWh, found \"2023-13,790\"\n"
    );
    assert_eq!(
        bills("month,kwh\n2023-01,812.5\n2023-02,790\n2023-01,812.5\n"),
        "error: bills.csv, line 4: 2023-01 stands twice; add up what was billed in a month\n"
    );
    assert_eq!(
        bills("month,kwh\n"),
        "error: bills.csv has no month before the conversion, which began on 2024-01-01\n"
    );
}

#[test]
fn a_lamp_exchange_test_is_of_days_on_which_no_new_lamp_was_fitted() {
    let hall = Folder::of(&[made::lamp_press(true), made::LAMPS.into()]);
    made::exchange(&hall, &LAMP, true);
    let of = |dates: &'static str| ["--kind", "lamp-exchange-test", "--days", dates];
    assert_eq!(
        refused(&hall, &["--kind", "lamp-exchange-test"]),
        "error: --days is missing: on which days arc lamps were fitted again\n"
    );
    assert_eq!(refused(&hall, &of("2024-03-05,2024-03-06")), "error: 2 days count, and 5 are needed\n");
    assert_eq!(
        refused(&hall, &of("2024-03-13,2024-03-14,2024-03-15,2024-03-16,2024-03-17,2024-03-18")),
        "error: on 2024-03-15 LED lamp led-1 was fitted to station p1/s1\nhelp: leave the day out, or record when the arc \
         lamp was fitted: inkwatt record lamp --help\n"
    );
}

#[test]
fn a_temperature_that_nobody_imported_explains_nothing() {
    let hall = Folder::of(&[made::press("p1", true), made::WEATHER.into()]);
    old_lamps(&hall, "p1", "2023-01-01", "2023-12-31");
    assert_eq!(
        hall.refused(&["baseline", "fit", "p1", "--drivers", "web_km,outdoor_c"]),
        "error: outdoor_c is not known on enough days, or the energy does not depend on it\nhelp: inkwatt import \
         temperature\n"
    );
}

#[test]
fn a_press_that_was_never_metered_before_is_told_of_the_other_kinds() {
    let hall = Folder::of(&[made::press("p1", true)]);
    old_lamps(&hall, "p1", "2024-02-01", "2024-04-30");
    assert_eq!(
        refused(&hall, &[]),
        "error: there is no energy of press p1 from before its conversion, which began on 2024-01-01; import its history, \
         or take another kind of baseline: lamp-exchange-test, sister-press, retained-station, billed or rated\n"
    );
}
