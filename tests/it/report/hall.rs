//! An invented hall with a month of slices: three presses, a fan, a chiller, a half-hourly supply meter.

use chrono::{Datelike, NaiveDate, NaiveTime, Timelike, Weekday};
use inkwatt::attribute::{Amount, Claim, DayLedger, DaySums, LampState, Owner, Placed, PressState, Slice, Usage};
use inkwatt::carbon::{Basis, Beside, FactorSet, Gas, Method, Status};
use inkwatt::cost::{Band, Tariff, Terms, Window};
use inkwatt::found::{Found, Issue, Remark};
use inkwatt::names::{LoadId, MeterId, PressId, RunId, StationId};
use inkwatt::plant::{
    Boundary, Calendar, Covers, Dated, Flow, LampKind, Meter, Plant, Point, Press, ShareRule, SharedLoad, Station,
    StationUse,
};
use inkwatt::readings::Run;
use inkwatt::time::{At, MINUTE, Month, Period, QUARTER, Zone};
use inkwatt::units::{Decimal, Energy};
use std::collections::BTreeMap;

/// A decimal as written.
pub fn decimal(text: &str) -> Decimal {
    Decimal::parse(text).expect("a decimal")
}

/// A date as written.
pub fn date(text: &str) -> NaiveDate {
    text.parse().expect("a date")
}

/// The hall: presses of 8, 8 and 10 stations.
pub fn plant() -> Plant {
    let presses = [("p1", "Press 1", 8), ("p2", "Press 2", 8), ("p3", "Press 3", 10)];
    let mut meters = vec![
        meter("fan", "Extraction fan", Covers::Load(LoadId::from("fan")), Some("site"), 60_000),
        meter("chiller", "Chiller", Covers::Load(LoadId::from("chiller")), Some("site"), 60_000),
        meter("site", "Supply", Covers::Site, None, 30 * MINUTE),
    ];
    for (press, name, stations) in presses {
        let id = PressId::from(press);
        meters.push(meter(press, name, Covers::Press(id.clone()), Some("site"), 60_000));
        for k in 1..=stations {
            let covers = Covers::Station(StationId::of(&id, &format!("s{k}")));
            meters.push(meter(&format!("{press}-s{k}"), &format!("{name}, station {k}"), covers, Some(press), 60_000));
        }
    }
    meters.sort_by(|a, b| a.id.cmp(&b.id));
    Plant {
        name: "Quillhaven Labels".into(),
        zone: Zone::parse("Europe/London").expect("a zone"),
        currency: "GBP".into(),
        grid: "GB".into(),
        markets: vec!["GB".into()],
        calendar: Calendar::default(),
        presses: presses.map(|(id, name, n)| press(id, name, n)).to_vec(),
        loads: vec![
            load("chiller", "Chiller", &["p1", "p2", "p3"], ShareRule::Energy, None),
            load("fan", "Extraction fan", &["p1", "p3"], ShareRule::LampTime, Some(LampKind::Arc)),
        ],
        lamps: Vec::new(),
        meters,
    }
}

fn load(id: &str, name: &str, serves: &[&str], rule: ShareRule, only: Option<LampKind>) -> SharedLoad {
    SharedLoad {
        id: LoadId::from(id),
        name: name.into(),
        serves: serves.iter().map(|p| PressId::from(*p)).collect(),
        rule,
        only,
    }
}

fn press(id: &str, name: &str, stations: u32) -> Press {
    let id = PressId::from(id);
    let station = |k: u32| Station {
        id: StationId::of(&id, &format!("s{k}")),
        name: if k == stations {
            "varnish".into()
        } else if k == 1 {
            "white".into()
        } else {
            format!("colour {}", k - 1)
        },
        does: if k == stations { StationUse::Varnish } else { StationUse::Ink },
        fitted: Dated::default(),
        implementation: Vec::new(),
    };
    Press { stations: (1..=stations).map(station).collect(), id, name: name.into(), moving_mm_min: 3_000 }
}

