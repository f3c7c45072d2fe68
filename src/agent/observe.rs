//! The days of a scope for a long time, read in pieces so that no more than a month of ledgers is in memory.

use super::{Books, BooksError};
use crate::attribute::{self, DayLedger, Reactive};
use crate::found::Found;
use crate::names::{MeterId, PressId, StationId};
use crate::plant::{Dated, Meter, Plant};
use crate::readings::{Kind, Quantity, Reading, Run, Series, Subject};
use crate::store::{Stamp, Store, StoreError};
use crate::time::{self, At, Period, Zone};
use crate::verify::{self, Beside, Currents, Day, Scope, Signals, Supply, Told};
use chrono::NaiveDate;
use std::collections::{BTreeMap, BTreeSet};

/// Days whose ledgers are in memory at a time.
const AT_A_TIME: usize = 30;

/// What every day from `first` to `last` says about each scope, at `now`: one list a scope, in the order of the days.
/// `progress` hears after each piece how many days are done.
///
/// # Errors
/// Where the store cannot be read.
pub fn observe(
    books: &Books,
    store: &Store,
    scopes: &[Scope],
    (first, last): (NaiveDate, NaiveDate),
    now: At,
    mut progress: impl FnMut(usize),
) -> Result<Vec<Vec<Day>>, BooksError> {
    let zone = books.plant().zone;
    let days: Vec<NaiveDate> = time::days(first, last).collect();
    let mut observed: Vec<Vec<Day>> = scopes.iter().map(|_| Vec::with_capacity(days.len())).collect();
    // Of all time: whether a day without a job is known to have had none depends on the first and the last.
    let runs = books.runs(Period::new(At(0), now));
    let own = |scope: &Scope| -> Vec<Jobs> {
        scope.presses(books.plant()).into_iter().map(|press| Jobs::of(press, zone, &runs)).collect()
    };
    let own: Vec<Vec<Jobs>> = scopes.iter().map(own).collect();
    for (piece, done) in days.chunks(AT_A_TIME).zip((0..).step_by(AT_A_TIME)) {
        let stamps: Vec<(NaiveDate, Stamp)> =
            piece.iter().map(|day| Ok((*day, books.stamp(store, *day)?.1))).collect::<Result<_, BooksError>>()?;
        let kept: Vec<Vec<Kept>> =
            scopes.iter().zip(&own).map(|(scope, own)| kept(store, scope, own, &stamps)).collect();
        // Read once for all scopes, and only the days that one of them needs.
        let missing: BTreeSet<NaiveDate> = kept.iter().flatten().filter_map(Kept::missing).collect();
        let ledgers = books.ledgers(&missing.into_iter().collect::<Vec<_>>())?;
        let ledgers: BTreeMap<NaiveDate, &Found<DayLedger>> =
            ledgers.iter().map(|ledger| (ledger.value.date, ledger)).collect();
        for (((scope, observed), own), kept) in scopes.iter().zip(&mut observed).zip(&own).zip(kept) {
            let needed: Vec<&Found<DayLedger>> =
                kept.iter().filter_map(|one| ledgers.get(&one.missing()?).copied()).collect();
            let mut new = BTreeMap::new();
            for days in needed.chunk_by(|a, b| a.value.date.succ_opt() == Some(b.value.date)) {
                new.extend(seen(books, store, scope, own, days, now)?.into_iter().map(|day| (day.date, day)));
            }
            // A day that is not over depends on the moment as well.
            let over = kept.iter().filter(|one| zone.day(one.date).end <= now);
            let over: Vec<(Stamp, Day)> =
                over.filter_map(|one| Some((one.stamp, new.get(&one.date)?.clone()))).collect();
            if !over.is_empty() {
                store.cache_observations(&key(scope), &over);
            }
            observed.extend(kept.into_iter().filter_map(|one| one.day.or_else(|| new.remove(&one.date))));
        }
        progress(done + piece.len());
    }
    Ok(observed)
}

/// The jobs of a press of a scope.
struct Jobs {
    press: PressId,
    runs: Vec<Run>,
    /// The days of the first and the last.
    days: Option<(NaiveDate, NaiveDate)>,
}

impl Jobs {
    fn of(press: PressId, zone: Zone, runs: &[Run]) -> Self {
        let runs: Vec<Run> = runs.iter().filter(|run| run.press == press).cloned().collect();
        let days = verify::job_days(zone, &runs);
        Self { press, runs, days }
    }

