//! Kinds of baseline and the temperature outside, each on an invented plant whose truth is known by construction: from the
//! import of its files through freezing to what is told of the saving.

mod bad_cases;
mod made;

use made::{Folder, Law, days, sum};

/// The press main by web length: 200 kWh a day and 20 for each kilometre, then 120 and 8.
const MAIN: [Law; 2] = [Law { day: 200.0, km: 20.0, scatter: 15.0 }, Law { day: 120.0, km: 8.0, scatter: 15.0 }];
/// A lamp supply by web length.
const LAMP: [Law; 2] = [Law { day: 20.0, km: 3.0, scatter: 1.5 }, Law { day: 12.0, km: 1.1, scatter: 1.5 }];

/// A sister that runs by the law of the old lamps says what the converted press would have drawn.
#[test]
fn a_sister_press_stands_for_a_press_that_nobody_metered_before() {
    let hall = Folder::of(&[made::press("p1", true), made::press("p2", false)]);
    hall.import("p2", &days("2023-06-01", "2024-04-30").map(|(date, km)| MAIN[0].row(2, date, km)).collect::<Vec<_>>());
    let since = || days("2024-02-01", "2024-04-30");
    hall.import("p1", &since().map(|(date, km)| MAIN[1].row(1, date, km)).collect::<Vec<_>>());
    hall.freeze(&["--kind", "sister-press", "--other", "p2", "--drivers", "web_km"]);
    let planted = sum(since(), |km| MAIN[0].at(km) - MAIN[1].at(km));
    hall.tells("sister-press", "sister press p2, which keeps its arc lamps", planted);
    // Class 1 with transformers of class 0.5 at their rating: limits of 1 % and 0.5 % (IEC 62053-21, IEC 61869-2), rectangular
    // and in quadrature 0.6455 %. There are two meters, and each is wrong by its own.
    let relative = 1.0_f64.hypot(0.5) / 100.0 / 3.0_f64.sqrt();
    let sides = [0, 1].map(|k| relative * sum(since(), |km| MAIN[k].at(km)));
    let meters = sides[0].hypot(sides[1]);
    let told = hall.said(&["verify", "p1"]);
    let found = made::between(&told, "; the meters ", " kWh").replace(',', "").parse::<f64>().expect("a number");
    assert!((found / meters - 1.0).abs() < 0.01, "{found} for {meters}: {told}");
}

/// Two stations were converted, the third keeps its lamp and the law of the old ones: twice what it draws.
#[test]
fn a_station_that_keeps_its_lamp_stands_for_each_of_the_others() {
    let hall = Folder::of(&[made::stations()]);
    let since = || days("2024-02-01", "2024-06-30");
    let row = |(date, km)| {
        let [one, two] = [11, 12].map(|seed| LAMP[1].kwh(seed, date, km));
        format!("{date},{km},{one:.3},{two:.3},{:.3}", LAMP[0].kwh(13, date, km))
    };
    hall.import("p1", &since().map(row).collect::<Vec<_>>());
    hall.freeze(&["--kind", "retained-station", "--other", "p1/s3", "--drivers", "web_km"]);
    let planted = 2.0 * sum(since(), |km| LAMP[0].at(km) - LAMP[1].at(km));
    hall.tells("retained-station", "station p1/s3, which keeps its arc lamp, times the stations judged", planted);
}

/// Before the conversion there is a bill a month and the length of web; the meter came with the new lamps.
#[test]
fn monthly_bills_stand_for_a_press_that_was_metered_since_its_conversion_only() {
    let hall = Folder::of(&[made::press("p1", true)]);
    let since = || days("2024-02-01", "2024-04-30");
    let lengths = days("2022-07-01", "2024-01-31").map(|(date, km)| format!("{date},{km},"));
    let drawn = since().map(|(date, km)| MAIN[1].row(1, date, km));
    hall.import("p1", &lengths.chain(drawn).collect::<Vec<_>>());
    hall.file("bills.csv", &made::bills(days("2022-07-01", "2023-12-31").map(|(d, km)| (d, MAIN[0].kwh(3, d, km)))));
    hall.freeze(&["--kind", "billed", "--bills", "bills.csv", "--drivers", "web_km"]);
    let planted = sum(since(), |km| MAIN[0].at(km) - MAIN[1].at(km));
    hall.tells("billed", "monthly bills", planted);
    let told = hall.said(&["baseline", "show", "p1"]);
    assert!(told.contains("2022-07-01 to 2023-12-31") && told.contains("18 points"), "{told}");
}

