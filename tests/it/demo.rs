//! Claims about demo. The plant is invented; the trade's figures beside the checks are common practice, no source.

use chrono::{NaiveDate, TimeDelta};
use inkwatt::attribute::{self, DayFacts, DayLedger, Slice, needs, reach, runs, with_events};
use inkwatt::config::Configuration;
use inkwatt::demo::{Bound, Day, END, History, Model, START, ZONE, configure, prepare, tell_truth};
use inkwatt::names::{MeterId, PressId, StationId};
use inkwatt::plant::Plant;
use inkwatt::readings::{Event as Said, Happening, Quantity, Reading, Series, Subject};
use inkwatt::store::{Access, Store};
use inkwatt::time::{At, HOUR, MINUTE, Month};
use rumqttc::{AsyncClient, Event, MqttOptions, Packet, QoS};
use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::atomic::{AtomicI64, Ordering};
use std::sync::{Arc, OnceLock};
use std::time::Duration;
use tokio_modbus::client::{Reader, Writer, tcp};
use tokio_modbus::slave::SlaveContext;
use tokio_modbus::{ExceptionCode, Slave};

fn meter(id: &str, quantity: Quantity) -> Series {
    Series::new(Subject::Meter(MeterId::from(id)), quantity)
}

fn of<'a>(day: &'a Day, series: &Series) -> &'a [Reading] {
    day.readings.iter().find(|(s, _)| s == series).map_or(&[], |(_, readings)| readings)
}

fn date(text: &str) -> NaiveDate {
    text.parse().expect("a date")
}

fn on(text: &str) -> Day {
    History::default().find(|day| day.date == date(text)).expect("a day of the history")
}

fn events(wanted: impl Fn(&Happening) -> bool) -> Vec<Said> {
    History::default().flat_map(|day| day.events).filter(|event| wanted(&event.what)).collect()
}

fn at(text: &str) -> At {
    At::parse(text).expect("an instant")
}

#[test]
fn the_history_is_the_same_each_time_and_ends_where_live_data_join() {
    let (mut values, mut last) = (0, START);
    for (one, other) in History::default().zip(History::default()) {
        assert!(one.readings == other.readings && one.events == other.events, "{}", one.date);
        values += one.readings.iter().map(|(_, readings)| readings.len()).sum::<usize>();
        last = one.readings[0].1.last().map_or(last, |r| r.at);
    }
    assert!(values > 50_000_000, "{values}");
    assert_eq!(END - last, MINUTE);
    assert_eq!(ZONE.stamp(END), "2026-07-01T10:00:00+01:00");
}

#[test]
fn every_reading_lies_in_its_day_and_in_order() {
    for day in History::default() {
        let period = ZONE.day(day.date);
        for (series, readings) in &day.readings {
            assert!(readings.is_sorted_by(|a, b| a.at < b.at), "{series} on {}", day.date);
            assert!(period.contains(readings[0].at) && period.contains(readings[readings.len() - 1].at), "{series}");
        }
        assert!(day.events.iter().all(|event| period.contains(event.at) || event.id.starts_with("p3-")));
    }
}

#[test]
fn days_with_a_clock_change_have_23_or_25_hours_of_readings() {
    // The United Kingdom changes on the last Sundays of March and October.
    let hours = |text| of(&on(text), &meter("chiller", Quantity::Power)).len() / 60;
    assert_eq!(["2025-03-30", "2025-10-26", "2026-03-29", "2026-03-30"].map(hours), [23, 25, 23, 24]);
}

#[test]
fn a_register_is_the_integral_of_its_power() {
    // Watts that hold for a minute are a sixtieth of as many watt-hours; a count of a single-phase meter is 1 Wh, of the others 10 Wh.
    for (name, wh) in [("p1-s1", 1), ("p3-s8", 1), ("p1-main", 10), ("p2-main", 10), ("fan", 10), ("chiller", 10)] {
        for day in History::default().take(40) {
            let registers = of(&day, &meter(name, Quantity::Import));
            let powers = of(&day, &meter(name, Quantity::Power));
            let mut integral = 0;
            for (register, power) in registers.iter().zip(powers) {
                let counted = (register.count - registers[0].count) * wh * 60;
                assert!((integral - counted).abs() <= wh * 60, "{name} at {}: {integral} and {counted}", power.at);
                integral += power.count;
            }
        }
    }
}

