//! Attribution: whose each milliwatt-hour is, and that none is lost. The halls here are invented.

use chrono::NaiveDate;
use inkwatt::attribute::{self, Amount, Claim, DayFacts, DayFold, DayLedger, LampState, Placed, PressState, Slice};
use inkwatt::found::{Found, Remark};
use inkwatt::names::{LampId, LoadId, MeterId, PressId, RunId, StationId};
use inkwatt::plant::{
    Bands, Calendar, Covers, Dated, Device, Flow, Lamp, LampKind, Meter, Plant, Press, RatedAt, Ratio, ShareRule,
    SharedLoad, Shift, Station, StationUse,
};
use inkwatt::readings::{Event, Happening, Quantity, Rank, Reading, Run, Series, Subject};
use inkwatt::time::{At, HOUR, MINUTE, Period, QUARTER, Zone};
use inkwatt::units::{Decimal, Energy};
use proptest::prelude::*;
use std::collections::BTreeMap;
use std::sync::Arc;

/// A Monday.
const MONDAY: &str = "2026-03-02";

fn at(text: &str) -> At {
    At::parse(text).expect("an instant")
}

/// An instant of [`MONDAY`] by the clock, which shows UTC then.
fn on(clock: &str) -> At {
    at(&format!("{MONDAY}T{clock}:00Z"))
}

fn date(text: &str) -> NaiveDate {
    text.parse().expect("a date")
}

fn wh(wh: i64) -> Energy {
    Energy::from_wh(wh)
}

/// A plant with what is known about a day, built up sentence by sentence.
#[derive(Clone)]
struct Hall {
    plant: Plant,
    facts: DayFacts,
}

impl Hall {
    fn new() -> Self {
        let plant = Plant {
            name: "Test hall".into(),
            zone: Zone::parse("Europe/London").expect("a zone"),
            currency: "GBP".into(),
            grid: "GB".into(),
            markets: vec!["GB".into()],
            calendar: Calendar::default(),
            presses: vec![],
            loads: vec![],
            lamps: vec![],
            meters: vec![],
        };
        Self { plant, facts: DayFacts::default() }
    }

    fn press(mut self, id: &str, stations: &[(&str, Option<LampKind>)]) -> Self {
        let press = PressId::from(id);
        let station = |(name, kind): &(&str, Option<LampKind>)| {
            let id = StationId::of(&press, name);
            let lamp = kind.map(|kind| lamp(&format!("{press}-{name}"), kind));
            let fitted = lamp.as_ref().map_or(Dated::default(), |lamp| Dated::always(Some(lamp.id.clone())));
            self.plant.lamps.extend(lamp);
            Station { id, name: name.to_string(), does: StationUse::Ink, fitted, implementation: vec![] }
        };
        let stations = stations.iter().map(station).collect();
        self.plant.presses.push(Press { id: press, name: id.into(), stations, moving_mm_min: 5_000 });
        self
    }

    fn load(mut self, id: &str, serves: &[&str], rule: ShareRule, only: Option<LampKind>) -> Self {
        let serves = serves.iter().map(|press| PressId::from(*press)).collect();
        self.plant.loads.push(SharedLoad { id: LoadId::from(id), name: id.into(), serves, rule, only });
        self
    }

    fn meter(mut self, id: &str, covers: Covers, below: &str) -> Self {
        let below = (!below.is_empty()).then(|| MeterId::from(below));
        self.plant.meters.push(Meter {
            id: MeterId::from(id),
            name: id.into(),
            covers,
            flow: Flow::Import,
            below,
            fiscal: false,
            boundary: Dated::default(),
            device: Dated::always(device()),
            max_watts: 100_000,
            native: MINUTE,
            class: Some("1".into()),
            circuit: None,
        });
        self.plant.meters.sort_by(|a, b| a.id.cmp(&b.id));
        self
    }

    fn change(mut self, meter: &str, change: impl FnOnce(&mut Meter)) -> Self {
        let found = self.plant.meters.iter_mut().find(|m| m.id.as_str() == meter);
        change(found.expect("a meter"));
        self
    }

    /// The readings of a series, in order.
    fn readings(&mut self, subject: Subject, quantity: Quantity) -> &mut Vec<Reading> {
        self.facts.readings.entry(Series::new(subject, quantity)).or_default()
    }

    /// A register of Wh, read every minute of a period, of a load that draws watts from each instant on.
    fn draws_in(mut self, meter: &str, period: Period, watts: &[(At, i64)]) -> Self {
        let profile = Dated::new(watts.to_vec());
        let readings = self.readings(Subject::Meter(MeterId::from(meter)), Quantity::Import);
        readings.extend((0..=period.millis() / MINUTE).map(|k| {
            let at = period.start + k * MINUTE;
            Reading { at, count: 10_000 + integral(&profile, Period::new(period.start, at)) / 1_000 }
        }));
        self
    }

    /// The same from four hours before [`MONDAY`] to four hours after.
    fn draws(self, meter: &str, watts: &[(At, i64)]) -> Self {
        self.draws_in(meter, around(MONDAY), watts)
    }

    /// Interval values of Wh for each native interval of a period.
    fn intervals(mut self, meter: &str, watts: i64) -> Self {
        let native = self.plant.meter(&MeterId::from(meter)).expect("a meter").native;
        let period = around(MONDAY);
        let readings = self.readings(Subject::Meter(MeterId::from(meter)), Quantity::IntervalEnergy);
        let count = watts * native / HOUR;
        readings.extend((1..=period.millis() / native).map(|k| Reading { at: period.start + k * native, count }));
        self
    }

    /// The web runs at 60 m/min in each of the periods and stands at all other times; told every minute.
    fn web(mut self, press: &str, runs: &[Period]) -> Self {
        let period = around(MONDAY);
        let readings = self.readings(Subject::Press(PressId::from(press)), Quantity::Speed);
        readings.extend((0..=period.millis() / MINUTE).map(|k| {
            let at = period.start + k * MINUTE;
            Reading { at, count: if runs.iter().any(|run| run.contains(at)) { 60_000 } else { 0 } }
        }));
        self
    }

    fn run(mut self, press: &str, job: &str, start: At, ready: Option<At>, end: Option<At>) -> Self {
        self.facts.runs.push(run(press, job, start, ready, end));
        self
    }

    fn day(&self) -> Found<DayLedger> {
        self.day_of(MONDAY)
    }

    fn day_of(&self, day: &str) -> Found<DayLedger> {
        attribute::day(&self.plant, &self.facts, date(day))
    }
}

fn around(day: &str) -> Period {
    let day = Zone::parse("Europe/London").expect("a zone").day(date(day));
    Period::new(day.start - 4 * HOUR, day.end + 4 * HOUR)
}

