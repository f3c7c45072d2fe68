//! What was, from the ledgers: computed beside the pages, no more than two at a time and once for all who ask within a few seconds, so
//! that the polls keep the processor however many look.

use super::shown::Shown;
use crate::agent::{Books, BooksError};
use crate::attribute::{Claim, DayLedger, LampState, Slice};
use crate::found::Found;
use crate::report::chart::{Column, Layer, Words, stacked};
use crate::time::{At, days};
use chrono::{Datelike, Days, NaiveDate};
use std::any::Any;
use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};
use tokio::sync::Semaphore;

/// Histories that are computed at the same time.
static AT_ONCE: Semaphore = Semaphore::const_new(2);

/// For how long what was computed is shown to others as well.
const FRESH: Duration = Duration::from_secs(5);
/// The most that is kept for that.
const KEPT: usize = 64;

/// What was computed last, by what was asked.
#[derive(Default)]
pub(super) struct Histories(Mutex<BTreeMap<String, Kept>>);

/// When it was computed, and what came of it.
type Kept = (Instant, Arc<dyn Any + Send + Sync>);

impl Histories {
    fn get<T: Clone + 'static>(&self, asked: &str) -> Option<T> {
        let kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let (_, value) = kept.get(asked).filter(|(at, _)| at.elapsed() < FRESH)?;
        value.downcast_ref::<T>().cloned()
    }

    fn keep<T: Send + Sync + 'static>(&self, asked: String, value: T) {
        let mut kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        kept.retain(|_, (at, _)| at.elapsed() < FRESH);
        if kept.len() < KEPT {
            kept.insert(asked, (Instant::now(), Arc::new(value)));
        }
    }
}

/// Something out of the books of the plant, known by what was `asked`; `None` where it cannot be had, which the log tells.
pub(super) async fn from_books<T: Clone + Send + Sync + 'static>(
    shown: Arc<Shown>,
    asked: String,
    of: impl FnOnce(&Books, &Shown, At) -> Result<T, BooksError> + Send + 'static,
) -> Option<T> {
    if let Some(known) = shown.histories.get(&asked) {
        return Some(known);
    }
    let _turn = AT_ONCE.acquire().await.ok()?;
    // Whoever was before in the queue may have asked the same.
    if let Some(known) = shown.histories.get(&asked) {
        return Some(known);
    }
    let into = shown.clone();
    let read = tokio::task::spawn_blocking(move || {
        let now = shown.of.clock.now();
        let books = Books::open(&shown.of.folder, &shown.of.configuration, now)?;
        of(&books, &shown, now)
    });
    match read.await {
        Ok(Ok(value)) => {
            into.histories.keep(asked, value.clone());
            Some(value)
        }
        Ok(Err(fault)) => {
            tracing::error!("a page cannot be made: {fault}");
            None
        }
        // A panic was told where it happened.
        Err(_) => None,
    }
}

/// The ledgers of so many days up to today.
pub(super) fn last_days(books: &Books, now: At, count: u64) -> Result<Vec<Found<DayLedger>>, BooksError> {
    let today = books.plant().zone.date(now);
    let first = today.checked_sub_days(Days::new(count - 1)).unwrap_or(today);
    books.ledgers(&days(first, today).collect::<Vec<NaiveDate>>())
}

/// What energy was used for, in the order in which it is stacked.
const LAYERS: [(&str, &str); 4] =
    [("curing", "Curing"), ("standby", "Standby and warming up"), ("off", "Off"), ("other", "Other")];

/// Energy of each day by what it was used for, of the slices that are wanted, as a drawing with its key.
pub(super) fn energy_by_day(
    title: &str,
    ledgers: &[Found<DayLedger>],
    wanted: impl Fn(&Slice) -> bool,
) -> (String, Vec<(&'static str, String)>) {
    let mut sums = [0.0; LAYERS.len()];
    // A label for about every eighth part of the width.
    let every = (ledgers.len() / 8).max(1);
    let columns: Vec<Column> = ledgers
        .iter()
        .enumerate()
        .map(|(k, day)| {
            let own = day.value.slices.iter().filter(|slice| wanted(slice));
            let mut values: Option<Vec<f64>> = None;
            for slice in own {
                let Some(energy) = slice.usage.energy else { continue };
                values.get_or_insert_with(|| vec![0.0; LAYERS.len()])[layer(slice)] += energy.kwh();
            }
            values.iter().flatten().zip(&mut sums).for_each(|(value, sum)| *sum += value);
            let date = day.value.date;
            let name = date.format("%a %-d %b").to_string();
            Column {
                label: if k % every == 0 { date.format("%-d %b").to_string() } else { String::new() },
                name,
                apart: date.weekday().num_days_from_monday() > 4,
                part: false,
                values,
            }
        })
        .collect();
    let used: Vec<usize> = (0..LAYERS.len()).filter(|k| sums[*k] > 0.0).collect();
    let pick = |values: Vec<f64>| used.iter().map(|k| values[*k]).collect::<Vec<f64>>();
    let columns: Vec<Column> = columns.into_iter().map(|c| Column { values: c.values.map(pick), ..c }).collect();
    let layers: Vec<Layer> = used.iter().map(|k| Layer { class: LAYERS[*k].0, name: LAYERS[*k].1.into() }).collect();
    let description = "One column a day, stacked from the ground up in the order of the key. Weekends are shaded.";
    let drawing = stacked(Words { title, description, unit: "kWh", every: 2 * every }, &layers, &columns);
    let key = used.iter().map(|k| (LAYERS[*k].0, format!("{} {:.0} kWh", LAYERS[*k].1, sums[*k])));
    (drawing, key.collect())
}

fn layer(slice: &Slice) -> usize {
    match slice.owner.lamp_state.filter(|_| slice.owner.claim == Claim::Own) {
        Some(LampState::Curing) => 0,
        Some(LampState::Standby | LampState::WarmingUp) => 1,
        Some(LampState::Off) => 2,
        None => 3,
    }
}
