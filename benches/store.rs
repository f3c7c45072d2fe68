//! Write, size and scan of the store: 40 meters, 6 quantities every 10 s with jitter, a week.
//!
//! Figures of one run compare only with each other: the last line sets the scan of packed readings against that of the
//! same readings before they are packed.

use chrono::NaiveDate;
use inkwatt::attribute::{Amount, Claim, DayLedger, DaySums, LampState, Owner, Placed, PressState, Slice, Usage};
use inkwatt::found::Found;
use inkwatt::plant::LampKind;
use inkwatt::readings::{Quantity, Rank, Reading, Series, Subject};
use inkwatt::store::{Access, Store};
use inkwatt::time::{At, HOUR, MINUTE, Period, Zone};
use inkwatt::units::Energy;
use std::collections::BTreeMap;
use std::time::Instant;
use tempfile::TempDir;

const METERS: usize = 40;
const DAYS: i64 = 7;
const DAY: i64 = 24 * HOUR;
/// Midnight UTC on 5 January 2026, a Monday.
const START: At = At(1_767_571_200_000);

/// A plain generator of numbers (xorshift64): the same on every machine.
struct Noise(u64);

impl Noise {
    /// Within `-size ..= size`.
    fn within(&mut self, size: i64) -> i64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 % (2 * size as u64 + 1)) as i64 - size
    }
}

/// A meter on a press: standby and jobs, 1 % noise at rest and 2.5 % under load.
struct Meter {
    noise: Noise,
    wh: i64,
    milli: i64,
    varh: i64,
}

impl Meter {
    fn day(&mut self, number: usize, day: i64) -> Vec<(Series, Vec<Reading>)> {
        let quantities = [
            Quantity::Import,
            Quantity::ReactiveLag,
            Quantity::Power,
            Quantity::Current(1),
            Quantity::Voltage(1),
            Quantity::PowerFactor(0),
        ];
        let subject = Subject::Meter(format!("m{number}").as_str().into());
        let mut series: Vec<(Series, Vec<Reading>)> =
            quantities.into_iter().map(|q| (Series::new(subject.clone(), q), Vec::new())).collect();
        for k in 0..DAY / 10_000 {
            let at = START + day * DAY + k * 10_000 + 15 + self.noise.within(15);
            let hour = k / 360;
            let busy = (6..22).contains(&hour) && k % 400 > 90;
            let level = if busy { 8_000 + 150 * number as i64 } else { 900 };
            let watts = level + self.noise.within(level / if busy { 40 } else { 100 });
            let volts = 2_300 + self.noise.within(12);
            self.milli += watts * 10_000 / 3_600;
            self.wh += self.milli / 1_000;
            self.milli %= 1_000;
            self.varh += watts / 900;
            let factor = 930 + self.noise.within(4);
            let counts = [self.wh, self.varh, watts, watts * 10_000 / volts, volts * 100, factor];
            for ((_, readings), count) in series.iter_mut().zip(counts) {
                readings.push(Reading { at, count });
            }
        }
        series
    }
}