/// Milliwatt-hours of a profile of watts, its whole ones.
fn integral(profile: &Dated<i64>, period: Period) -> i64 {
    profile.spans(period).map(|(span, watts)| watts * span.millis()).sum::<i64>() / 3_600
}

fn device() -> Device {
    Device {
        serial: "A1".into(),
        mwh_per_count: Ratio { num: 1_000, den: 1 },
        mw_per_count: Ratio { num: 1_000, den: 1 },
        transformers: Ratio::ONE,
        step: 1,
        modulus: None,
        start_count: None,
        end_count_before: None,
    }
}

fn lamp(id: &str, kind: LampKind) -> Lamp {
    let bands = match kind {
        LampKind::Arc => Bands { standby: 800, curing: 3_000, hysteresis: 200, dwell: MINUTE },
        LampKind::Led => Bands { standby: 50, curing: 300, hysteresis: 20, dwell: MINUTE },
    };
    Lamp {
        id: LampId::from(id),
        kind,
        serial: None,
        length_mm: 406,
        w_per_cm: Decimal::parse("140").expect("a rating"),
        rated_at: RatedAt::Mains,
        bands,
    }
}

fn run(press: &str, job: &str, start: At, ready: Option<At>, end: Option<At>) -> Run {
    Run {
        id: RunId::from(format!("{press}-{job}").as_str()),
        press: PressId::from(press),
        job: job.into(),
        product: None,
        start,
        ready,
        end,
        width_mm: None,
        planned_mm: None,
        good_mm: None,
    }
}

fn event(id: &str, rank: Rank, run: Run) -> Event {
    let (at, what) = (run.start, Happening::Run(Run { id: RunId::from(id), ..run }));
    Event { id: id.into(), at, rank, revision: 0, what, note: None }
}

fn station(id: &str) -> Covers {
    Covers::Station(StationId::from(id))
}

fn press(id: &str) -> Covers {
    Covers::Press(PressId::from(id))
}

/// The known energy of the slices that fit.
fn sum(found: &Found<DayLedger>, fits: impl Fn(&Slice) -> bool) -> Energy {
    found.value.slices.iter().filter(|slice| fits(slice)).filter_map(|slice| slice.usage.energy).sum()
}

fn of(meter: &str) -> impl Fn(&Slice) -> bool {
    move |slice| slice.usage.meter.as_str() == meter
}

fn used(found: &Found<DayLedger>, meter: &str) -> Energy {
    found.value.usage.iter().filter(|u| u.meter.as_str() == meter).filter_map(|u| u.energy).sum()
}

fn remarks(found: &Found<DayLedger>) -> Vec<Remark> {
    found.issues.iter().map(|issue| issue.remark).collect()
}

fn texts(found: &Found<DayLedger>) -> Vec<String> {
    found.issues.iter().map(|issue| format!("{}: {}", issue.about, issue.text)).collect()
}

/// States with their borders by the clock of [`MONDAY`], neighbours of the same state joined.
fn course<T: PartialEq + Copy + std::fmt::Debug>(
    found: &Found<DayLedger>,
    meter: &str,
    state: impl Fn(&Slice) -> T,
) -> Vec<(String, T)> {
    let own = found.value.slices.iter().filter(|slice| slice.usage.meter.as_str() == meter);
    let mut course: Vec<(String, T)> =
        own.map(|slice| (slice.usage.period.start.utc().format("%H:%M").to_string(), state(slice))).collect();
    course.dedup_by(|later, earlier| later.1 == earlier.1);
    course
}

/// A press with one metered station and its main.
fn one_press(kind: LampKind) -> Hall {
    Hall::new().press("p1", &[("s1", Some(kind))]).meter("p1", press("p1"), "").meter("p1-s1", station("p1/s1"), "p1")
}

#[test]
fn a_job_is_charged_from_its_start_to_its_end_and_the_standby_between_jobs_is_apart() {
    let hall = one_press(LampKind::Arc)
        .draws("p1", &[(on("00:00") - 4 * HOUR, 10_000)])
        .draws("p1-s1", &[(on("00:00") - 4 * HOUR, 2_000), (on("08:20"), 5_000), (on("10:00"), 2_000)])
        .web("p1", &[Period::new(on("08:20"), on("10:00"))])
        .run("p1", "J1", on("08:00"), Some(on("08:20")), Some(on("10:00")));
    let found = hall.day();
    let own = |slice: &Slice| slice.owner.press_state;
    assert_eq!(
        course(&found, "p1-s1", own),
        [
            ("00:00".into(), Some(PressState::Idle)),
            ("08:00".into(), Some(PressState::MakeReady)),
            ("08:20".into(), Some(PressState::Running)),
            ("10:00".into(), Some(PressState::Idle)),
        ]
    );
    let of_job = |slice: &Slice| slice.owner.run == Some(RunId::from("p1-J1"));
    // 20 min of 2 kW and 100 min of 5 kW at the station; 2 h of 10 kW at the press.
    let at_station = sum(&found, |slice| of_job(slice) && of("p1-s1")(slice));
    assert!((at_station - wh(9_000)).mwh().abs() <= 1_000, "{at_station}");
    assert_eq!(sum(&found, of_job), wh(20_000));
    assert_eq!(sum(&found, |slice| of("p1-s1")(slice) && !of_job(slice)), wh(53_000 - 9_000) + wh(9_000) - at_station);
    assert_eq!(remarks(&found), []);
}

#[test]
fn the_slices_of_a_press_and_its_stations_add_up_to_its_main() {
    let start = on("00:00") - 4 * HOUR;
    let hall = one_press(LampKind::Arc).draws("p1", &[(start, 7_777)]).draws("p1-s1", &[(start, 3_333)]);
    let found = hall.day();
    assert_eq!(sum(&found, |_| true), used(&found, "p1"));
    assert_eq!(sum(&found, of("p1-s1")), used(&found, "p1-s1"));
    assert!((used(&found, "p1") - wh(7_777 * 24)).mwh().abs() <= 1_000);
    let claims: Vec<Claim> = ["p1", "p1-s1"]
        .map(|meter| found.value.slices.iter().find(|slice| of(meter)(slice)).map(|slice| slice.owner.claim))
        .into_iter()
        .flatten()
        .collect();
    assert_eq!(claims, [Claim::Rest, Claim::Own]);
}