#[test]
fn a_press_main_draws_at_least_what_its_stations_draw() {
    for (press, stations) in [("p1", 10), ("p2", 9), ("p3", 8)] {
        for day in History::default().step_by(7) {
            let main = of(&day, &meter(&format!("{press}-main"), Quantity::Power));
            let wrong = press == "p2" && day.date >= date("2026-03-03");
            for (k, reading) in main.iter().enumerate() {
                let below: i64 = (1..=stations)
                    .filter_map(|s| of(&day, &meter(&format!("{press}-s{s}"), Quantity::Power)).get(k))
                    .map(|r| r.count)
                    .sum();
                let true_watts = if wrong { reading.count * 5 / 4 } else { reading.count };
                assert!(main.len() < 1_380 || true_watts + 2 >= below, "{press} at {}", reading.at);
            }
        }
    }
}

#[test]
fn the_supply_covers_all_that_is_metered_below_it() {
    for day in History::default().step_by(5) {
        let energy = |name: &str, wh: i64| {
            let readings = of(&day, &meter(name, Quantity::Import));
            (readings[readings.len() - 1].count - readings[0].count) * wh
        };
        let supply: i64 = of(&day, &meter("supply", Quantity::IntervalEnergy)).iter().map(|r| r.count * 100).sum();
        let below = energy("p1-main", 10)
            + energy("p2-main", 10)
            + energy("p3-main", 10)
            + energy("fan", 10)
            + energy("chiller", 10);
        let late = ("2026-06-16".parse().expect("a date")..="2026-06-19".parse().expect("a date")).contains(&day.date);
        assert!(late || supply > below, "{}: {supply} Wh and {below} Wh", day.date);
    }
}

#[test]
fn the_conversion_saves_what_the_trade_expects_of_it() {
    // Common practice: 62.1 % from the ratings (53 against 140 W/cm), up to about 70 % with standby counted.
    let mut history = History::default();
    history.by_ref().for_each(drop);
    for press in ["p1", "p2"] {
        let specific = |year, month| {
            let truth = history.truth().month(Month { year, month }).expect("a month of the history");
            let wh: i64 = (1..=10).filter_map(|s| truth.meter_wh(&format!("{press}-s{s}"))).sum();
            wh as f64 / truth.web_m(press).expect("a press") as f64
        };
        let saved = 1.0 - specific(2026, 6) / specific(2025, 6);
        assert!((0.621..0.72).contains(&saved), "{press}: {saved}");
    }
}

#[test]
fn the_truth_of_a_month_is_what_the_registers_counted() {
    let mut history = History::default();
    let (mut first, mut after) = (None, None);
    for day in history.by_ref() {
        let register = of(&day, &meter("p3-s8", Quantity::Import))[0].count;
        match day.date.to_string().as_str() {
            "2026-05-01" => first = Some(register),
            "2026-06-01" => after = Some(register),
            _ => {}
        }
    }
    let counted = after.expect("June") - first.expect("May");
    let truth = history.truth().month(Month { year: 2026, month: 5 }).expect("May");
    assert!((truth.meter_wh("p3-s8").expect("a meter") - counted).abs() <= 1);
}

#[test]
fn the_truth_names_every_planted_trouble() {
    let mut history = History::default();
    history.by_ref().for_each(drop);
    let truth: serde_json::Value = serde_json::from_str(&history.truth().json()).expect("JSON");
    let named: Vec<&str> =
        truth["troubles"].as_array().expect("a list").iter().filter_map(|t| t["trouble"].as_str()).collect();
    for trouble in [
        "draws above its baseline",
        "left on at the weekend",
        "fewer hours",
        "higher speed",
        "meter exchanged",
        "capacitors left over",
        "rolled over",
        "gateway away",
        "late data",
        "wrong ratio",
    ] {
        assert!(named.contains(&trouble), "{trouble}");
    }
    assert_eq!(truth["months"].as_object().expect("months").len(), 19);
}