fn main() {
    let folder = TempDir::new().expect("a folder");
    let zone = Zone::parse("Europe/London").expect("a zone");
    let mut store = Store::open(folder.path(), zone, Access::Agent).expect("a store");
    let mut meters: Vec<Meter> =
        (0..METERS).map(|k| Meter { noise: Noise(77 + k as u64), wh: 0, milli: 0, varh: 0 }).collect();
    let (mut n, mut writing) = (0, 0.0);
    for day in 0..DAYS {
        let history: Vec<_> = meters.iter_mut().enumerate().flat_map(|(k, meter)| meter.day(k, day)).collect();
        let began = Instant::now();
        n += store.write_sealed("bench", Rank::Live, &history, None).expect("written").fresh;
        writing += began.elapsed().as_secs_f64();
    }
    let size: u64 = std::fs::read_dir(folder.path().join("store"))
        .expect("a folder")
        .map(|entry| entry.and_then(|entry| entry.metadata()).expect("a file").len())
        .sum();
    let week = Period::new(START, START + DAYS * DAY);
    let (packed, by_day) = (scan_series(&store, week), scan(&store, week));
    println!("packed write   {:8.1} million values/s ({n} values)", n as f64 / writing / 1e6);
    println!("on disk        {:8.3} bytes a value, with their times", size as f64 / n as f64);
    println!("packed scan    {packed:8.1} million values/s, a series at a time");
    println!("packed scan    {by_day:8.1} million values/s, a day of all series at a time");

    let hour = START + DAYS * DAY;
    let history: Vec<_> = meters.iter_mut().enumerate().flat_map(|(k, meter)| meter.day(k, DAYS)).collect();
    let ticks = 360;
    let began = Instant::now();
    for tick in 0..ticks {
        let readings: Vec<_> = history.iter().map(|(series, all)| (series.clone(), all[tick])).collect();
        store.commit("bench", Rank::Live, &readings, &[], None).expect("committed");
    }
    let commit = began.elapsed().as_secs_f64() / ticks as f64;
    println!("live commit    {:8.2} ms for {} values", commit * 1e3, history.len());
    let hot = scan(&store, Period::new(hour, hour + HOUR));
    println!("unpacked scan  {hot:8.1} million values/s; packed is {:.1} times as fast", by_day / hot);
    let began = Instant::now();
    let mut steps = 0;
    while store.seal(hour + HOUR + 6 * MINUTE).expect("packed") {
        steps += 1;
    }
    println!("packing        {:8.1} ms for that hour, in {steps} steps", began.elapsed().as_secs_f64() * 1e3);
    computed_month(&store);
}

/// A computed month of 4,500 slices a day is kept and read back.
fn computed_month(store: &Store) {
    let first = NaiveDate::from_ymd_opt(2026, 1, 1).expect("a date");
    let stamp = store.day_stamp(Period::new(START, START + DAY), &Found::clean(Vec::new()), b"").expect("a stamp");
    let slice = |k: i64| Slice {
        usage: Usage {
            meter: format!("m{}", k % 45).as_str().into(),
            period: Period::new(START + k / 45 * 864_000, START + (k / 45 + 1) * 864_000),
            energy: Some(Energy::from_mwh(k * 977)),
            amount: Amount::Metered,
            placed: Placed::Measured,
        },
        owner: Owner {
            press: Some(format!("p{}", k % 3).as_str().into()),
            station: Some(format!("p{}/s{}", k % 3, k % 10).as_str().into()),
            lamp: Some(LampKind::Led),
            press_state: Some(PressState::Running),
            lamp_state: Some(LampState::Curing),
            run: Some(format!("run-{}", k / 300).as_str().into()),
            claim: Claim::Own,
        },
    };
    let slices: Vec<Slice> = (0..4_500).map(slice).collect();
    let usage: Vec<Usage> = slices.iter().map(|slice| slice.usage.clone()).collect();
    let days: Vec<NaiveDate> = first.iter_days().take(31).collect();
    for date in &days {
        let ledger = DayLedger { date: *date, usage: usage.clone(), slices: slices.clone() };
        let (quarters, worked, web) = (vec![Some(Energy::ZERO); 96], Some(true), BTreeMap::new());
        let sums = DaySums { date: *date, quarters, whole: true, worked, web };
        store.cache_day(&stamp, &Found::clean(ledger), &sums);
    }
    let began = Instant::now();
    let n: usize =
        days.iter().filter_map(|date| store.cached_day(*date, &stamp)).map(|(day, _)| day.value.slices.len()).sum();
    println!("computed month {:8.1} ms for {n} slices", began.elapsed().as_secs_f64() * 1e3);
}

/// Millions of values a second over all series, one after the other.
fn scan_series(store: &Store, period: Period) -> f64 {
    let series = store.series().expect("series");
    let began = Instant::now();
    let read = |series| store.readings(series, period, false).expect("readings").value.len();
    let n: usize = series.iter().map(read).sum();
    n as f64 / began.elapsed().as_secs_f64() / 1e6
}

/// Millions of values a second over all series, day by day as attribution reads them.
fn scan(store: &Store, period: Period) -> f64 {
    let series = store.series().expect("series");
    let began = Instant::now();
    let mut n = 0;
    let mut start = period.start;
    while start < period.end {
        let day = Period::new(start, (start + DAY).min(period.end));
        n += store.readings_of(&series, day, false).expect("readings").value.values().map(Vec::len).sum::<usize>();
        start = day.end;
    }
    n as f64 / began.elapsed().as_secs_f64() / 1e6
}