#[test]
fn an_outage_of_nine_hours_leaves_the_amount_metered_and_only_its_place_interpolated() {
    let start = on("00:00") - 4 * HOUR;
    let mut hall = one_press(LampKind::Arc).draws("p1-s1", &[(start, 4_000)]).draws("p1", &[(start, 9_000)]);
    let outage = Period::new(on("03:00") + 1, on("12:00"));
    for series in hall.facts.readings.values_mut() {
        series.retain(|reading| !outage.contains(reading.at));
    }
    let found = hall.day();
    assert_eq!(used(&found, "p1-s1"), wh(96_000));
    assert!(found.value.usage.iter().all(|usage| usage.amount == Amount::Metered));
    let interpolated: Vec<_> =
        found.value.usage.iter().filter(|u| u.placed == Placed::Interpolated && u.meter.as_str() == "p1-s1").collect();
    assert_eq!(interpolated.len(), 36);
    assert_eq!(interpolated[0].period.start, on("03:00"));
    assert_eq!(interpolated.iter().filter_map(|u| u.energy).sum::<Energy>(), wh(36_000));
    assert_eq!(
        texts(&found)[1],
        "meter p1-s1: No readings. The register bridges the time: the amount is metered, its place is interpolated."
    );
    // Nobody knows what the lamp did meanwhile.
    let states = course(&found, "p1-s1", |slice| slice.owner.lamp_state);
    assert_eq!(states[1], ("03:00".into(), None));
}

#[test]
fn energy_is_conserved_when_a_job_spans_the_clock_change() {
    // 2026-10-25 has 25 hours in London (tests/reference/dst_days.csv); the job runs from 23:30 to 04:00.
    let (eve, change) = ("2026-10-24", "2026-10-25");
    let (start, end) = (at("2026-10-24T23:30:00+01:00"), at("2026-10-25T04:00:00+00:00"));
    let window = Period::new(around(eve).start, around(change).end);
    let hall = one_press(LampKind::Arc)
        .draws_in("p1", window, &[(window.start, 6_000)])
        .draws_in("p1-s1", window, &[(window.start, 3_000)])
        .run("p1", "J1", start, Some(start), Some(end));
    let days = [eve, change].map(|day| hall.day_of(day));
    let quarters = |found: &Found<DayLedger>| found.value.usage.iter().filter(|u| u.meter.as_str() == "p1").count();
    assert_eq!(days.each_ref().map(quarters), [96, 100]);
    assert_eq!(days.each_ref().map(|found| used(found, "p1")), [wh(24 * 6_000), wh(25 * 6_000)]);
    let of_job = |slice: &Slice| slice.owner.run.is_some();
    let job: Energy = days.iter().map(|found| sum(found, of_job)).sum();
    assert_eq!(job, wh(6_000 * 11 / 2), "five and a half hours, the repeated one among them");
}

#[test]
fn every_day_with_a_clock_change_holds_the_energy_of_its_hours() {
    for row in include_str!("../reference/dst_days.csv").lines().skip(1) {
        let cells: Vec<&str> = row.split(',').collect();
        let zone = Zone::parse(cells[0]).expect("a zone");
        let day = zone.day(date(cells[1]));
        let window = Period::new(day.start - 4 * HOUR, day.end + 4 * HOUR);
        let mut hall = one_press(LampKind::Arc).draws_in("p1", window, &[(window.start, 1_200)]).draws_in(
            "p1-s1",
            window,
            &[(window.start, 600)],
        );
        hall.plant.zone = zone;
        let found = hall.day_of(cells[1]);
        assert_eq!(found.value.usage.len(), 2 * cells[3].parse::<usize>().expect("a count"), "{row}");
        assert_eq!(sum(&found, |_| true), wh(1_200 * day.millis() / HOUR), "{row}");
    }
}

#[test]
fn an_arc_lamp_is_struck_warms_up_cures_and_waits() {
    let start = on("00:00") - 4 * HOUR;
    let hall = one_press(LampKind::Arc)
        .draws(
            "p1-s1",
            &[
                (start, 20),
                (on("06:00"), 4_500),
                (on("06:04"), 2_000),
                (on("06:08"), 5_000),
                (on("07:00"), 2_000),
                (on("08:00"), 20),
            ],
        )
        .web("p1", &[Period::new(on("06:08"), on("07:00"))]);
    let found = hall.day();
    assert_eq!(
        course(&found, "p1-s1", |slice| slice.owner.lamp_state),
        [
            ("00:00".into(), Some(LampState::Off)),
            ("06:00".into(), Some(LampState::WarmingUp)),
            ("06:08".into(), Some(LampState::Curing)),
            ("07:00".into(), Some(LampState::Standby)),
            ("08:00".into(), Some(LampState::Off)),
        ]
    );
    let kinds = course(&found, "p1-s1", |slice| slice.owner.lamp);
    assert_eq!(kinds, [("00:00".into(), Some(LampKind::Arc))]);
}

#[test]
fn a_dip_shorter_than_the_dwell_is_no_change_of_state() {
    let start = on("00:00") - 4 * HOUR;
    let second = 1_000;
    let mut hall = one_press(LampKind::Arc).web("p1", &[around(MONDAY)]);
    let period = around(MONDAY);
    let series = hall.readings(Subject::Meter(MeterId::from("p1-s1")), Quantity::Power);
    series.extend((0..period.millis() / (10 * second)).map(|k| {
        let at = start + k * 10 * second;
        // Curing, with a dip of 40 s at six and one of two minutes at seven; at eight a draw within the hysteresis.
        let dip = Period::new(on("06:00"), on("06:00") + 40 * second).contains(at);
        let long = Period::new(on("07:00"), on("07:02")).contains(at);
        let near = Period::new(on("08:00"), on("09:00")).contains(at);
        Reading {
            at,
            count: if dip || long {
                2_000
            } else if near {
                2_900
            } else {
                5_000
            },
        }
    }));
    let found = hall.day();
    let states = course(&found, "p1-s1", |slice| slice.owner.lamp_state);
    let words: Vec<_> = states.iter().map(|(_, state)| *state).collect();
    assert_eq!(words, [Some(LampState::Curing), Some(LampState::Standby), Some(LampState::Curing)], "{states:?}");
    assert!(found.value.slices.iter().all(|slice| of("p1")(slice) || slice.usage.amount == Amount::Integrated));
}

#[test]
fn without_a_record_of_the_lamp_its_kind_and_state_stay_unknown() {
    let start = on("00:00") - 4 * HOUR;
    let hall =
        Hall::new().press("p1", &[("s1", None)]).meter("p1-s1", station("p1/s1"), "").draws("p1-s1", &[(start, 2_000)]);
    let found = hall.day();
    assert_eq!(
        course(&found, "p1-s1", |slice| (slice.owner.lamp, slice.owner.lamp_state)),
        [("00:00".into(), (None, None))]
    );
    assert_eq!(used(&found, "p1-s1"), wh(48_000));
    assert_eq!(
        texts(&found),
        ["station p1/s1: The state of the lamp is not known for 1440 min: nobody recorded which lamp is fitted."]
    );
}