    /// Whether a day lies between the first job and the last: all that a day without a job depends on beside the facts
    /// of its time.
    fn enclose(&self, day: NaiveDate) -> bool {
        self.days.is_some_and(|(first, last)| first <= day && day <= last)
    }
}

/// A day of a scope as it was kept.
struct Kept {
    date: NaiveDate,
    stamp: Stamp,
    /// `None` where it must be observed.
    day: Option<Day>,
}

impl Kept {
    fn missing(&self) -> Option<NaiveDate> {
        self.day.is_none().then_some(self.date)
    }
}

/// What was kept of days of a scope.
fn kept(store: &Store, scope: &Scope, jobs: &[Jobs], stamps: &[(NaiveDate, Stamp)]) -> Vec<Kept> {
    let key = key(scope);
    let one = |(date, stamp): &(NaiveDate, Stamp)| {
        let enclosed: Vec<u8> = jobs.iter().map(|jobs| u8::from(jobs.enclose(*date))).collect();
        let stamp = stamp.with(&enclosed);
        Kept { date: *date, day: store.cached_observation(&key, *date, &stamp), stamp }
    };
    stamps.iter().map(one).collect()
}

/// What ledgers of days that follow each other say about a scope.
fn seen(
    books: &Books,
    store: &Store,
    scope: &Scope,
    jobs: &[Jobs],
    ledgers: &[&Found<DayLedger>],
    now: At,
) -> Result<Vec<Day>, BooksError> {
    let (plant, zone) = (books.plant(), books.plant().zone);
    let days: Vec<NaiveDate> = ledgers.iter().map(|ledger| ledger.value.date).collect();
    let told = told(store, zone, jobs, &days)?;
    let known = |series: &[Series]| any_known(store, series);
    let supplies: BTreeSet<MeterId> = Supply::ALL.iter().flat_map(|supply| supply.meters(plant, scope)).collect();
    let supplies = plant.meters.iter().filter(|meter| supplies.contains(&meter.id));
    let reacting = with(supplies, |meter| known(&Reactive::series(meter).collect::<Vec<_>>()))?;
    let inside = scope.meters(plant);
    let inside = inside.iter().filter_map(|id| plant.meter(id));
    let carrying = with(inside, |meter| known(&Currents::series(meter)))?;
    let signalled = with(scope.stations.iter(), |station| known(&[level(station)]))?;
    let day = |ledger: &&Found<DayLedger>| {
        let date = ledger.value.date;
        let beside = Beside {
            told: told.get(&date).copied().unwrap_or_default(),
            reactive: reactive(plant, store, &reacting, date)?,
            currents: currents(store, &carrying, zone.day(date))?,
            levels: levels(store, &signalled, zone.day(date))?,
        };
        Ok(verify::observe(plant, scope, &ledger.value, &beside, now))
    };
    ledgers.iter().map(day).collect()
}

/// What is known of days beside their ledger, of all presses of a scope together.
fn told(store: &Store, zone: Zone, jobs: &[Jobs], days: &[NaiveDate]) -> Result<BTreeMap<NaiveDate, Told>, StoreError> {
    let (Some(first), Some(last)) = (days.first(), days.last()) else { return Ok(BTreeMap::new()) };
    let mut all: BTreeMap<NaiveDate, Told> = BTreeMap::new();
    for Jobs { press, runs, .. } in jobs {
        let read = Read::of(store, press, zone.days(*first, *last))?;
        for (date, told) in verify::told(zone, &read.signals(runs), days) {
            all.entry(date).and_modify(|before| *before = before.and(told)).or_insert(told);
        }
    }
    Ok(all)
}

/// Those of which something is known.
pub(super) fn with<T>(
    all: impl Iterator<Item = T>,
    known: impl Fn(&T) -> Result<bool, StoreError>,
) -> Result<Vec<T>, StoreError> {
    all.filter_map(|one| known(&one).map(|known| known.then_some(one)).transpose()).collect()
}

/// Whether the store holds a reading of any of some series.
fn any_known(store: &Store, series: &[Series]) -> Result<bool, StoreError> {
    for series in series {
        if store.extent(series)?.is_some() {
            return Ok(true);
        }
    }
    Ok(false)
}