fn meter(id: &str, name: &str, covers: Covers, below: Option<&str>, native: i64) -> Meter {
    let point = match covers {
        Covers::Site => Point::Supply,
        Covers::Press(_) => Point::PressMain,
        Covers::Station(_) => Point::LampSupply,
        Covers::Load(_) => Point::Cabinet,
    };
    Meter {
        id: MeterId::from(id),
        name: name.into(),
        fiscal: covers == Covers::Site,
        covers,
        flow: Flow::Import,
        below: below.map(MeterId::from),
        boundary: Dated::always(Boundary { point, includes: Vec::new() }),
        device: Dated::default(),
        max_watts: 10_000,
        native,
        class: None,
        circuit: None,
    }
}

/// Day and night prices and a standing charge from a day on.
pub fn tariff(name: &str, from: &str, to: Option<&str>, day: &str, night: &str) -> Tariff {
    let time = |hour| NaiveTime::from_hms_opt(hour, 0, 0).expect("a time");
    let weekdays = vec![Weekday::Mon, Weekday::Tue, Weekday::Wed, Weekday::Thu, Weekday::Fri];
    let window = Window { days: weekdays, months: Vec::new(), from: time(7), to: time(23), not_on_holidays: true };
    let band =
        |name: &str, price, windows| Band { name: name.into(), price: decimal(price), blocks: Vec::new(), windows };
    Tariff {
        name: name.into(),
        valid_from: date(from),
        valid_to: to.map(date),
        currency: "GBP".into(),
        source: "invented contract 7".into(),
        bands: vec![band("day", day, vec![window]), band("night and weekend", night, Vec::new())],
        standing_per_day: decimal("1.85"),
        terms: Terms::default(),
    }
}

/// A set with the UK values of 2025 and 2024 for a year.
pub fn factors(year: i32) -> FactorSet {
    let (generation, losses, gases) = match year {
        2024 => ("0.20705", "0.01830", vec![(Gas::Co2, decimal("0.20493"))]),
        _ => ("0.17700", "0.01853", Vec::new()),
    };
    FactorSet {
        method: Method::Location,
        region: "GB".into(),
        publication: format!("UK government conversion factors {year}"),
        version: "1.0".into(),
        published: format!("{year}-06"),
        valid_from: date(&format!("{year}-01-01")),
        valid_to: date(&format!("{year}-12-31")),
        status: if year == 2024 { Status::Final } else { Status::Provisional },
        co2_only: false,
        gwp: "AR5".into(),
        generation: decimal(generation),
        gases,
        beside: vec![(Beside::Losses, decimal(losses))],
        boundary: Basis::Generated,
        supply_inside: false,
        printed: format!("{generation} kg/kWh"),
        data_year: None,
        url: None,
        sha256: None,
        note: None,
        grade: "B+".into(),
        source: "flat file of the publication".into(),
        licence: "Open Government Licence v3.0".into(),
    }
}

/// A month in the hall.
pub struct Hall {
    /// Its days.
    pub days: Vec<Found<DayLedger>>,
    /// What each of them adds up to.
    pub sums: Vec<DaySums>,
    /// Its runs.
    pub runs: Vec<Run>,
}

struct Owned<'a> {
    press: &'a PressId,
    state: PressState,
    run: Option<RunId>,
}

/// Repeatable variation between 0 and 99.
fn shade(seed: i64) -> i64 {
    (seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407) >> 40).rem_euclid(100)
}