#[test]
fn a_lamp_that_is_recorded_in_two_stations_is_remarked() {
    let mut hall = one_press(LampKind::Arc);
    hall.plant.lamps.push(lamp("led-7", LampKind::Led));
    let mut second = hall.plant.presses[0].stations[0].clone();
    second.id = StationId::from("p1/s9");
    hall.plant.presses[0].stations.push(second);
    let fitted = |station: &str, at| {
        let what = Happening::LampFitted { station: StationId::from(station), lamp: Some(LampId::from("led-7")) };
        Event { id: station.into(), at, rank: Rank::Live, revision: 0, what, note: None }
    };
    let (at_1, at_9) = (on("12:00"), on("13:00"));
    hall.plant.presses[0].stations[1].fitted = Dated::default();
    let found = attribute::with_events(&hall.plant, &[fitted("p1/s1", at_1), fitted("p1/s9", at_9)]);
    assert_eq!(found.issues.len(), 1, "{:?}", found.issues);
    let issue = &found.issues[0];
    assert_eq!((issue.about.as_str(), issue.period.start), ("lamp led-7", at_9));
    let stamp = |at| hall.plant.zone.stamp(at);
    assert_eq!(
        issue.text,
        format!(
            "Lamp led-7 is recorded in station p1/s1 since {} and in station p1/s9 since {}. It is one lamp: both \
             stations are taken to have its kind until `inkwatt record lamp` says where it was.",
            stamp(at_1),
            stamp(at_9)
        )
    );
}

#[test]
fn a_lamp_exchanged_at_noon_parts_the_energy_by_kind() {
    let start = on("00:00") - 4 * HOUR;
    let mut hall = one_press(LampKind::Arc).draws("p1-s1", &[(start, 2_000)]).web("p1", &[around(MONDAY)]);
    hall.plant.lamps.push(lamp("led-7", LampKind::Led));
    let fitted = Happening::LampFitted { station: StationId::from("p1/s1"), lamp: Some(LampId::from("led-7")) };
    let event = |id: &str, at, what| Event { id: id.into(), at, rank: Rank::Live, revision: 0, what, note: None };
    let unknown = Happening::LampFitted { station: StationId::from("p1/s9"), lamp: None };
    let plant =
        attribute::with_events(&hall.plant, &[event("e1", on("12:00"), fitted), event("e2", on("13:00"), unknown)]);
    assert_eq!(
        plant.issues[0].text,
        "Event e2 names station p1/s9, which the configuration does not have; it is passed over."
    );
    hall.plant = plant.value;
    let found = hall.day();
    assert_eq!(
        course(&found, "p1-s1", |slice| (slice.owner.lamp, slice.owner.lamp_state)),
        [
            ("00:00".into(), (Some(LampKind::Arc), Some(LampState::Standby))),
            ("12:00".into(), (Some(LampKind::Led), Some(LampState::Curing))),
        ]
    );
}

#[test]
fn extraction_is_charged_only_to_presses_with_an_arc_lamp() {
    let start = on("00:00") - 4 * HOUR;
    let hall = Hall::new()
        .press("p1", &[("s1", Some(LampKind::Arc)), ("s2", Some(LampKind::Led))])
        .press("p2", &[("s1", Some(LampKind::Arc))])
        .press("p3", &[("s1", Some(LampKind::Led))])
        .load("fan", &["p1", "p2", "p3"], ShareRule::Energy, Some(LampKind::Arc))
        .meter("fan", Covers::Load(LoadId::from("fan")), "")
        .meter("p1-s1", station("p1/s1"), "")
        .meter("p1-s2", station("p1/s2"), "")
        .meter("p2-s1", station("p2/s1"), "")
        .meter("p3-s1", station("p3/s1"), "")
        .draws("fan", &[(start, 8_000)])
        .draws("p1-s1", &[(start, 3_000)])
        .draws("p1-s2", &[(start, 2_000)])
        .draws("p2-s1", &[(start, 1_000), (on("12:00"), 0)])
        .draws("p3-s1", &[(start, 2_000)]);
    let found = hall.day();
    let charged = |press: &'static str| {
        sum(&found, move |slice| slice.owner.claim == Claim::Shared && slice.owner.press == Some(PressId::from(press)))
    };
    assert_eq!(charged("p3"), Energy::ZERO);
    // Until noon 3 to 1, after noon all to p1.
    assert!((charged("p2") - wh(24_000)).mwh().abs() < 10_000, "{}", charged("p2"));
    assert_eq!(charged("p1") + charged("p2"), wh(192_000));
}

#[test]
fn a_share_of_a_shared_load_is_charged_on_to_the_job_that_was_on() {
    let start = on("00:00") - 4 * HOUR;
    let hall = Hall::new()
        .press("p1", &[("s1", Some(LampKind::Arc))])
        .press("p2", &[("s1", Some(LampKind::Arc))])
        .load("chiller", &["p1", "p2"], ShareRule::Equal, None)
        .meter("chiller", Covers::Load(LoadId::from("chiller")), "")
        .draws("chiller", &[(start, 6_000)])
        .web("p1", &[Period::new(on("08:05"), on("09:50"))])
        .web("p2", &[])
        .run("p1", "J1", on("08:05"), Some(on("08:05")), Some(on("09:50")));
    let found = hall.day();
    let on_the_job = |slice: &Slice| slice.owner.run == Some(RunId::from("p1-J1"));
    // Half of 6 kW for 1 h 45 min, of which a quarter hour is shared within.
    assert_eq!(sum(&found, on_the_job), wh(5_250));
    let running = |slice: &Slice| slice.owner.press_state == Some(PressState::Running);
    assert_eq!(sum(&found, |slice| on_the_job(slice) && running(slice)), wh(5_250));
    assert_eq!(sum(&found, of("chiller")), wh(144_000));
}

#[test]
fn within_a_quarter_hour_a_share_follows_the_rule_and_not_the_clock() {
    let start = on("00:00") - 4 * HOUR;
    let hall = Hall::new()
        .press("p1", &[("s1", Some(LampKind::Arc))])
        .load("chiller", &["p1"], ShareRule::WebTime, None)
        .meter("chiller", Covers::Load(LoadId::from("chiller")), "")
        .draws("chiller", &[(start, 6_000)])
        .web("p1", &[Period::new(on("08:05"), on("08:10"))]);
    let found = hall.day();
    assert_eq!(sum(&found, |slice| slice.owner.press_state == Some(PressState::NoJob)), wh(1_500));
}