#[test]
fn live_values_continue_the_history_without_a_jump() {
    let mut history = History::default();
    let last = history.by_ref().last().expect("a day");
    let mut model = history.into_model();
    for (k, name, wh) in [(0, "p1-s1", 1), (26, "p3-s8", 1), (30, "fan", 10), (31, "chiller", 10)] {
        let register = of(&last, &meter(name, Quantity::Import));
        let power = of(&last, &meter(name, Quantity::Power));
        let (register, power) = (register[register.len() - 1], power[power.len() - 1]);
        let drawn = (model.import(k, END) - register.count) * wh;
        assert!((drawn * 60 - power.count).abs() <= 60 * wh, "{name}: {drawn} Wh in a minute at {} W", power.count);
    }
    let before = model.import(31, END + 30_000);
    model.advance(END + HOUR);
    assert!(model.import(31, END + HOUR) > before);
    assert_eq!(model.now().minute, (END.0 + HOUR) / MINUTE);
}

#[test]
fn the_gateway_of_press_1_is_away_for_nine_hours() {
    let (evening, morning) = (on("2026-03-17"), on("2026-03-18"));
    for name in ["p1-s1", "p1-s10", "p1-main"] {
        let last = of(&evening, &meter(name, Quantity::Import)).last().expect("a reading").at;
        let next = of(&morning, &meter(name, Quantity::Import))[0].at;
        assert_eq!(next - last, 9 * HOUR + MINUTE, "{name}");
    }
    assert_eq!(of(&evening, &meter("p2-s1", Quantity::Import)).len(), 1_440);
}

#[test]
fn a_register_goes_back_to_zero_once() {
    let series = meter("p2-s2", Quantity::Import);
    let counts: Vec<i64> = History::default().filter_map(|day| of(&day, &series).last().map(|r| r.count)).collect();
    let back: Vec<&[i64]> = counts.windows(2).filter(|pair| pair[1] < pair[0]).collect();
    assert_eq!(back.len(), 1);
    assert!(back[0][0] > 99_900_000 && back[0][1] < 100_000, "{back:?}");
}

#[test]
fn exchanged_meters_start_anew_and_one_of_them_was_read() {
    let exchanges = events(|what| matches!(what, Happening::DeviceExchanged { .. }));
    let counts: Vec<(String, Option<i64>, Option<i64>)> = exchanges
        .iter()
        .filter_map(|event| match &event.what {
            Happening::DeviceExchanged { meter, end_count, start_count, .. } => {
                Some((meter.to_string(), *end_count, *start_count))
            }
            _ => None,
        })
        .collect();
    assert_eq!(counts.len(), 2);
    assert_eq!(counts[1], ("p1-s7".into(), None, None));
    let day = on("2025-09-16");
    let readings = of(&day, &meter("p2-s5", Quantity::Import));
    let after = readings.iter().position(|r| r.at > exchanges[0].at).expect("readings after the exchange");
    let (old, new) = (readings[after - 1], readings[after]);
    assert_eq!((counts[0].0.as_str(), counts[0].2), ("p2-s5", Some(12)));
    let end = counts[0].1.expect("the old device was read");
    assert!((0..1_000).contains(&(end - old.count)) && (12..1_000).contains(&new.count), "{old:?} {end} {new:?}");
}

#[test]
fn a_press_main_shows_four_fifths_from_the_day_its_transformers_were_exchanged() {
    let corrected = events(|what| matches!(what, Happening::RatioCorrected { .. }));
    assert_eq!(corrected[0].at, at("2026-03-03T13:30:00Z"));
    let day = on("2026-03-04");
    let main: i64 = of(&day, &meter("p2-main", Quantity::Power)).iter().map(|r| r.count).sum();
    let below: i64 =
        (1..=9).flat_map(|s| of(&day, &meter(&format!("p2-s{s}"), Quantity::Power)).iter().map(|r| r.count)).sum();
    let drives = main * 5 / 4 - below;
    assert!(main < below * 5 / 4 && drives > 0, "main {main}, stations {below}");
}

