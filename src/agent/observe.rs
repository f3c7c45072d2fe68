//! The days of a scope for a long time, read in pieces so that no more than a month of ledgers is in memory.

use super::{Books, BooksError};
use crate::readings::{Kind, Quantity, Reading, Run, Series, Subject};
use crate::store::{Store, StoreError};
use crate::time::{At, Period};
use crate::verify::{self, Day, Scope, Signals};
use chrono::NaiveDate;

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
    let (plant, zone) = (books.plant(), books.plant().zone);
    let days: Vec<NaiveDate> = first.iter_days().take_while(|day| *day <= last).collect();
    let mut observed: Vec<Vec<Day>> = scopes.iter().map(|_| Vec::with_capacity(days.len())).collect();
    // All of them: that none began on a day is known only between the first and the last of them all.
    let runs = books.runs(Period::new(At(0), now));
    for (piece, done) in days.chunks(AT_A_TIME).zip((0..).step_by(AT_A_TIME)) {
        let ledgers = books.ledgers(piece)?;
        let span = Period::new(zone.day(piece[0]).start, zone.day(piece[piece.len() - 1]).end);
        for (scope, observed) in scopes.iter().zip(&mut observed) {
            let read = Read::of(store, scope, span)?;
            let own: Vec<Run> = runs.iter().filter(|run| run.press == scope.press).cloned().collect();
            let told = verify::told(zone, &read.signals(&own), piece);
            observed.extend(ledgers.iter().map(|ledger| {
                let told = told.get(&ledger.value.date).copied().unwrap_or_default();
                verify::observe(plant, scope, &ledger.value, &told, now)
            }));
        }
        progress(done + piece.len());
    }
    Ok(observed)
}

/// The time of which anything is known about the energy of a scope: from its first reading to its last.
///
/// # Errors
/// Where the store cannot be read.
pub fn extent(books: &Books, store: &Store, scope: &Scope) -> Result<Option<Period>, BooksError> {
    let mut known: Option<Period> = None;
    for meter in scope.meters(books.plant()) {
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
    fn of(store: &Store, scope: &Scope, span: Period) -> Result<Self, StoreError> {
        let read = |subject: Subject, quantity| {
            store.readings(&Series::new(subject, quantity), span, true).map(|found| found.value)
        };
        let press = |quantity| read(Subject::Press(scope.press.clone()), quantity);
        Ok(Self {
            counter: press(Quantity::WebLength)?,
            speed: press(Quantity::Speed)?,
            lengths: press(Quantity::IntervalLength)?,
            running: press(Quantity::IntervalRunning)?,
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