/// What meters show of reactive energy around a day, meter by meter, so that no more readings are in memory than its own.
fn reactive(
    plant: &Plant,
    store: &Store,
    meters: &[&Meter],
    date: NaiveDate,
) -> Result<BTreeMap<MeterId, Reactive>, StoreError> {
    let reach = attribute::reach(plant, date);
    let mut known = BTreeMap::new();
    for meter in meters {
        let series: Vec<Series> = Reactive::series(meter).collect();
        let readings = store.readings_of(&series, reach, true)?.value;
        known.extend(Reactive::of(meter, plant.zone, &readings).map(|reactive| (meter.id.clone(), reactive)));
    }
    Ok(known)
}

/// What meters record of currents and power factors in a period.
fn currents(store: &Store, meters: &[&Meter], period: Period) -> Result<Currents, StoreError> {
    let mut currents = Currents::default();
    for meter in meters {
        currents.take(meter, store.readings_of(&Currents::series(meter), period, false)?.value);
    }
    Ok(currents)
}

pub(super) fn level(station: &StationId) -> Series {
    Series::new(Subject::Station(station.clone()), Quantity::LampLevel)
}

/// The levels of lamps in a period, each as it holds until the next, that before the period included.
pub(super) fn levels(
    store: &Store,
    stations: &[&StationId],
    period: Period,
) -> Result<BTreeMap<StationId, Dated<i64>>, StoreError> {
    let mut levels = BTreeMap::new();
    for station in stations {
        let readings = store.readings(&level(station), period, true)?.value;
        let values = readings.into_iter().map(|reading| (reading.at, reading.count)).collect();
        levels.insert((*station).clone(), Dated::new(values));
    }
    Ok(levels)
}

/// The name of a scope in the cache: all of it that its days depend on and the configuration does not fix.
fn key(scope: &Scope) -> String {
    let stations: Vec<&str> = scope.stations.iter().map(|station| station.as_str()).collect();
    let side = if scope.implementation.is_some() { "converted" } else { "kept" };
    format!("{} {side} {}", scope.judged.key(), stations.join(" "))
}

/// The time of which anything is known about the energy of a scope: from its first reading to its last.
///
/// # Errors
/// Where the store cannot be read.
pub fn extent(books: &Books, store: &Store, scope: &Scope) -> Result<Option<Period>, BooksError> {
    known(store, &scope.meters(books.plant()))
}

/// The time of which anything is known about the energy of meters: from the first reading to the last.
pub(super) fn known<'m>(
    store: &Store,
    meters: impl IntoIterator<Item = &'m MeterId>,
) -> Result<Option<Period>, StoreError> {
    let mut known: Option<Period> = None;
    for meter in meters {
        for quantity in [Quantity::Import, Quantity::IntervalEnergy, Quantity::Power] {
            let series = Series::new(Subject::Meter(meter.clone()), quantity);
            if let Some((first, last)) = store.extent(&series)? {
                // An interval lies before the instant at which its value stands.
                let first = if quantity.kind() == Kind::Interval { first - 1 } else { first };
                let before = known.unwrap_or(Period::new(first, last));
                known = Some(Period::new(before.start.min(first), before.end.max(last)));
            }
        }
    }
    Ok(known)
}

/// What the store knows about the signals of a press in a period.
struct Read {
    counter: Vec<Reading>,
    speed: Vec<Reading>,
    lengths: Vec<Reading>,
    running: Vec<Reading>,
    outdoor: Vec<Reading>,
}

impl Read {
    fn of(store: &Store, press: &PressId, span: Period) -> Result<Self, StoreError> {
        let read = |subject: Subject, quantity| {
            store.readings(&Series::new(subject, quantity), span, true).map(|found| found.value)
        };
        let of_press = |quantity| read(Subject::Press(press.clone()), quantity);
        Ok(Self {
            counter: of_press(Quantity::WebLength)?,
            speed: of_press(Quantity::Speed)?,
            lengths: of_press(Quantity::IntervalLength)?,
            running: of_press(Quantity::IntervalRunning)?,
            outdoor: read(Subject::Site, Quantity::Temperature)?,
        })
    }

    fn signals<'a>(&'a self, runs: &'a [Run]) -> Signals<'a> {
        Signals {
            counter: &self.counter,
            speed: &self.speed,
            lengths: &self.lengths,
            running: &self.running,
            outdoor: &self.outdoor,
            runs,
        }
    }
}
