//! Write, size and scan of the store: 40 meters, 6 quantities every 10 s with jitter, a week.
//!
//! Figures of one run compare only with each other: the last line sets the scan of packed readings against that of the
//! same readings before they are packed.

use inkwatt::readings::{Quantity, Rank, Reading, Series, Subject};
use inkwatt::store::{Access, Store};
use inkwatt::time::{At, HOUR, MINUTE, Period, Zone};
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
    let packed = scan(&store, Period::new(START, START + DAYS * DAY));
    println!("packed write   {:8.1} million values/s ({n} values)", n as f64 / writing / 1e6);
    println!("on disk        {:8.3} bytes a value, with their times", size as f64 / n as f64);
    println!("packed scan    {packed:8.1} million values/s");

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
    println!("unpacked scan  {hot:8.1} million values/s; packed is {:.1} times as fast", packed / hot);
    let began = Instant::now();
    let mut steps = 0;
    while store.seal(hour + HOUR + 6 * MINUTE).expect("packed") {
        steps += 1;
    }
    println!("packing        {:8.1} ms for that hour, in {steps} steps", began.elapsed().as_secs_f64() * 1e3);
}

/// Millions of values a second over all series.
fn scan(store: &Store, period: Period) -> f64 {
    let series = store.series().expect("series");
    let began = Instant::now();
    let found = store.readings_of(&series, period, false).expect("readings");
    let n: usize = found.value.values().map(Vec::len).sum();
    n as f64 / began.elapsed().as_secs_f64() / 1e6
}
