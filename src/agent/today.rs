//! Today, taken up as it comes: each time only what was added since the last. What came late, or changes how readings
//! are to be read, has its subject taken up anew; the result is that of computing the day from all its facts.

use super::derive::Books;
use super::gather::{gather, step};
use crate::attribute::{self, DayFold, DayLedger};
use crate::found::Found;
use crate::readings::{Series, Subject};
use crate::store::{Store, StoreError};
use crate::time::{At, HOUR, Period};
use chrono::NaiveDate;
use std::collections::{BTreeMap, BTreeSet};

/// How often a count that differs is repeated: rows on their way into the segments count twice for a moment.
const RECOUNTS: usize = 3;

/// How many statements there were of each series.
type Heard = BTreeMap<Series, u64>;

/// The day that still runs, as far as it was taken up.
pub(super) struct Running {
    date: NaiveDate,
    /// From the reach of the day up to an instant.
    read: Period,
    /// The clock epoch: a new one supersedes what was read before.
    epoch: u32,
    heard: Heard,
    fold: DayFold,
}

impl Running {
    /// Takes up a day until an instant, which must lie far enough back that what was read by then is stored; goes on from
    /// where it was before, if it can.
    pub(super) fn until(before: Option<Self>, books: &Books, store: &Store, until: At) -> Result<Self, StoreError> {
        let plant = books.plant();
        let date = plant.zone.date(until);
        let epoch = store.newest_epoch()?;
        let read = Period::new(attribute::reach(plant, date).start, until);
        let goes_on = |before: &Self| {
            (before.date, before.epoch, before.read.start) == (date, epoch, read.start) && before.read.end <= until
        };
        let before = before.filter(goes_on).unwrap_or_else(|| Self {
            date,
            read,
            epoch,
            heard: Heard::new(),
            fold: DayFold::default(),
        });
        // Counted before anything is read: what arrives in between is found the next time.
        let ahead = store.heard(Period::new(before.read.end, until))?;
        let (heard, late) = before.behind(store)?;
        let (mut fold, anew) = before.fold.renewed(plant, &late);
        let series = attribute::needs(plant);
        let of_new: Vec<Series> = series.iter().filter(|series| anew.contains(&series.subject)).cloned().collect();
        if !of_new.is_empty() {
            gather(store, &mut fold, &of_new, before.read, false)?;
        }
        step(store, &mut fold, &series, Period::new(before.read.end, until))?;
        Ok(Self { date, read, epoch, heard: sum(heard, ahead), fold })
    }

    /// The ledger of the day until then.
    pub(super) fn ledger(&self, books: &Books) -> Found<DayLedger> {
        let until = self.read.end;
        attribute::ledger(books.plant(), &self.fold, &books.runs(self.read), self.date, Some(until))
    }

    /// How much there is by now of what was taken up, and about which subjects something was added.
    fn behind(&self, store: &Store) -> Result<(Heard, BTreeSet<Subject>), StoreError> {
        // A block of packed readings begins at the earliest with its UTC day.
        let behind = Period::new(self.read.start.floor(24 * HOUR), self.read.end);
        let mut heard = store.heard(behind)?;
        for _ in 0..RECOUNTS {
            if heard == self.heard || self.heard.is_empty() {
                break;
            }
            heard = store.heard(behind)?;
        }
        let all = heard.keys().chain(self.heard.keys());
        let added = all.filter(|series| heard.get(series) != self.heard.get(series));
        let late = added.map(|series| series.subject.clone()).collect();
        Ok((heard, late))
    }
}