/// A month of two shifts; press 2 has the kind of lamp given, press 3 an arc varnish station.
pub fn hall(plant: &Plant, month: Month, p2: LampKind) -> Hall {
    let mut hall = Hall { days: Vec::new(), sums: Vec::new(), runs: Vec::new() };
    for day in month.days() {
        let works = day.weekday().number_from_monday() <= 5;
        let mut ledger = DayLedger { date: day, usage: Vec::new(), slices: Vec::new() };
        let mut web = BTreeMap::new();
        let mut at = plant.zone.day(day).start;
        while at < plant.zone.day(day).end {
            quarter(plant, &mut hall, &mut web, &mut ledger, p2, works, at);
            at = at + QUARTER;
        }
        supply(&mut ledger);
        ledger.slices.sort();
        ledger.usage.sort();
        let issues = if day.day() == 18 { vec![gap(plant, day)] } else { Vec::new() };
        hall.sums.push(DaySums::of(plant, &ledger, Some(works), web));
        hall.days.push(Found { value: ledger, issues });
    }
    hall
}

fn gap(plant: &Plant, day: NaiveDate) -> Issue {
    Issue {
        remark: Remark::NegativeRest,
        about: "meter p1".into(),
        period: plant.zone.day(day),
        text: "the stations below show 4.2 kWh more than the press".into(),
    }
}

fn quarter(
    plant: &Plant,
    hall: &mut Hall,
    web: &mut BTreeMap<PressId, i64>,
    ledger: &mut DayLedger,
    p2: LampKind,
    works: bool,
    at: At,
) {
    let local = plant.zone.local(at);
    let (hour, period) = (local.hour(), Period::new(at, at + QUARTER));
    for (number, press) in (0_i64..).zip(&plant.presses) {
        let shift = works && (6..22).contains(&hour);
        let block = i64::from(hour) / 4;
        let key = ledger.date.num_days_from_ce() as i64 * 100 + number * 10 + block;
        let into = i64::from(hour) % 4 * 4 + i64::from(local.minute()) / 15;
        let state = match (shift, into) {
            (false, _) => PressState::Idle,
            (true, 0 | 1) => PressState::MakeReady,
            (true, 9) if shade(key) < 30 => PressState::Stopped,
            (true, 15) if number == 2 => PressState::NoJob,
            (true, _) => PressState::Running,
        };
        let run = (shift && state != PressState::NoJob).then(|| RunId::from(format!("{}-{key}", press.id).as_str()));
        if let Some(id) = run.as_ref().filter(|id| !hall.runs.iter().any(|known| known.id == **id)) {
            hall.runs.push(job(id, &press.id, at, key));
        }
        if matches!(state, PressState::Running | PressState::NoJob) {
            *web.entry(press.id.clone()).or_default() += 15 * 62_000 + shade(key + into) * 1_000;
        }
        let owned = Owned { press: &press.id, state, run };
        stations(ledger, press, &owned, p2, period, shade(key));
        common(ledger, &owned, period, shift);
    }
}

fn job(id: &RunId, press: &PressId, start: At, key: i64) -> Run {
    Run {
        id: id.clone(),
        press: press.clone(),
        job: format!("{}", 40_000 + key % 10_000),
        product: Some(["wine front", "shampoo back", "jam 340 g", "tyre tag"][(shade(key) % 4) as usize].into()),
        start,
        ready: Some(start + 2 * QUARTER),
        end: Some(start + 15 * QUARTER),
        width_mm: Some(330 + shade(key) % 3 * 40),
        planned_mm: Some(12_000_000),
        good_mm: Some(10_500_000 + shade(key + 5) * 20_000),
    }
}