#[test]
fn a_lamp_is_left_on_over_a_weekend() {
    let sunday = |text| of(&on(text), &meter("p3-s8", Quantity::Power)).iter().map(|r| r.count).min();
    // 35 % of 140 W/cm x 40 cm is 1,960 W, within 1 %.
    assert!(sunday("2026-05-10").is_some_and(|watts| watts > 1_940));
    assert!(sunday("2026-05-17").is_some_and(|watts| watts < 50));
}

#[test]
fn lamp_states_and_levels_are_signalled_where_they_change() {
    let day = on("2025-02-04");
    let station = Subject::Station(StationId::of(&PressId::from("p1"), "s2"));
    for quantity in [Quantity::LampState, Quantity::LampLevel] {
        let said = of(&day, &Series::new(station.clone(), quantity));
        assert!(said.len() > 5 && said.windows(2).all(|pair| pair[0].count != pair[1].count), "{quantity}");
    }
    let by_bands = Subject::Station(StationId::of(&PressId::from("p3"), "s2"));
    assert!(of(&day, &Series::new(by_bands, Quantity::LampState)).is_empty());
}

#[test]
fn jobs_of_press_3_are_keyed_poorly_and_the_others_well() {
    let runs: Vec<_> = events(|what| matches!(what, Happening::Run(_)))
        .into_iter()
        .filter_map(|event| match event.what {
            Happening::Run(run) => Some(run),
            _ => None,
        })
        .collect();
    let of_press = |id: &str| runs.iter().filter(|run| run.press.as_str() == id).collect::<Vec<_>>();
    let open = |id: &str| of_press(id).iter().filter(|run| run.end.is_none()).count();
    let overlaps = |id: &str| of_press(id).windows(2).filter(|w| w[0].end.is_some_and(|end| end > w[1].start)).count();
    assert!(open("p3") > 40 && overlaps("p3") > 20, "{} {}", open("p3"), overlaps("p3"));
    for id in ["p1", "p2"] {
        assert!(open(id) <= 1 && overlaps(id) == 0, "only the job that is on at the end is open");
    }
    // A job spans the night in which the clock is set back.
    assert!(runs.iter().any(|run| {
        run.start < at("2025-10-26T01:00:00Z") && run.end.is_some_and(|end| end > at("2025-10-26T01:00:00Z"))
    }));
}

/// The plant at the end of its history.
fn plant_at_end() -> Model {
    let mut history = History::default();
    history.by_ref().for_each(drop);
    history.into_model()
}

#[tokio::test]
async fn simulated_meters_answer_over_modbus_tcp_with_the_values_of_the_model() {
    let at = END + 42_000;
    let bound = Bound::bind().await.expect("ports");
    let gateways = bound.gateways().expect("addresses");
    let _peers = bound.serve(plant_at_end(), move || at).await.expect("peers");
    let model = plant_at_end();

    let mut press_3 = tcp::connect_slave(gateways[2], Slave(8)).await.expect("a connection");
    let lamp = press_3.read_holding_registers(0, 4).await.expect("an answer").expect("registers");
    let import = i64::from(lamp[0]) << 16 | i64::from(lamp[1]);
    assert_eq!(import, model.import(26, at), "p3-s8");
    press_3.set_slave(Slave(100));
    let main = press_3.read_input_registers(18, 2).await.expect("an answer").expect("registers");
    let watts = f32::from_bits(u32::from(main[1]) << 16 | u32::from(main[0]));
    assert_eq!(watts as i64, model.power(29), "p3-main");

    // Refusals as of a real device: no such unit behind the gateway, no such register, no writing.
    press_3.set_slave(Slave(77));
    assert_eq!(press_3.read_holding_registers(0, 2).await.expect("sent"), Err(ExceptionCode::GatewayTargetDevice));
    press_3.set_slave(Slave(8));
    assert_eq!(press_3.read_holding_registers(3, 2).await.expect("sent"), Err(ExceptionCode::IllegalDataAddress));
    assert_eq!(press_3.write_single_register(0, 1).await.expect("sent"), Err(ExceptionCode::IllegalFunction));
}