/// On ten days within the reporting period the arc lamp was fitted again. Those days are the baseline and no saving.
#[test]
fn days_on_which_the_arc_lamp_was_fitted_again_stand_for_a_baseline() {
    for is_entered in [true, false] {
        let hall = Folder::of(&[made::lamp_press(is_entered), made::LAMPS.into()]);
        let test = made::exchange(&hall, &LAMP, is_entered);
        let dates: Vec<String> = test.iter().map(ToString::to_string).collect();
        hall.freeze(&["--kind", "lamp-exchange-test", "--days", &dates.join(","), "--drivers", "web_km"]);
        let others = days("2024-02-01", "2024-06-30").filter(|(date, _)| !test.contains(date));
        let planted = sum(others, |km| LAMP[0].at(km) - LAMP[1].at(km));
        let found = hall.tells("lamp-exchange-test", "lamp exchange test: arc lamps refitted for some days", planted);
        // 29 + 31 + 30 + 31 + 30 days since the acceptance.
        assert_eq!((&found["days"], &found["days_aside"]["other-lamp"]), (&141.into(), &10.into()));
    }
}

/// A chiller that works above 16 °C: 15 kWh a day for each degree. It is found as a change point, and is no saving.
#[test]
fn the_temperature_outside_explains_a_chiller_by_a_change_point() {
    let hall = Folder::of(&[made::press("p1", true), made::WEATHER.into()]);
    let chiller = |date| 15.0 * (made::outdoor(date) - 16.0).max(0.0);
    let (before, since) = (|| days("2023-01-01", "2023-12-31"), || days("2024-02-01", "2024-07-31"));
    let old = before().map(|(date, km)| format!("{date},{km},{:.3}", MAIN[0].kwh(1, date, km) + chiller(date)));
    let new = since().map(|(date, km)| format!("{date},{km},{:.3}", MAIN[1].kwh(1, date, km) + chiller(date)));
    hall.import("p1", &old.chain(new).collect::<Vec<_>>());
    hall.weather(&before().chain(since()).map(|(date, _)| date).collect::<Vec<_>>());

    let fits = hall.json(&["baseline", "fit", "p1"]);
    let candidates = fits["candidates"].as_array().expect("candidates");
    let of = |drivers: &[&str]| {
        let fit = candidates.iter().find(|fit| fit["drivers"] == serde_json::json!(drivers));
        fit.and_then(|fit| fit["bic"].as_f64()).unwrap_or_else(|| panic!("a model in {fits}"))
    };
    // A difference of more than 10 is decisive (Kass and Raftery 1995).
    assert!(of(&["web_km", "outdoor_c"]) + 10.0 < of(&["web_km"]), "{fits}");
    hall.freeze(&["--drivers", "web_km,outdoor_c"]);
    let frozen = hall.json(&["baseline", "show", "p1"]);
    let knot = frozen["outdoor"][1][0].as_f64().expect("a change point");
    assert!((knot - 16.0).abs() < 1.0, "{knot}");
    let terms = frozen["terms"].as_array().expect("terms");
    let slope = terms.iter().find(|term| term[0].as_str().is_some_and(|name| name.starts_with("temperature")));
    let slope = slope.expect("a slope")[1].as_f64().expect("a number");
    assert!((slope / 15.0 - 1.0).abs() < 0.15, "{slope}");
    let planted = sum(since(), |km| MAIN[0].at(km) - MAIN[1].at(km));
    hall.tells("metered", "metered before the conversion", planted);
}
