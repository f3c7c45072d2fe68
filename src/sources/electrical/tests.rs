//! Installations with one fault each. What a meter shows follows from the phasors: P = U x I x cos(angle between them).

use super::*;
use crate::names::{LampId, PressId};
use crate::plant::{
    Bands, Boundary, Covers, Dated, Lamp, LampKind, Point, Press, RatedAt, Ratio, Station, StationUse, example,
};
use crate::time::Zone;
use crate::units::Decimal;

const START: At = At(1_800_000_000_000);
const MINUTES: i64 = 5;

/// Which transformer is taken with the voltage of each phase, and which way it points.
type Wiring = [(usize, f64); 3];
const RIGHT: Wiring = [(0, 1.0), (1, 1.0), (2, 1.0)];

fn meter(id: &str, covers: Covers, below: Option<&str>) -> Meter {
    Meter {
        covers,
        below: below.map(MeterId::from),
        boundary: Dated::always(Boundary { point: Point::PressMain, includes: Vec::new() }),
        device: Dated::always(example::device(&format!("M-{id}"))),
        max_watts: 60_000,
        native: 2_000,
        ..example::meter(id)
    }
}

/// A meter under a balanced load of so many amperes a phase, watched for five minutes every two seconds.
fn watched(meter: Meter, wiring: Wiring, amps: impl Fn(At) -> f64, angle: f64) -> Watched {
    let turn = 120_f64.to_radians();
    let (mut import, mut export) = (1_000.0, 0.0);
    let mut samples = Vec::new();
    for k in 0..=MINUTES * 30 {
        let at = START + k * 2_000;
        let (volts, amps) = (230.0, amps(at));
        let phase = |n: usize| {
            let (transformer, sign) = wiring[n];
            let between = turn * (transformer as f64 - n as f64) + angle.to_radians();
            let cosine = sign * between.cos();
            Phase { volts: Some(volts), amps: Some(amps), watts: Some(volts * amps * cosine), factor: Some(cosine) }
        };
        let phases = [0, 1, 2].map(phase);
        let watts: f64 = phases.iter().filter_map(|p| p.watts).sum();
        import += watts.max(0.0) * 2.0 / 3_600.0;
        export += (-watts).max(0.0) * 2.0 / 3_600.0;
        samples.push(Sample { at, phases, watts: Some(watts), import: Some(import), export: Some(export) });
    }
    Watched { meter, samples, step_wh: 1.0 }
}

fn main_meter(wiring: Wiring) -> Watched {
    watched(meter("main", Covers::Press("p1".into()), None), wiring, |_| 12.0, 20.0)
}

fn plant() -> Plant {
    let station = Station {
        id: "p1/s1".into(),
        name: "White".into(),
        does: StationUse::White,
        fitted: Dated::always(Some(LampId::from("arc-1"))),
        implementation: Vec::new(),
    };
    // 160 W/cm over 43 cm: 6,880 W.
    let lamp = Lamp {
        id: "arc-1".into(),
        kind: LampKind::Arc,
        serial: None,
        length_mm: 430,
        w_per_cm: Decimal::parse("160").expect("a number"),
        rated_at: RatedAt::Lamp,
        bands: Bands { standby: 400, curing: 2_900, hysteresis: 100, dwell: 0 },
    };
    let press =
        Press { id: PressId::from("p1"), name: "Press 1".into(), stations: vec![station], moving_mm_min: 3_000 };
    Plant {
        name: "Test hall".into(),
        zone: Zone::parse("Europe/London").expect("a zone"),
        currency: "GBP".into(),
        grid: "GB".into(),
        markets: vec!["GB".into()],
        calendar: Default::default(),
        presses: vec![press],
        loads: Vec::new(),
        lamps: vec![lamp],
        meters: vec![
            meter("main", Covers::Press("p1".into()), None),
            meter("lamp", Covers::Station("p1/s1".into()), Some("main")),
        ],
    }
}

fn examined(watched: &[Watched]) -> Commissioning {
    examine(&plant(), Period::new(START, START + MINUTES * 60_000), watched, None)
}

/// What failed: test, what was found, what to look at.
fn failed(record: &Commissioning) -> Vec<(Test, &str, &str)> {
    let failed = record.checks.iter().filter(|check| check.verdict == Verdict::Failed);
    failed.map(|check| (check.test, check.what.as_str(), check.look.as_deref().unwrap_or_default())).collect()
}

