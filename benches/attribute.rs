//! Attribution of a month of 40 meters that are read every 10 s: about 10 million register readings, on one core.

use chrono::NaiveDate;
use inkwatt::attribute::{self, DayFacts, Slice};
use inkwatt::names::{LampId, MeterId, PressId, RunId, StationId};
use inkwatt::plant::{
    Bands, Calendar, Covers, Dated, Device, Flow, Lamp, LampKind, Meter, Plant, Press, RatedAt, Ratio, Station,
    StationUse,
};
use inkwatt::readings::{Quantity, Reading, Run, Series, Subject};
use inkwatt::time::{At, HOUR, MINUTE, Month, Period, Zone};
use inkwatt::units::{Decimal, Energy};
use std::time::{Duration, Instant};

const PRESSES: usize = 4;
const STATIONS: usize = 9;
const INTERVAL: i64 = 10_000;

fn main() {
    let plant = plant();
    let month = Month { year: 2026, month: 3 };
    let (mut readings, mut slices, mut took) = (0, 0, Duration::ZERO);
    let mut total = Energy::ZERO;
    for date in month.days() {
        let facts = facts(&plant, date);
        readings += facts.readings.values().map(Vec::len).sum::<usize>();
        let start = Instant::now();
        let ledger = attribute::day(&plant, &facts, date).value;
        took += start.elapsed();
        slices += ledger.slices.len();
        total += ledger.slices.iter().filter_map(|slice: &Slice| slice.usage.energy).sum();
    }
    println!("{} meters, {month}: {readings} readings become {slices} slices, {total} kWh", plant.meters.len());
    println!(
        "attributed in {:.2} s on one core: {:.0} ns a reading",
        took.as_secs_f64(),
        took.as_nanos() as f64 / readings as f64
    );
}

/// Four presses of nine stations, each with its main: 40 meters.
fn plant() -> Plant {
    let mut plant = Plant {
        name: "Bench".into(),
        zone: Zone::parse("Europe/London").expect("a zone"),
        currency: "GBP".into(),
        grid: "GB".into(),
        markets: Vec::new(),
        calendar: Calendar::default(),
        presses: vec![],
        loads: vec![],
        lamps: vec![],
        meters: vec![],
    };
    for press in (1..=PRESSES).map(|n| PressId::from(format!("p{n}").as_str())) {
        let main = MeterId::from(press.as_str());
        plant.meters.push(meter(main.clone(), Covers::Press(press.clone()), None));
        let mut stations = Vec::new();
        for station in (1..=STATIONS).map(|n| StationId::of(&press, &format!("s{n}"))) {
            let lamp = LampId::from(format!("{press}-{}", station.short()).as_str());
            let id = MeterId::from(lamp.as_str());
            plant.meters.push(meter(id, Covers::Station(station.clone()), Some(main.clone())));
            let fitted = Dated::always(Some(lamp.clone()));
            plant.lamps.push(arc(lamp));
            let name = station.short().to_owned();
            stations.push(Station { id: station, name, does: StationUse::Ink, fitted, implementation: vec![] });
        }
        plant.presses.push(Press { name: press.to_string(), id: press, stations, moving_mm_min: 5_000 });
    }
    plant.meters.sort_by(|a, b| a.id.cmp(&b.id));
    plant
}

fn arc(id: LampId) -> Lamp {
    Lamp {
        id,
        kind: LampKind::Arc,
        serial: None,
        length_mm: 406,
        w_per_cm: Decimal::parse("140").expect("a rating"),
        rated_at: RatedAt::Mains,
        bands: Bands { standby: 800, curing: 3_000, hysteresis: 200, dwell: MINUTE },
    }
}

fn meter(id: MeterId, covers: Covers, below: Option<MeterId>) -> Meter {
    let device = Device {
        serial: "A".into(),
        mwh_per_count: Ratio { num: 1_000, den: 1 },
        mw_per_count: Ratio::ONE,
        transformers: Ratio::ONE,
        step: 1,
        modulus: Some(100_000_000),
        start_count: None,
        end_count_before: None,
    };
    Meter {
        name: id.to_string(),
        id,
        covers,
        flow: Flow::Import,
        below,
        fiscal: false,
        boundary: Dated::default(),
        device: Dated::always(device),
        max_watts: 100_000,
        native: INTERVAL,
        class: Some("1".into()),
        circuit: None,
    }
}

/// Two shifts of jobs of two hours, each begun by 20 minutes of make-ready; lamps on standby between them.
fn facts(plant: &Plant, date: NaiveDate) -> DayFacts {
    let reach = attribute::reach(plant, date);
    let mut facts = DayFacts::default();
    for meter in &plant.meters {
        let (rest, each) = if meter.below.is_none() { (6_000, 9) } else { (0, 1) };
        let mut mwh = 1_000_000_000_i64;
        let readings = (0..=reach.millis() / INTERVAL).map(|k| {
            let at = reach.start + k * INTERVAL;
            // A draw that is never quite the same.
            let watts = rest + each * if prints(at) { 4_600 + at.0 / INTERVAL % 97 } else { 1_900 };
            mwh += watts * INTERVAL / 3_600;
            Reading { at, count: mwh / 1_000 }
        });
        facts.readings.insert(Series::new(Subject::Meter(meter.id.clone()), Quantity::Import), readings.collect());
    }
    for press in &plant.presses {
        let speed = (0..=reach.millis() / INTERVAL).map(|k| {
            let at = reach.start + k * INTERVAL;
            Reading { at, count: if prints(at) { 60_000 } else { 0 } }
        });
        facts.readings.insert(Series::new(Subject::Press(press.id.clone()), Quantity::Speed), speed.collect());
        let starts = (0..).map(|k| reach.start.ceil(2 * HOUR) + k * 2 * HOUR).take_while(|at| *at < reach.end);
        facts.runs.extend(starts.filter(|at| works(*at)).map(|start| run(&press.id, start)));
    }
    facts
}

fn run(press: &PressId, start: At) -> Run {
    Run {
        id: RunId::from(format!("{press}-{}", start.0).as_str()),
        press: press.clone(),
        job: start.0.to_string(),
        product: None,
        start,
        ready: None,
        end: Some(start + 110 * MINUTE),
        width_mm: None,
        planned_mm: None,
        good_mm: None,
    }
}

fn works(at: At) -> bool {
    (6..22).contains(&(at.0 / HOUR % 24))
}

fn prints(at: At) -> bool {
    let job = Period::new(At(20 * MINUTE), At(110 * MINUTE));
    works(at) && job.contains(At(at.0 % (2 * HOUR)))
}