fn sum(mut heard: Heard, more: Heard) -> Heard {
    more.into_iter().for_each(|(series, n)| *heard.entry(series).or_default() += n);
    heard
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::agent::keep_time::epoch_event;
    use crate::attribute::DayFacts;
    use crate::config::{self, Configuration};
    use crate::readings::{Event, Happening, Quantity, Rank, Reading, Run};
    use crate::store::Access;
    use crate::time::MINUTE;
    use proptest::prelude::*;
    use std::time::Instant;
    use tempfile::TempDir;

    const SECOND: i64 = 1_000;
    /// Midnight of a day in winter, when the clock in London shows UTC.
    const MIDNIGHT: At = At(1_772_409_600_000);
    /// The midnight before.
    const EVE: At = At(MIDNIGHT.0 - 24 * HOUR);

    /// A plant of so many presses of so many stations, each with its meter.
    fn plant(presses: usize, stations: usize, interval: &str) -> (TempDir, Configuration) {
        let folder = TempDir::new().expect("a folder");
        let mut text = "[plant]\nname = 'Hall'\nzone = 'Europe/London'\ncurrency = 'GBP'\ngrid = 'GB'\n".to_owned();
        let meter = |id: &str, more: &str| {
            format!(
                "[[meter]]\nid = '{id}'\n{more}\nboundary = {{ point = 'cabinet' }}\nmax_kw = 100\n\
                 interval = '{interval}'\ndevice = [{{ serial = 'A', wh_per_count = 1, w_per_count = 1 }}]\n"
            )
        };
        let (mut lamps, mut meters) = (Vec::new(), String::new());
        for p in 1..=presses {
            let station = |s| format!("{{ id = 's{s}', name = 'S{s}', does = 'ink', lamp = 'arc-{p}-{s}' }}");
            let places: Vec<String> = (1..=stations).map(station).collect();
            text += &format!(
                "[[press]]\nid = 'p{p}'\nname = 'P{p}'\nmoving_above = 3\nstations = [{}]\n",
                places.join(", ")
            );
            meters += &meter(&format!("p{p}"), &format!("covers = {{ press = 'p{p}' }}"));
            for s in 1..=stations {
                lamps.push(format!("{{ id = 'arc-{p}-{s}' }}"));
                let more = format!("covers = {{ station = 'p{p}/s{s}' }}\nbelow = 'p{p}'");
                meters += &meter(&format!("p{p}-s{s}"), &more);
            }
        }
        text += &format!(
            "[[lamps]]\ntype = 'arc'\nkind = 'arc'\nlength_mm = 400\nw_per_cm = 160\nrated_at = 'lamp'\n\
             bands = {{ standby_w = 400, curing_w = 2900, hysteresis_w = 150, dwell = '10s' }}\nassets = [{}]\n{meters}",
            lamps.join(", ")
        );
        std::fs::create_dir(folder.path().join("config")).expect("a folder");
        std::fs::write(folder.path().join("config/plant.toml"), text).expect("written");
        let configuration = config::load(folder.path()).expect("a configuration");
        (folder, configuration)
    }

    /// Numbers that look like chance (Knuth's constants for a 64-bit linear congruential generator).
    struct Rough(u64);

    impl Rough {
        fn below(&mut self, limit: i64) -> i64 {
            self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            ((self.0 >> 33) as i64) % limit
        }

        /// What the series of a plant show in a period, read every so many milliseconds at most.
        fn readings(&mut self, series: &[Series], period: Period, pause: i64) -> Vec<(Series, Reading)> {
            let mut all = Vec::new();
            for series in series {
                let mut at = period.start + self.below(pause);
                while at < period.end {
                    let minute = (at - EVE) / MINUTE;
                    let count = match series.quantity {
                        Quantity::Import if self.below(200) == 0 => self.below(1_000_000),
                        Quantity::Import => 100_000 + minute * 50,
                        Quantity::Power => [0, 20, 1_900, 5_000][(minute / 40 % 4) as usize] + self.below(10),
                        Quantity::Speed => (minute / 25 % 2) * 60_000,
                        _ => [0, 300, 1_000][self.below(3) as usize],
                    };
                    all.push((series.clone(), Reading { at, count }));
                    at = at + 1 + self.below(pause);
                }
            }
            all
        }

        /// Something that is recorded about the time between midnight and an instant.
        fn event(&mut self, until: At) -> Event {
            let at = MIDNIGHT + self.below(until - MIDNIGHT);
            let what = match self.below(4) {
                0 => Happening::LampFitted { station: "p1/s1".into(), lamp: None },
                1 => Happening::DeviceExchanged {
                    meter: "p1-s1".into(),
                    serial: at.to_string(),
                    end_count: None,
                    start_count: Some(0),
                },
                _ => Happening::Run(Run {
                    id: at.to_string().as_str().into(),
                    press: "p1".into(),
                    job: at.to_string(),
                    product: None,
                    start: at,
                    ready: None,
                    end: Some(at + self.below(3 * HOUR)),
                    width_mm: None,
                    planned_mm: None,
                    good_mm: None,
                }),
            };
            Event { id: at.to_string(), at, rank: Rank::Live, revision: 0, what, note: None }
        }
    }

    /// The ledger of the day from all that is stored up to an instant, read and computed at once.
    fn at_once(books: &Books, store: &Store, until: At) -> DayLedger {
        let date = books.plant().zone.date(until);
        let reads = Period::new(attribute::reach(books.plant(), date).start, until);
        let found = store.readings_of(&attribute::needs(books.plant()), reads, true).expect("readings");
        let mut facts = DayFacts { readings: found.value, runs: books.runs(reads), until: Some(until) };
        facts.readings.values_mut().for_each(|readings| readings.retain(|reading| reading.at < until));
        attribute::day(books.plant(), &facts, date).value
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(6))]

        #[test]
        fn what_is_taken_up_bit_by_bit_is_the_day_computed_at_once_whatever_comes_late(seed in any::<u64>()) {
            let mut rough = Rough(seed);
            let (folder, configuration) = plant(1, 2, "1min");
            let mut store = Store::open(folder.path(), configuration.plant.zone, Access::Agent).expect("a store");
            let series = attribute::needs(&configuration.plant);
            let series: Vec<Series> =
                series.into_iter().filter(|s| !matches!(s.quantity, Quantity::IntervalEnergy | Quantity::LampKind)).collect();
            let (mut until, mut held) = (MIDNIGHT - 3 * HOUR, Vec::new());
            let (mut running, mut epoch) = (None, 0);
            for round in 0..12 {
                let from = until;
                until = from + 1 + rough.below(if round == 0 { 4 * HOUR } else { 3 * HOUR });
                let pause = if rough.below(3) == 0 { 5 * SECOND } else { 2 * MINUTE };
                // Some of it comes late, or never.
                for (series, reading) in rough.readings(&series, Period::new(from, until), pause) {
                    held.push((series, reading, rough.below(40) == 0));
                }
                let (late, now): (Vec<_>, Vec<_>) = held.drain(..).partition(|(_, _, late)| *late);
                let now: Vec<_> = now.into_iter().map(|(series, reading, _)| (series, reading)).collect();
                store.commit_read("test", epoch, &now, &[]).expect("committed");
                held = late.into_iter().map(|(series, reading, _)| (series, reading, rough.below(2) == 0)).collect();
                if until > MIDNIGHT {
                    match rough.below(6) {
                        0 => {
                            // The clock was set back.
                            store.commit_read("clock", 0, &[], &[epoch_event(until - rough.below(HOUR), -1)]).expect("set");
                            epoch += 1;
                        }
                        1 => {
                            let at = now.first().map_or(until, |(_, reading)| reading.at);
                            let wrong = [(series[0].clone(), Reading { at, count: 7 })];
                            store.commit("hand", Rank::Correction, &wrong, &[], None).expect("corrected");
                        }
                        2 | 3 => {
                            store.commit("hand", Rank::Live, &[], &[rough.event(until)], None).expect("recorded");
                        }
                        _ => while store.seal(until + rough.below(2 * HOUR)).expect("packed") {},
                    }
                }
                let reader = Store::open(folder.path(), configuration.plant.zone, Access::Read).expect("a store");
                let books = Books::open(folder.path(), &configuration, until).expect("books");
                let next = Running::until(running.take(), &books, &reader, until).expect("taken up");
                let expected = at_once(&books, &reader, until);
                prop_assert_eq!(next.ledger(&books).value, expected.clone(), "round {}", round);
                let computed = books.ledgers(&[configuration.plant.zone.date(until)]).expect("computed");
                prop_assert_eq!(&computed[0].value, &expected);
                running = Some(next);
            }
        }
    }

    /// The most memory that this process ever had, in megabytes.
    fn most_memory() -> u64 {
        let status = std::fs::read_to_string("/proc/self/status").expect("Linux tells");
        let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:")).expect("a high-water mark");
        line.trim().trim_end_matches("kB").trim().parse::<u64>().expect("kilobytes") / 1_024
    }

    /// Printed by `cargo test --release --lib today -- --ignored --nocapture`.
    #[test]
    #[ignore = "a measurement"]
    fn the_minute_of_150_meters_at_one_second() {
        let (folder, configuration) = plant(15, 9, "1s");
        let mut store = Store::open(folder.path(), configuration.plant.zone, Access::Agent).expect("a store");
        let read = |series: &Series, at: At| {
            let second = (at - EVE) / SECOND;
            let draws = [0, 1_900, 5_000, 4_800][(second / 1_800 % 4) as usize];
            let count = if series.quantity == Quantity::Power { draws + second % 97 } else { second };
            Reading { at, count }
        };
        let wanted = |s: &Series| matches!(s.quantity, Quantity::Import | Quantity::Power);
        let series: Vec<Series> = attribute::needs(&configuration.plant).into_iter().filter(wanted).collect();
        let seconds = |from: At, to: At| (0..(to - from) / SECOND).map(move |k| from + k * SECOND + 300);
        let evening = MIDNIGHT + 23 * HOUR;
        let mut from = MIDNIGHT - 3 * HOUR;
        while from < evening {
            let to = (from + HOUR).min(evening);
            let history: Vec<(Series, Vec<Reading>)> =
                series.iter().map(|s| (s.clone(), seconds(from, to).map(|at| read(s, at)).collect())).collect();
            store.write_sealed("test", Rank::Live, &history, None).expect("written");
            from = to;
        }
        println!("{} series written, {} MB at most so far", series.len(), most_memory());
        let mut running = None;
        // Of about an hour nothing is packed yet: the most that ever is.
        for minute in 55..59 {
            let until = evening + minute * MINUTE;
            let from = if running.is_none() { evening } else { until - MINUTE };
            for at in seconds(from, until) {
                let now: Vec<_> = series.iter().map(|s| (s.clone(), read(s, at))).collect();
                store.commit_read("test", 0, &now, &[]).expect("committed");
            }
            let begun = Instant::now();
            let reader = Store::open(folder.path(), configuration.plant.zone, Access::Read).expect("a store");
            let books = Books::open(folder.path(), &configuration, until).expect("books");
            let next = Running::until(running.take(), &books, &reader, until).expect("taken up");
            let taken = begun.elapsed();
            let slices = next.ledger(&books).value.slices.len();
            println!("taken up in {taken:?}, {slices} slices in {:?}, {} MB at most", begun.elapsed(), most_memory());
            running = Some(next);
        }
        let books = Books::open(folder.path(), &configuration, MIDNIGHT + 48 * HOUR).expect("books");
        let begun = Instant::now();
        books.ledgers(&[configuration.plant.zone.date(MIDNIGHT)]).expect("computed");
        println!("the whole day computed in {:?}, {} MB at most", begun.elapsed(), most_memory());
    }
}