#[test]
fn extraction_stays_unassigned_while_nobody_knows_which_lamp_a_station_has() {
    let start = on("00:00") - 4 * HOUR;
    let hall = Hall::new()
        .press("p1", &[("s1", Some(LampKind::Arc))])
        .press("p2", &[("s1", None)])
        .load("fan", &["p1", "p2"], ShareRule::Equal, Some(LampKind::Arc))
        .meter("fan", Covers::Load(LoadId::from("fan")), "")
        .draws("fan", &[(start, 8_000)]);
    assert_eq!(sum(&hall.day(), |slice| slice.owner.claim == Claim::Unassigned), wh(192_000));
    let mut empty = hall.clone();
    empty.plant.presses[1].stations[0].fitted = Dated::always(None);
    let charged = |slice: &Slice| slice.owner.press == Some(PressId::from("p1"));
    assert_eq!(sum(&empty.day(), charged), wh(192_000));
}

#[test]
fn a_ratio_corrected_at_the_instant_of_an_exchange_leaves_its_counts() {
    let hall = one_press(LampKind::Arc);
    let noon = on("12:00");
    let meter = MeterId::from("p1");
    let exchanged = Happening::DeviceExchanged {
        meter: meter.clone(),
        serial: "B2".into(),
        end_count: Some(982_500),
        start_count: Some(17),
    };
    let corrected = Happening::RatioCorrected { meter: meter.clone(), num: 5, den: 4 };
    let event = |id: &str, at, what| Event { id: id.into(), at, rank: Rank::Correction, revision: 0, what, note: None };
    for ids in [["a", "b"], ["b", "a"]] {
        let events = [event(ids[0], noon, exchanged.clone()), event(ids[1], noon, corrected.clone())];
        let found = attribute::with_events(&hall.plant, &events);
        let put_in = found.value.meter(&meter).and_then(|meter| meter.device.at(noon)).expect("a device");
        assert_eq!((put_in.start_count, put_in.end_count_before), (Some(17), Some(982_500)), "{ids:?}");
        assert_eq!((put_in.serial.as_str(), put_in.transformers), ("B2", Ratio { num: 5, den: 4 }));
    }
    let events = [event("a", noon, exchanged), event("b", noon + HOUR, corrected)];
    let later = attribute::with_events(&hall.plant, &events).value;
    let device = later.meter(&meter).and_then(|meter| meter.device.at(noon + HOUR)).expect("a device");
    assert_eq!((device.start_count, device.end_count_before), (None, None));
}

#[test]
fn what_no_rule_can_weigh_stays_unassigned() {
    let start = on("00:00") - 4 * HOUR;
    let hall = Hall::new()
        .press("p1", &[("s1", Some(LampKind::Led))])
        .load("fan", &["p1"], ShareRule::LampTime, Some(LampKind::Arc))
        .meter("fan", Covers::Load(LoadId::from("fan")), "")
        .draws("fan", &[(start, 8_000)]);
    let found = hall.day();
    assert_eq!(sum(&found, |slice| slice.owner.claim == Claim::Unassigned), wh(192_000));
}

/// A half-hour supply with one press below it.
fn supplied() -> Hall {
    one_press(LampKind::Arc)
        .meter("site", Covers::Site, "")
        .change("site", |meter| (meter.native, meter.fiscal) = (HOUR / 2, true))
        .change("p1", |meter| meter.below = Some(MeterId::from("site")))
        .intervals("site", 20_000)
}

#[test]
fn the_rest_of_the_site_is_kept_at_the_half_hours_of_its_supply() {
    let start = on("00:00") - 4 * HOUR;
    let hall = supplied().draws("p1", &[(start, 9_000)]).draws("p1-s1", &[(start, 3_000)]);
    let found = hall.day();
    let rest: Vec<&Slice> = found.value.slices.iter().filter(|slice| of("site")(slice)).collect();
    assert_eq!(rest.len(), 48);
    assert!(rest.iter().all(|slice| slice.owner.claim == Claim::Rest && slice.usage.energy == Some(wh(5_500))));
    assert_eq!(sum(&found, |_| true), wh(480_000));
    assert_eq!(found.value.usage.iter().filter(|u| u.meter.as_str() == "site").count(), 48);
}

#[test]
fn a_missing_half_hour_is_missing_and_not_nothing() {
    let start = on("00:00") - 4 * HOUR;
    let mut hall = supplied().draws("p1", &[(start, 9_000)]).draws("p1-s1", &[(start, 3_000)]);
    hall.readings(Subject::Meter(MeterId::from("site")), Quantity::IntervalEnergy).retain(|r| r.at != on("10:30"));
    let found = hall.day();
    let missing: Vec<_> = found.value.usage.iter().filter(|usage| usage.energy.is_none()).collect();
    assert_eq!(missing.len(), 1);
    assert_eq!((missing[0].period, missing[0].amount), (Period::new(on("10:00"), on("10:30")), Amount::Missing));
    assert_eq!(sum(&found, |_| true), wh(470_000) + wh(4_500), "the press is known meanwhile");
}

#[test]
fn energy_of_a_meter_below_that_is_not_known_leaves_the_difference_unassigned() {
    let start = on("00:00") - 4 * HOUR;
    let mut hall = supplied().draws("p1", &[(start, 9_000)]).draws("p1-s1", &[(start, 3_000)]);
    // The register of the press started anew at ten: a minute of it is lost.
    let readings = hall.readings(Subject::Meter(MeterId::from("p1")), Quantity::Import);
    let before = readings.iter().find(|r| r.at == on("10:00")).map_or(0, |r| r.count);
    readings.iter_mut().filter(|r| r.at >= on("10:00")).for_each(|r| r.count -= before);
    let found = hall.day();
    assert_eq!(sum(&found, |_| true), wh(480_000), "nothing is lost of the site");
    let open: Vec<_> = found.value.slices.iter().filter(|slice| slice.owner.claim == Claim::Unassigned).collect();
    // Half an hour of the site, and in it the minute of the press less what its station shows.
    assert_eq!(open.len(), 1);
    assert_eq!(open[0].usage.period, Period::new(on("09:30"), on("10:00")));
    assert_eq!(open[0].usage.energy, Some(wh(5_500) + wh(100)));
    assert!(remarks(&found).contains(&Remark::Reset));
    assert!(
        found
            .value
            .slices
            .iter()
            .any(|s| of("p1")(s) && s.usage.amount == Amount::Missing && s.usage.period.millis() == MINUTE)
    );
}