#[test]
fn a_good_installation_passes_every_test() {
    let record = examined(&[main_meter(RIGHT)]);
    assert_eq!(failed(&record), []);
    assert_eq!((record.count(Verdict::Passed), record.count(Verdict::Untested)), (9, 0));
}

#[test]
fn a_reversed_transformer_is_named_with_its_phase() {
    let record = examined(&[main_meter([(0, 1.0), (1, -1.0), (2, 1.0)])]);
    assert_eq!(
        failed(&record),
        [(
            Test::Direction,
            "L2 -2594 W at 230.0 V, 12.00 A: power factor -0.94",
            "the current transformer of L2: it stands reversed, or its leads S1 and S2 are exchanged",
        )]
    );
}

#[test]
fn two_reversed_transformers_are_not_taken_for_exchanged_ones() {
    let record = examined(&[main_meter([(0, -1.0), (1, 1.0), (2, -1.0)])]);
    let looks: Vec<&str> = failed(&record).iter().map(|(_, _, look)| *look).collect();
    assert!(
        looks[0].starts_with("the current transformer of L1:")
            && looks[1].starts_with("the current transformer of L3:")
    );
}

#[test]
fn exchanged_phases_are_named_as_a_pair() {
    for (wiring, pair) in [
        ([(1, 1.0), (0, 1.0), (2, 1.0)], "phases L1 and L2 exchanged:"),
        ([(0, 1.0), (2, 1.0), (1, 1.0)], "phases L2 and L3 exchanged:"),
        ([(2, 1.0), (1, 1.0), (0, 1.0)], "phases L1 and L3 exchanged:"),
    ] {
        // From a compensated supply to an arc ballast of power factor 0.64.
        for angle in [0.0, 20.0, 50.0] {
            let meter = meter("main", Covers::Press("p1".into()), None);
            let record = examined(&[watched(meter, wiring, |_| 12.0, angle)]);
            let directions: Vec<_> =
                failed(&record).into_iter().filter(|(test, ..)| *test == Test::Direction).collect();
            assert_eq!(directions.len(), 1, "{directions:?}");
            assert!(directions[0].2.starts_with(pair), "{pair} at {angle}: {directions:?}");
        }
    }
}

#[test]
fn transformers_that_are_all_reversed_show_in_signs_and_in_the_export_register() {
    let record = examined(&[main_meter([(0, -1.0), (1, -1.0), (2, -1.0)])]);
    let found: Vec<Test> = failed(&record).iter().map(|(test, ..)| *test).collect();
    assert_eq!(found, [Test::Direction, Test::Register]);
    assert!(failed(&record)[0].2.starts_with("all transformers reversed, or the meter fed from the other side"));
}

#[test]
fn a_register_of_another_ratio_than_the_power_is_found() {
    let mut main = main_meter(RIGHT);
    main.samples.iter_mut().for_each(|sample| sample.import = sample.import.map(|import| import * 8.0));
    let record = examined(&[main]);
    assert_eq!(
        failed(&record),
        [(
            Test::Energy,
            "register 5187.1 Wh, power over the same time 648.4 Wh: 8.00 times as much",
            "the transformer ratio set in the device and in the configuration against the plate of the transformers",
        )]
    );
}

#[test]
fn a_power_of_another_ratio_than_the_current_is_found() {
    let mut main = main_meter(RIGHT);
    for sample in &mut main.samples {
        sample.phases.iter_mut().for_each(|phase| phase.amps = phase.amps.map(|amps| amps / 10.0));
    }
    let record = examined(&[main]);
    let powers: Vec<_> = failed(&record).into_iter().filter(|(test, ..)| *test == Test::Power).collect();
    assert_eq!(
        powers[0],
        (
            Test::Power,
            "L1 2594 W against 230.0 V x 1.20 A x 0.94 = 259 W: 10.00 times as much",
            "a power of ten: `unit` or `step` of one of the two in the register map",
        )
    );
}

