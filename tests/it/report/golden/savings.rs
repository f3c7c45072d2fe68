//! The promise of the golden plant and what its second press did before and after its conversion: days as they would have
//! been observed, of which the last two are those of the readings. All numbers are invented.

use chrono::{Datelike, Days, NaiveDate, Weekday};
use inkwatt::attribute::LampState;
use inkwatt::config::Configuration;
use inkwatt::plant::LampKind;
use inkwatt::time::{At, HOUR};
use inkwatt::units::Energy;
use inkwatt::verify::baseline::{Form, Frozen, Kind, Least, Provenance, boundaries, fit};
use inkwatt::verify::statement::{Basis, Evidence, Statements, statement};
use inkwatt::verify::{Conditions, Cured, Day, DayType, Driver, Scope, Worked};
use std::collections::BTreeMap;

pub const PROMISE: &str = r#"
title = "Proposal for press 2"
dated = 2024-07-01
price = 0.24
grid_kg = 0.2
investment = 9000
declared = [{ name = "arc lamps and disposal", money = 300 }, { name = "LED inks", money = -120 }]

[[group]]
press = "p2"
stations = ["s1"]
length_mm = 420
lit = 1
hours = { manned = 2000, curing = 1500, standby = 800 }
kwh = 8700
old = { w_per_cm = 160, rated_at = "mains", level = 1, standby_share = 0.35, off_w = 12 }
new = { w_per_cm = 50.5, rated_at = "mains", level = 1, off_w = 12 }

[stated]
kwh = 9000
money = 2160

[contract]
basis = "actual"
guaranteed_kwh = 8000
share = 0.3
dates = [2025-04-01, 2025-10-01]

[heat]
heating_months = [1, 2, 3, 11, 12]
cooling_months = [7, 8]
old_ducted_out = { heating = 0.9, cooling = 0.9 }
new_ducted_out = { heating = 0.2, cooling = 0.8 }
heating_efficiency = 0.9
"#;

/// Watts of the station's lamps curing, on standby and off.
struct Draws(LampKind, [i64; 3]);

const ARC: Draws = Draws(LampKind::Arc, [6_900, 2_300, 12]);
const LED: Draws = Draws(LampKind::Led, [2_150, 0, 12]);

/// A day on which the lamp cures for so many quarter hours and stands by for half of them; what is metered beside it is
/// a little more and less by turns.
fn day(configuration: &Configuration, date: NaiveDate, Draws(kind, watts): &Draws) -> Day {
    let weekend = matches!(date.weekday(), Weekday::Sat | Weekday::Sun);
    // As the readings have it: see `watts`.
    let stands = weekend || (date.month(), date.day()) == (3, 31);
    let nth = i64::from(date.num_days_from_ce());
    let quarters = if stands { 0 } else { 18 + nth * 7 % 11 };
    let length = configuration.plant.zone.day(date).millis();
    let curing = quarters * HOUR / 4;
    let standby = if *kind == LampKind::Arc { curing / 2 } else { 0 };
    let states = [LampState::Curing, LampState::Standby, LampState::Off];
    let millis = [curing, standby, length - curing - standby];
    let spent = |k: usize| Worked { energy: Energy::from_mwh(watts[k] * millis[k] / 3_600), millis: millis[k] };
    let worked: BTreeMap<_, _> = (0..3).filter(|k| millis[*k] > 0).map(|k| ((*kind, states[k]), spent(k))).collect();
    let beside = if stands { 0 } else { nth * 13 % 17 - 8 };
    let web = quarters as f64 * if *kind == LampKind::Arc { 0.75 } else { 0.80 };
    Day {
        date,
        hours: length as f64 / HOUR as f64,
        kind: if stands { DayType::Idle } else { DayType::Running },
        energy: worked.values().map(|worked| worked.energy).sum::<Energy>() + Energy::from_wh(150 * beside),
        aside: None,
        worked,
        on_job_h: None,
        outside_h: None,
        curing: BTreeMap::from([(("p2/s1".into(), Some(*kind)), Cured { millis: curing, ..Cured::default() })]),
        powers: BTreeMap::new(),
        loads: BTreeMap::new(),
        drivers: BTreeMap::from([
            (Driver::WebKm, web),
            (Driver::StationKm, web),
            (Driver::RunH, curing as f64 / HOUR as f64),
        ]),
    }
}

/// What can be said of the second press up to the end of March 2025.
pub fn statements(configuration: &Configuration) -> Statements {
    let plant = &configuration.plant;
    let scope = Scope::of(plant, &"p2".into()).expect("a press");
    let date = |text: &str| text.parse::<NaiveDate>().expect("a date");
    let days = |first: NaiveDate, last: NaiveDate, draws: &Draws| -> Vec<Day> {
        let all = (0..).map(|k| first + Days::new(k)).take_while(|day| *day <= last);
        all.map(|date| day(configuration, date, draws)).collect()
    };
    let period = (date("2024-08-01"), date("2024-11-30"));
    let (before, after) = (days(period.0, period.1, &ARC), days(date("2024-12-16"), date("2025-03-31"), &LED));
    let boundary = boundaries(plant, &scope, plant.zone.days(period.0, period.1)).expect("measured");
    let provenance = Provenance {
        at: At::parse("2024-12-01T09:00:00Z").expect("an instant"),
        author: "anna".into(),
        reason: "one driver that the conversion does not move".into(),
        data: "7".repeat(64),
        program: "0.0.0".into(),
        rules: 0,
    };
    let fitted = fit(&Form::daily(&[Driver::WebKm]), &before, Least::Usual).expect("a model");
    let conditions = Conditions::of(plant, &before);
    let frozen = Frozen::new(&scope, Kind::Metered, period, &fitted, boundary, conditions, provenance).expect("frozen");
    let basis = Basis {
        plant,
        promise: configuration.promise.as_ref().ok_or("there is no promise"),
        events: &[],
        tariffs: &configuration.tariffs,
        factors: &configuration.factors,
    };
    let sha256 = "5".repeat(64);
    let evidence = Evidence {
        scope: &scope,
        frozen: &frozen,
        sha256: &sha256,
        is_changed: false,
        before: &before,
        after: &after,
        runs: &[],
    };
    let told = statement(&basis, &evidence).expect("a statement");
    Statements::new(&basis, (vec![told], Vec::new()), (Vec::new(), Vec::new()))
}