#[test]
fn what_is_generated_and_given_back_enters_the_balance_of_the_site() {
    let start = on("00:00") - 4 * HOUR;
    let mut hall = supplied()
        .draws("p1", &[(start, 9_000)])
        .draws("p1-s1", &[(start, 3_000)])
        .meter("roof", Covers::Site, "")
        .meter("back", Covers::Site, "")
        .change("roof", |meter| meter.flow = Flow::Generation)
        .change("back", |meter| meter.flow = Flow::Export)
        .draws("roof", &[(start, 6_000)])
        .draws("back", &[(start, 1_000)]);
    let back = hall.readings(Subject::Meter(MeterId::from("back")), Quantity::Import).clone();
    *hall.readings(Subject::Meter(MeterId::from("back")), Quantity::Export) = back;
    let found = hall.day();
    assert_eq!(sum(&found, |_| true), wh(24 * (20_000 + 6_000 - 1_000)));
    assert_eq!(sum(&found, of("site")), wh(24 * (20_000 + 6_000 - 1_000 - 9_000)));
}

#[test]
fn a_negative_rest_stays_in_the_sums_and_is_said() {
    let start = on("00:00") - 4 * HOUR;
    let hall = one_press(LampKind::Arc).draws("p1", &[(start, 3_000)]).draws("p1-s1", &[(start, 3_200)]);
    let found = hall.day();
    assert_eq!(sum(&found, of("p1")), -wh(4_800));
    assert_eq!(sum(&found, |_| true), wh(72_000));
    assert_eq!(
        texts(&found)[0],
        "meter p1: The meters below it show 4.80 kWh more than it does, and their classes and steps explain only \
         1.49 kWh. Look at transformer ratios, direction and wiring."
    );
}

#[test]
fn a_small_negative_rest_is_within_the_classes() {
    let start = on("00:00") - 4 * HOUR;
    let hall = one_press(LampKind::Arc).draws("p1", &[(start, 3_000)]).draws("p1-s1", &[(start, 3_030)]);
    assert!(!remarks(&hall.day()).contains(&Remark::NegativeRest));
}

#[test]
fn runs_that_overlap_or_have_no_end_are_made_to_fit_and_said() {
    let start = on("00:00") - 4 * HOUR;
    let hall = one_press(LampKind::Arc)
        .draws("p1-s1", &[(start, 2_000)])
        .web("p1", &[Period::new(on("08:00"), on("12:30"))])
        .run("p1", "C", on("11:00"), None, Some(on("12:30")))
        .run("p1", "A", on("08:00"), None, Some(on("10:00")))
        .run("p1", "B", on("09:30"), None, None)
        .run("p1", "D", on("15:00"), None, Some(on("16:00")));
    let found = hall.day();
    let runs = found.value.slices.iter().filter(|slice| of("p1-s1")(slice));
    let mut course: Vec<_> =
        runs.map(|s| (s.usage.period.start.utc().format("%H:%M").to_string(), s.owner.run.clone())).collect();
    course.dedup_by(|later, earlier| later.1 == earlier.1);
    let course: Vec<_> =
        course.iter().map(|(at, run)| (at.as_str(), run.as_ref().map_or("-", RunId::as_str))).collect();
    assert_eq!(
        course,
        [
            ("00:00", "-"),
            ("08:00", "p1-A"),
            ("09:30", "p1-B"),
            ("11:00", "p1-C"),
            ("12:30", "-"),
            ("15:00", "p1-D"),
            ("16:00", "-")
        ]
    );
    assert_eq!(
        texts(&found),
        [
            "press p1: Job A overlaps the next one on the press; it is ended where that begins.",
            "press p1: Job B has no end; it is ended where the next one begins.",
            "press p1: Job D is recorded, but the web did not move.",
        ]
    );
}

#[test]
fn a_last_job_without_an_end_is_said_once_it_was_ended_a_day_after_its_start() {
    let start = on("00:00") - 4 * HOUR;
    let begun = |hour: i64| {
        let hall =
            one_press(LampKind::Arc).draws("p1-s1", &[(start, 2_000)]).web("p1", &[Period::new(start, on("23:00"))]);
        texts(&hall.run("p1", "A", on("00:00") + hour * HOUR, None, None).day())
    };
    assert!(begun(9).iter().all(|text| !text.contains("has no end")));
    let said = "press p1: Job A has no end; it is ended a day after its start.";
    assert!(begun(-3).iter().any(|text| text == said), "{:?}", begun(-3));
}

#[test]
fn a_web_that_moves_without_a_job_is_a_state_of_its_own() {
    let start = on("00:00") - 4 * HOUR;
    let hall = one_press(LampKind::Arc)
        .draws("p1-s1", &[(start, 5_000)])
        .web("p1", &[Period::new(on("08:00"), on("09:00")), Period::new(on("10:00"), on("10:20"))])
        .run("p1", "A", on("07:50"), Some(on("08:00")), Some(on("08:56")));
    let found = hall.day();
    let states = course(&found, "p1-s1", |slice| slice.owner.press_state);
    let words: Vec<_> = states.iter().map(|(at, state)| (at.as_str(), state.expect("a state"))).collect();
    use PressState::*;
    // The end keyed at 08:56 is moved to where the web stops.
    assert_eq!(
        words,
        [("00:00", Idle), ("07:50", MakeReady), ("08:00", Running), ("09:00", Idle), ("10:00", NoJob), ("10:20", Idle)]
    );
    assert_eq!(texts(&found), ["press p1: The web moved for 20 min without a job."]);
}

#[test]
fn a_make_ready_that_nobody_ends_lasts_until_the_web_runs() {
    let start = on("00:00") - 4 * HOUR;
    let hall = one_press(LampKind::Arc)
        .draws("p1-s1", &[(start, 5_000)])
        .web("p1", &[Period::new(on("08:10"), on("08:12")), Period::new(on("08:30"), on("10:00"))])
        .run("p1", "A", on("08:00"), None, Some(on("10:00")));
    let states = course(&hall.day(), "p1-s1", |slice| slice.owner.press_state);
    assert_eq!(
        states[1..3],
        [("08:00".into(), Some(PressState::MakeReady)), ("08:30".into(), Some(PressState::Running))]
    );
}

#[test]
fn a_job_from_a_file_supersedes_the_live_one_that_it_overlaps() {
    let live = event("live", Rank::Live, run("p1", "A", on("08:00"), None, None));
    let file = event("file", Rank::Import, run("p1", "A", on("08:02"), None, Some(on("09:40"))));
    let other = event("other", Rank::Live, run("p1", "B", on("10:00"), None, None));
    let runs = attribute::runs(&[other, file, live], around(MONDAY));
    assert_eq!(runs.iter().map(|run| run.id.as_str()).collect::<Vec<_>>(), ["file", "other"]);
}