#[tokio::test]
async fn presses_publish_speed_length_lamp_states_and_jobs() {
    let now = Arc::new(AtomicI64::new(END.0));
    let clock = Arc::clone(&now);
    let bound = Bound::bind().await.expect("ports");
    let broker = bound.broker();
    let _peers = bound.serve(plant_at_end(), move || At(clock.load(Ordering::Relaxed))).await.expect("peers");
    let mut options = MqttOptions::new("listener", broker.ip().to_string(), broker.port());
    options.set_keep_alive(Duration::from_secs(10));
    let (client, mut events) = AsyncClient::new(options, 10);
    client.subscribe("tarnbeck/#", QoS::AtLeastOnce).await.expect("subscribed");

    // Half an hour passes as soon as somebody listens.
    let mut heard = BTreeMap::<String, Vec<serde_json::Value>>::new();
    let all = [
        "tarnbeck/p1/speed",
        "tarnbeck/p2/length",
        "tarnbeck/p1/s2/lamp",
        "tarnbeck/p1/s2/level",
        "tarnbeck/supply",
        "tarnbeck/p2/job",
    ];
    while !all.iter().all(|topic| heard.contains_key(*topic)) {
        let event = tokio::time::timeout(Duration::from_secs(20), events.poll()).await;
        match event.expect("news within the time").expect("a connection") {
            Event::Incoming(Packet::SubAck(_)) => now.store((END + 31 * MINUTE).0, Ordering::Relaxed),
            Event::Incoming(Packet::Publish(message)) => {
                let payload = serde_json::from_slice(&message.payload).expect("JSON");
                heard.entry(message.topic).or_default().push(payload);
            }
            _ => {}
        }
    }
    let mut model = plant_at_end();
    let before = model.import(32, END);
    model.advance(END + 30 * MINUTE);
    let kwh = (model.import(32, END + 30 * MINUTE) - before) as f64 / 10.0;
    let supply = &heard["tarnbeck/supply"][0];
    assert_eq!((supply["value"].as_f64(), supply["time"].as_str()), (Some(kwh), Some("2026-07-01T09:30:00Z")));
    assert!(heard["tarnbeck/p2/job"].iter().all(|job| job["job"].is_string() && job["id"].is_string()));
}

#[test]
fn a_folder_that_the_demo_did_not_make_is_refused() {
    let folder = tempfile::tempdir().expect("a folder");
    prepare(folder.path()).expect("an empty folder will do");
    std::fs::create_dir(folder.path().join("store")).expect("a store");
    prepare(folder.path()).expect("its own folder is made anew");
    assert!(!folder.path().join("store").exists());

    let other = tempfile::tempdir().expect("a folder");
    std::fs::write(other.path().join("notes.txt"), "mine").expect("a file");
    let told = prepare(other.path()).expect_err("somebody else's").to_string();
    let place = other.path().display();
    assert_eq!(
        told,
        format!("{place} is not empty and was not made by the demo; name another folder with --plant, or an empty one")
    );
}

#[test]
fn the_late_file_holds_the_half_hours_that_the_history_lacks() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut history = History::default();
    let half_hours: usize =
        history.by_ref().map(|day| of(&day, &meter("supply", Quantity::IntervalEnergy)).len()).sum();
    tell_truth(folder.path(), history.truth()).expect("written");
    let late = std::fs::read_to_string(folder.path().join("late/supply.csv")).expect("the file");
    let rows: Vec<&str> = late.lines().skip(1).collect();
    assert_eq!(half_hours + rows.len(), ((END - START) / (30 * MINUTE)) as usize - 1);
    assert_eq!(rows.len(), 3 * 48);
    assert!(rows[0].starts_with("16/06/2026 00:30,") && rows[143].starts_with("19/06/2026 00:00,"), "{rows:?}");
}

/// The configuration of the demo, with addresses at which nobody answers.
fn configured() -> Configuration {
    let folder = tempfile::tempdir().expect("a folder");
    let address = |port| SocketAddr::from(([127, 0, 0, 1], port));
    configure(folder.path(), &[1, 2, 3, 4].map(address), address(5), address(6)).expect("written");
    inkwatt::config::load(folder.path()).unwrap_or_else(|problems| panic!("{problems}"))
}