fn stations(ledger: &mut DayLedger, press: &Press, owned: &Owned, p2: LampKind, period: Period, shade: i64) {
    for (k, station) in press.stations.iter().enumerate() {
        let last = k + 1 == press.stations.len();
        let kind = match press.id.as_str() {
            "p1" => LampKind::Arc,
            "p2" => p2,
            _ if last => LampKind::Arc,
            _ => LampKind::Led,
        };
        let lit = k < 4 || last || shade % (k as i64 + 2) == 0;
        let (lamp, watts) = match (owned.state, kind) {
            (PressState::Idle, _) if press.id.as_str() == "p1" && k == 4 => (LampState::Standby, 1_990),
            (PressState::Idle, _) => (LampState::Off, 12),
            _ if !lit => (LampState::Off, 14),
            (PressState::Running | PressState::NoJob, LampKind::Arc) => (LampState::Curing, 5_350 + shade),
            (PressState::Running | PressState::NoJob, LampKind::Led) => (LampState::Curing, 1_980 + shade),
            (PressState::MakeReady, LampKind::Arc) => (LampState::WarmingUp, 3_900),
            (_, LampKind::Arc) => (LampState::Standby, 2_010),
            (_, LampKind::Led) => (LampState::Off, 30),
        };
        let meter = format!("{}-s{}", press.id, k + 1);
        let placed = match ledger.date.day() == 12 && press.id.as_str() == "p3" {
            true => Placed::Interpolated,
            false => Placed::Measured,
        };
        let mut usage = used(&meter, period, Energy::from_mwh(watts * 250 + shade));
        usage.placed = placed;
        if (ledger.date.day(), meter.as_str()) == (20, "p2-s3") {
            (usage.energy, usage.amount) = (None, Amount::Missing);
        }
        let owner = Owner {
            press: Some(owned.press.clone()),
            station: Some(station.id.clone()),
            lamp: Some(kind),
            press_state: Some(owned.state),
            lamp_state: Some(lamp),
            run: owned.run.clone(),
            claim: Claim::Own,
        };
        push(ledger, usage, owner);
    }
}

/// The press beyond its stations, and its shares of fan and chiller.
fn common(ledger: &mut DayLedger, owned: &Owned, period: Period, shift: bool) {
    let owner = |claim| Owner {
        press: Some(owned.press.clone()),
        station: None,
        lamp: None,
        press_state: Some(owned.state),
        lamp_state: None,
        run: owned.run.clone(),
        claim,
    };
    let watts = if shift { 3_100 } else { 240 };
    push(ledger, used(owned.press.as_str(), period, Energy::from_mwh(watts * 250)), owner(Claim::Rest));
    let share = if shift { 900 } else { 60 };
    push(ledger, used("chiller", period, Energy::from_mwh(share * 250)), owner(Claim::Shared));
    if owned.press.as_str() != "p2" && shift {
        push(ledger, used("fan", period, Energy::from_mwh(1_700 * 250)), owner(Claim::Shared));
    }
    if owned.press.as_str() == "p1" && !shift {
        let nobody = Owner { press: None, press_state: None, run: None, ..owner(Claim::Unassigned) };
        push(ledger, used("fan", period, Energy::from_mwh(300 * 250)), nobody);
    }
}

fn used(meter: &str, period: Period, energy: Energy) -> Usage {
    Usage {
        meter: MeterId::from(meter),
        period,
        energy: Some(energy),
        amount: Amount::Metered,
        placed: Placed::Measured,
    }
}

fn push(ledger: &mut DayLedger, usage: Usage, owner: Owner) {
    match ledger.usage.iter_mut().rev().take(40).find(|u| (&u.meter, u.period) == (&usage.meter, usage.period)) {
        Some(shared) => shared.energy = shared.energy.zip(usage.energy).map(|(a, b)| a + b),
        None => ledger.usage.push(usage.clone()),
    }
    ledger.slices.push(Slice { usage, owner });
}

/// The supply meter by half hours: all that is below it and a rest of 9 kW.
fn supply(ledger: &mut DayLedger) {
    let mut halves: BTreeMap<At, Energy> = BTreeMap::new();
    for usage in &ledger.usage {
        *halves.entry(usage.period.start.floor(2 * QUARTER)).or_default() += usage.energy.unwrap_or(Energy::ZERO);
    }
    for (start, below) in halves {
        let period = Period::new(start, start + 2 * QUARTER);
        let rest = Energy::from_wh(4_500);
        let owner = Owner {
            press: None,
            station: None,
            lamp: None,
            press_state: None,
            lamp_state: None,
            run: None,
            claim: Claim::Rest,
        };
        ledger.slices.push(Slice { usage: used("site", period, rest), owner });
        ledger.usage.push(used("site", period, below + rest));
    }
}