#[test]
fn slices_end_where_a_shift_does() {
    let start = on("00:00") - 4 * HOUR;
    let mut hall = one_press(LampKind::Arc).draws("p1", &[(start, 6_000)]).draws("p1-s1", &[(start, 3_000)]);
    let time = |text: &str| text.parse().expect("a time");
    hall.plant.calendar.shifts.push(Shift {
        name: "early".into(),
        days: vec![],
        starts: time("05:50:00"),
        ends: time("13:55:00"),
    });
    let found = hall.day();
    for border in [on("05:50"), on("13:55")] {
        assert!(found.value.slices.iter().any(|slice| slice.usage.period.start == border));
    }
    assert_eq!(sum(&found, |_| true), wh(144_000));
}

#[test]
fn a_coarse_register_without_power_says_that_states_cannot_be_parted() {
    let start = on("00:00") - 4 * HOUR;
    let mut hall = one_press(LampKind::Led)
        .draws("p1-s1", &[(start, 20), (on("06:02"), 1_000), (on("06:27"), 20)])
        .web("p1", &[Period::new(on("06:02"), on("06:27"))])
        .change("p1-s1", |meter| {
            meter.max_watts = 3_000;
            meter.device = Dated::always(Device { step: 100, ..device() });
        });
    for reading in hall.readings(Subject::Meter(MeterId::from("p1-s1")), Quantity::Import) {
        reading.count = reading.count / 100 * 100;
    }
    let found = hall.day();
    assert!(
        texts(&found).iter().any(|text| {
            text.starts_with("meter p1-s1: Its register moves in steps of minutes: ")
                && text.ends_with("is shared by time. Read its power as well, or choose a finer register.")
        }),
        "{:?}",
        texts(&found)
    );
    assert!(!remarks(&found).contains(&Remark::Implausible));
}

#[test]
fn a_day_that_still_runs_is_not_called_missing_ahead() {
    let start = on("00:00") - 4 * HOUR;
    let mut hall = one_press(LampKind::Arc).draws("p1", &[(start, 6_000)]).draws("p1-s1", &[(start, 3_000)]);
    hall.facts.readings.values_mut().for_each(|series| series.retain(|reading| reading.at <= on("10:07")));
    hall.facts.until = Some(on("10:07") + 40_000);
    let found = hall.day();
    assert!(found.value.usage.iter().all(|usage| usage.energy.is_some()));
    assert_eq!(used(&found, "p1"), wh(60_700));
    assert_eq!(found.value.usage.last().map(|usage| usage.period), Some(Period::new(on("10:00"), on("10:07"))));
}

#[test]
fn attribution_names_the_series_that_it_needs_and_how_far_around_a_day() {
    let hall = one_press(LampKind::Arc);
    let names: Vec<String> = attribute::needs(&hall.plant).iter().map(Series::to_string).collect();
    assert_eq!(
        names,
        [
            "import of meter p1",
            "interval-energy of meter p1",
            "power of meter p1",
            "import of meter p1-s1",
            "interval-energy of meter p1-s1",
            "power of meter p1-s1",
            "speed of press p1",
            "web-length of press p1",
            "lamp-level of station p1/s1",
            "lamp-kind of station p1/s1",
            "lamp-state of station p1/s1",
        ]
    );
    let reach = attribute::reach(&hall.plant, date(MONDAY));
    assert!(reach.start <= on("00:00") - 2 * HOUR && reach.end >= on("00:00") + 26 * HOUR);
}

/// Readings as a hall delivers them: loads that come and go, and everything that goes wrong with a register.
struct Rough(u64);

impl Rough {
    /// A number below `limit` (Knuth's constants for a 64-bit linear congruential generator).
    fn below(&mut self, limit: i64) -> i64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((self.0 >> 33) as i64) % limit
    }

    /// A register of one meter over a period, its troubles among its readings.
    fn register(&mut self, period: Period, most: i64, step: i64) -> Vec<Reading> {
        let (mut at, mut mwh, mut watts, mut base) = (period.start, self.below(1_000_000_000), 0, 0);
        let mut readings = Vec::new();
        while at < period.end {
            if self.below(20) == 0 {
                watts = [0, 15, most / 3, most][self.below(4) as usize];
            }
            let pause = if self.below(200) == 0 { self.below(100 * MINUTE) } else { self.below(90_000) + 1 };
            at = at + pause;
            mwh += watts * pause / 3_600;
            let count = mwh / 1_000 / step * step - base;
            match self.below(150) {
                0 => readings.push(Reading { at, count: count - step }),
                1 => readings.push(Reading { at, count: self.below(2_000_000) }),
                2 => readings.push(Reading { at, count: 0 }),
                // From one step to nothing is no new start but a tremble.
                3 if count > step => base += count,
                _ => readings.push(Reading { at, count }),
            }
        }
        readings
    }

    fn hall(&mut self, period: Period) -> Hall {
        let step = [1, 10, 100][self.below(3) as usize];
        let mut hall = one_press(LampKind::Arc)
            .meter("site", Covers::Site, "")
            .change("p1", |meter| meter.below = Some(MeterId::from("site")))
            .change("p1-s1", |meter| meter.device = Dated::always(Device { step, ..device() }))
            .load("fan", &["p1"], ShareRule::Energy, Some(LampKind::Arc))
            .meter("fan", Covers::Load(LoadId::from("fan")), "site");
        hall = hall.draws_in("site", period, &[(period.start, 43_210)]);
        for (meter, most, step) in [("p1", 20_000, 1), ("p1-s1", 5_000, step), ("fan", 8_000, 1)] {
            let readings = self.register(period, most, step);
            *hall.readings(Subject::Meter(MeterId::from(meter)), Quantity::Import) = readings;
        }
        let mut at = period.start;
        let mut speed = Vec::new();
        while at < period.end {
            let job = format!("J{}", at.0);
            at = at + self.below(3 * HOUR);
            let end = at + self.below(4 * HOUR);
            hall = hall.run("p1", &job, at, None, (self.below(10) > 0).then_some(end));
            speed.extend([
                Reading { at: at + 1, count: 60_000 },
                Reading { at: at + self.below(3 * HOUR) + 2, count: 0 },
            ]);
            at = at + self.below(3 * HOUR);
        }
        speed.sort();
        *hall.readings(Subject::Press(PressId::from("p1")), Quantity::Speed) = speed;
        hall
    }
}