#[test]
fn the_folder_loads_and_its_plant_is_the_one_that_is_simulated() {
    let configuration = configured();
    let plant = &configuration.plant;
    assert_eq!((plant.meters.len(), plant.lamps.len(), plant.presses.len(), plant.loads.len()), (33, 54, 3, 2));
    assert_eq!(configuration.lines.iter().map(|line| line.meters.len()).sum::<usize>(), 32);
    assert_eq!(configuration.board.listen.port(), 6);
}

#[tokio::test]
async fn every_meter_of_the_configuration_is_read_as_the_model_has_it() {
    let folder = tempfile::tempdir().expect("a folder");
    let bound = Bound::bind().await.expect("ports");
    let gateways = bound.gateways().expect("addresses");
    let board = SocketAddr::from(([127, 0, 0, 1], 1));
    configure(folder.path(), &gateways, bound.broker(), board).expect("written");
    let _peers = bound.serve(plant_at_end(), || END).await.expect("peers");
    let configuration = inkwatt::config::load(folder.path()).unwrap_or_else(|problems| panic!("{problems}"));

    let clock = inkwatt::acquire::Clock::starting_at(END);
    let answers = inkwatt::acquire::modbus::poll_once(&configuration.lines, &clock).await;

    let model = plant_at_end();
    assert_eq!(answers.len(), 32);
    for answer in answers {
        let name = answer.polled.meter.to_string();
        assert!(answer.faults.is_empty(), "{name}: {:?}", answer.faults);
        let count = |quantity| {
            let series = meter(&name, quantity);
            answer.readings().iter().find(|(s, _)| *s == series).map(|(_, reading)| reading.count)
        };
        let position = model.position(&name).expect("a meter of the model");
        assert_eq!(count(Quantity::Import), Some(model.import(position, END)), "{name}");
        assert_eq!(count(Quantity::Power), Some(model.power(position)), "{name}");
    }
}

/// Ledgers of the local days of a month, computed from the generated readings and events alone.
fn ledgers(plant: &Plant, month: &str) -> Vec<DayLedger> {
    let mut events = Vec::new();
    let mut days: Vec<Day> = Vec::new();
    let first = date(&format!("{month}-01"));
    let around = first - TimeDelta::days(1)..first + TimeDelta::days(32);
    for mut day in History::default() {
        events.append(&mut day.events);
        if around.contains(&day.date) {
            days.push(day);
        }
    }
    let plant = with_events(plant, &events).value;
    let wanted = needs(&plant);
    let of_month = days.iter().filter(|day| day.date.to_string().starts_with(month));
    of_month
        .map(|day| {
            let reach = reach(&plant, day.date);
            let mut facts = DayFacts { runs: runs(&events, reach), ..DayFacts::default() };
            for series in &wanted {
                let all = days.iter().flat_map(|day| of(day, series)).copied().collect::<Vec<_>>();
                // With the nearest reading on either side, as the store gives them.
                let first = all.partition_point(|r| r.at < reach.start).saturating_sub(1);
                let last = (all.partition_point(|r| r.at < reach.end) + 1).min(all.len());
                facts.readings.insert(series.clone(), all[first..last].to_vec());
            }
            attribute::day(&plant, &facts, day.date).value
        })
        .collect()
}