/// The lamp's meter believes in 250/5 where 200/5 are fitted, and the lamp is nearly all that the main feeds.
#[test]
fn a_sub_meter_of_a_wrong_ratio_draws_more_than_its_main() {
    let mut lamp = watched(meter("lamp", Covers::Station("p1/s1".into()), Some("main")), RIGHT, |_| 11.0, 20.0);
    let mut device = lamp.meter.device.at(START).expect("a device").clone();
    device.transformers = Ratio { num: 5, den: 4 };
    lamp.meter.device = Dated::always(device);
    let record = examined(&[main_meter(RIGHT), lamp]);
    assert_eq!(
        failed(&record),
        [(
            Test::Balance,
            "7781 W above, 8915 W below (lamp 8915 W): 1.15 times as much",
            "transformer ratios of main and of the meters below it; whether each of them really hangs below it",
        )]
    );
}

/// The lamp comes on after two minutes; the main has 10 A of other loads.
fn lamp_switched_on(ratio: Ratio, lamp_amps: f64) -> Commissioning {
    let at = START + 120_000;
    let lamp_load = move |now: At| if now < at { 0.2 } else { lamp_amps };
    let mut lamp = watched(meter("lamp", Covers::Station("p1/s1".into()), Some("main")), RIGHT, lamp_load, 20.0);
    let mut device = lamp.meter.device.at(START).expect("a device").clone();
    device.transformers = ratio;
    lamp.meter.device = Dated::always(device);
    let both = move |now: At| 10.0 + if now < at { 0.2 } else { 10.0 };
    let main = watched(meter("main", Covers::Press("p1".into()), None), RIGHT, both, 20.0);
    let switched = Switched { station: "p1/s1".into(), at };
    examine(&plant(), Period::new(START, START + MINUTES * 60_000), &[main, lamp], Some(&switched))
}

#[test]
fn a_known_load_shows_in_its_own_meter_and_in_the_main() {
    let record = lamp_switched_on(Ratio::ONE, 10.0);
    assert_eq!(failed(&record), []);
    let steps: Vec<&str> = record.checks.iter().filter(|c| c.test == Test::Step).map(|c| c.what.as_str()).collect();
    assert_eq!(
        steps,
        [
            "rose by 6354 W when p1/s1 was switched on; the lamp is rated at 6880 W",
            "rose by 6354 W, lamp below it by 6354 W",
        ]
    );
}

#[test]
fn a_known_load_tells_a_wrong_ratio_of_one_of_two_meters() {
    let record = lamp_switched_on(Ratio { num: 5, den: 4 }, 10.0);
    let steps: Vec<_> = failed(&record).into_iter().filter(|(test, ..)| *test == Test::Step).collect();
    assert_eq!(steps[0].1, "rose by 6354 W, lamp below it by 7943 W: 0.80 times as much");
}

#[test]
fn a_known_load_that_shows_elsewhere_is_on_another_feeder() {
    let record = lamp_switched_on(Ratio::ONE, 0.2);
    let steps: Vec<_> = failed(&record).into_iter().filter(|(test, ..)| *test == Test::Step).collect();
    assert_eq!(steps[0].1, "rose by 0 W when p1/s1 was switched on");
    assert!(steps[0].2.starts_with("which feeder the transformers stand on;"));
}

#[test]
fn a_meter_without_load_is_not_called_good() {
    let idle = watched(meter("main", Covers::Press("p1".into()), None), RIGHT, |_| 0.0, 20.0);
    let record = examined(&[idle]);
    assert_eq!((failed(&record).len(), record.count(Verdict::Passed)), (0, 0));
}

#[test]
fn the_record_reads_as_text_and_as_json() {
    let record = examined(&[main_meter([(0, 1.0), (1, -1.0), (2, 1.0)])]);
    let text = record.to_string();
    for line in [
        "Electrical check of Test hall\n2027-01-15T08:00:00+00:00 to 2027-01-15T08:05:00+00:00\n\nmain  device M-main, \
         values times 1/1 are primary, 151 samples\n",
        "  passed    direction and phase: L1 2594 W at 230.0 V, 12.00 A: power factor 0.94\n",
        "  FAILED    direction and phase: L2 -2594 W at 230.0 V, 12.00 A: power factor -0.94\n            look at: the \
         current transformer of L2: it stands reversed, or its leads S1 and S2 are exchanged\n",
        "\n8 tests passed, 1 failed, 0 could not be made.\n",
    ] {
        assert!(text.contains(line), "{line}\nis not in\n{text}");
    }
    let json = record.json();
    assert_eq!(json["meters"][0]["serial"], "M-main");
    assert_eq!(json["meters"][0]["tests"][2]["verdict"], "failed");
}