/// What a store gives for a day: the readings within reach and the nearest one on either side, the runs that touch it.
fn within_reach(hall: &Hall, day: &str) -> Hall {
    let reach = attribute::reach(&hall.plant, date(day));
    let mut near = hall.clone();
    for readings in near.facts.readings.values_mut() {
        let start = readings.partition_point(|r| r.at < reach.start).saturating_sub(1);
        let end = (readings.partition_point(|r| r.at < reach.end) + 1).min(readings.len());
        *readings = readings[start..end].to_vec();
    }
    let events: Vec<Event> =
        hall.facts.runs.iter().map(|run| event(run.id.as_str(), Rank::Live, run.clone())).collect();
    near.facts.runs = attribute::runs(&events, reach);
    near
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn the_slices_of_a_site_add_up_to_its_supply_whatever_happens_below(seed in any::<u64>()) {
        let hall = Rough(seed).hall(around(MONDAY));
        let found = hall.day();
        prop_assert_eq!(used(&found, "site"), wh(43_210 * 24));
        prop_assert_eq!(sum(&found, |_| true), used(&found, "site"));
        for meter in ["p1-s1", "fan"] {
            prop_assert_eq!(sum(&found, of(meter)), used(&found, meter));
        }
    }

    #[test]
    fn the_order_of_arrival_changes_nothing(seed in any::<u64>(), turn in 1_usize..1_000) {
        let hall = Rough(seed).hall(around(MONDAY));
        let mut turned = hall.clone();
        for readings in turned.facts.readings.values_mut() {
            let by = turn % readings.len();
            readings.rotate_left(by);
            readings.swap(0, by);
        }
        turned.facts.runs.reverse();
        prop_assert_eq!(hall.day(), turned.day());
    }

    #[test]
    fn a_day_on_its_own_is_the_same_as_within_the_whole(seed in any::<u64>()) {
        let days = ["2026-03-01", MONDAY, "2026-03-03"];
        let hall = Rough(seed).hall(Period::new(around(days[0]).start, around(days[2]).end));
        for day in days {
            let (near, whole) = (within_reach(&hall, day).day_of(day).value, hall.day_of(day).value);
            for (alone, within) in near.slices.iter().zip(&whole.slices) {
                prop_assert_eq!(alone, within, "{}", day);
            }
            prop_assert_eq!(near.slices.len(), whole.slices.len());
            prop_assert!(near.usage == whole.usage);
        }
    }

    #[test]
    fn a_fold_that_is_paused_goes_on_as_if_it_had_not_been(seed in any::<u64>(), pause in 0_usize..1_000) {
        let hall = Rough(seed).hall(around(MONDAY));
        let meter = hall.plant.meter(&MeterId::from("p1-s1")).expect("a meter");
        let series = Series::new(Subject::Meter(meter.id.clone()), Quantity::Import);
        let readings = &hall.facts.readings[&series];
        let (early, late) = readings.split_at(pause % readings.len());
        let mut whole = attribute::MeterFold::new(Arc::new(meter.clone()));
        readings.iter().for_each(|reading| whole.push(*reading));
        let mut halves = attribute::MeterFold::new(Arc::new(meter.clone()));
        early.iter().for_each(|reading| halves.push(*reading));
        let seen_at_the_pause = halves.clone().finish();
        late.iter().for_each(|reading| halves.push(*reading));
        prop_assert_eq!(halves.finish(), whole.finish());
        prop_assert!(seen_at_the_pause.value.pieces().len() <= readings.len() * 3);
    }
}

/// The readings of a hall between two instants, as they are taken up together.
fn between(hall: &Hall, from: At, to: At) -> BTreeMap<Series, Vec<Reading>> {
    let period = Period::new(from, to);
    let within = |readings: &Vec<Reading>| readings.iter().filter(|r| period.contains(r.at)).copied().collect();
    hall.facts.readings.iter().map(|(series, readings)| (series.clone(), within(readings))).collect()
}

/// A hall whose station is read every second or so for some hours, its power as well, with gaps.
fn read_fast(seed: u64) -> Hall {
    let mut rough = Rough(seed);
    let mut hall = rough.hall(around(MONDAY));
    let meter = Subject::Meter(MeterId::from("p1-s1"));
    let (mut at, mut mwh, mut watts) = (on("07:00"), 0, 2_000);
    let (mut register, mut power) = (Vec::new(), Vec::new());
    while at < on("10:00") {
        let pause = if rough.below(500) == 0 { rough.below(10 * MINUTE) } else { 900 + rough.below(200) };
        at = at + pause + 1;
        mwh += watts * (pause + 1) / 3_600;
        watts = if rough.below(300) == 0 { [0, 20, 2_000, 5_000][rough.below(4) as usize] } else { watts };
        if rough.below(50) > 0 {
            register.push(Reading { at, count: 500 + mwh / 1_000 });
        }
        if rough.below(50) > 0 {
            power.push(Reading { at: at - rough.below(2), count: watts });
        }
    }
    *hall.readings(meter.clone(), Quantity::Import) = register;
    *hall.readings(meter, Quantity::Power) = power;
    hall
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(50))]

    #[test]
    fn a_day_that_is_taken_up_in_parts_is_the_day_taken_up_at_once(
        seed in any::<u64>(),
        cuts in prop::collection::btree_set(0_i64..24 * HOUR, 1..6),
        fast in any::<bool>(),
    ) {
        let hall = if fast { read_fast(seed) } else { Rough(seed).hall(around(MONDAY)) };
        let mut fold = DayFold::new(&hall.plant);
        let (mut from, begin) = (around(MONDAY).start, around(MONDAY).start);
        for until in cuts.into_iter().map(|cut| on("00:00") + cut) {
            fold.push(&between(&hall, from, until));
            let mut fresh = DayFold::new(&hall.plant);
            fresh.push(&between(&hall, begin, until));
            let ledger = |fold| attribute::ledger(&hall.plant, fold, &hall.facts.runs, date(MONDAY), Some(until));
            prop_assert_eq!(ledger(&fold), ledger(&fresh));
            from = until;
        }
    }
}

#[test]
fn quarter_hours_add_up_to_the_slices_in_them() {
    let start = on("00:00") - 4 * HOUR;
    let hall = one_press(LampKind::Arc)
        .draws("p1", &[(start, 6_500)])
        .draws("p1-s1", &[(start, 2_000), (on("08:07"), 5_000)])
        .web("p1", &[Period::new(on("08:07"), on("09:01"))]);
    let found = hall.day();
    let mut sums: BTreeMap<At, Energy> = BTreeMap::new();
    for slice in found.value.slices.iter().filter(|slice| of("p1-s1")(slice)) {
        *sums.entry(slice.usage.period.start.floor(QUARTER)).or_default() += slice.usage.energy.expect("known");
    }
    let usage = found.value.usage.iter().filter(|u| u.meter.as_str() == "p1-s1");
    assert_eq!(usage.filter_map(|u| Some((u.period.start, u.energy?))).collect::<BTreeMap<_, _>>(), sums);
}