#[test]
fn the_ledger_of_a_month_agrees_with_the_truth() {
    let mut history = History::default();
    history.by_ref().for_each(drop);
    let truth: serde_json::Value = serde_json::from_str(&history.truth().json()).expect("JSON");
    // March 2026: a gateway away, a ratio wrong, lamps exchanged, the clock set forward.
    let truth = &truth["months"]["2026-03"];
    let (mut meters, mut lamps) = (BTreeMap::<String, i64>::new(), BTreeMap::<[String; 3], i64>::new());
    for ledger in ledgers(&configured().plant, "2026-03") {
        for usage in ledger.usage {
            *meters.entry(usage.meter.to_string()).or_default() += usage.energy.map_or(0, |e| e.mwh());
        }
        for Slice { usage, owner } in ledger.slices {
            if let (Some(station), Some(lamp), Some(state)) = (owner.station, owner.lamp, owner.lamp_state) {
                let key = [station.to_string(), lamp.word().into(), format!("{state:?}")];
                *lamps.entry(key).or_default() += usage.energy.map_or(0, |e| e.mwh());
            }
        }
    }
    // A meter is known to one count at either end; the supply counts 100 Wh, a press main 12.5 Wh after its ratio.
    for (meter, wh) in truth["meter_wh"].as_object().expect("meters") {
        let apart = meters[meter] / 1_000 - wh.as_i64().expect("a number");
        assert!(apart.abs() <= if meter == "supply" { 100 } else { 13 }, "{meter}: {apart} Wh");
    }
    // Where signals give the states, each is known to a count at each of its changes.
    for row in truth["lamps"].as_array().expect("rows") {
        let word = |name: &str| row[name].as_str().expect("a word").to_owned();
        if word("station").starts_with("p2/") {
            let state = if word("state") == "off" { "Off" } else { "Curing" };
            let apart = lamps[&[word("station"), word("lamp"), state.into()]] / 1_000 - row["wh"].as_i64().expect("Wh");
            assert!(apart.abs() <= 100, "{row}: {apart} Wh");
        }
    }
}

fn inkwatt(folder: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_inkwatt"));
    command.arg("--plant").arg(folder).arg("demo").args(["--port", "0", "--once"]);
    command
}

/// The folder that one run of the demo made for all tests, and what it said. It is made anew each time.
pub fn made() -> &'static (PathBuf, Output) {
    static MADE: OnceLock<(PathBuf, Output)> = OnceLock::new();
    MADE.get_or_init(|| {
        let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("demo");
        let begun = std::time::Instant::now();
        let ended = inkwatt(&folder).output().expect("inkwatt ran");
        println!("the demo took {:.1} s", begun.elapsed().as_secs_f64());
        (folder, ended)
    })
}

#[test]
fn the_demo_does_the_whole_job() {
    let (folder, ended) = made();
    let told = String::from_utf8_lossy(&ended.stdout);
    assert_eq!((ended.status.code(), String::from_utf8_lossy(&ended.stderr).as_ref()), (Some(0), ""), "{told}");

    let lines: Vec<&str> = told.lines().collect();
    let store = folder.join("store");
    assert!(lines[0].starts_with("Tarnbeck Labels (invented): "), "{told}");
    assert!(lines[0].ends_with(&format!(" in {}, ending 2026-07-01T10:00:00+01:00", store.display())), "{told}");
    assert!(lines[1].ends_with("late/supply.csv: 144 lines; 144 new, 0 same, 0 corrected; 0 lines refused"), "{told}");
    let last = lines[lines.len() - 1];
    assert!(last.starts_with("32 of 32 meters answer over Modbus TCP; what was planted stands in "), "{told}");
    for month in ["2026-05", "2026-06"] {
        for file in ["report.html", "energy.csv", "manifest.json"] {
            assert!(folder.join("reports").join(month).join(file).is_file(), "{month}/{file}");
        }
    }
}

#[test]
fn the_demo_leaves_a_folder_alone_that_it_did_not_make() {
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::write(folder.path().join("notes.txt"), "mine").expect("a file");
    let ended = inkwatt(folder.path()).output().expect("inkwatt ran");
    assert_eq!(ended.status.code(), Some(2));
    assert_eq!(
        String::from_utf8_lossy(&ended.stderr),
        format!(
            "error: {} is not empty and was not made by the demo; name another folder with --plant, or an empty one\n",
            folder.path().display()
        )
    );
    assert_eq!(std::fs::read_dir(folder.path()).expect("a folder").count(), 1);
}

#[test]
fn the_folder_of_a_running_demo_is_left_alone() {
    let folder = tempfile::tempdir().expect("a folder");
    prepare(folder.path()).expect("an empty folder will do");
    let _held = Store::open(folder.path(), ZONE, Access::Agent).expect("a store");
    let ended = inkwatt(folder.path()).output().expect("inkwatt ran");
    assert_eq!(ended.status.code(), Some(3));
    assert!(String::from_utf8_lossy(&ended.stderr).contains("another agent runs on this plant folder; stop it first"));
    assert!(folder.path().join("store/facts.db").exists());
}
