//! The plant's load today against its usual band and the agreed capacity, and the month so far against the one before.

use super::{Books, BooksError};
use crate::attribute::DaySums;
use crate::config::Configuration;
use crate::cost::price;
use crate::plant::Plant;
use crate::time::{At, HOUR, Month, Period, QUARTER, Zone, days};
use crate::units::{Energy, Money};
use chrono::{Days, NaiveDate, Timelike};

/// Weeks that the usual band is taken from.
const WEEKS: u64 = 8;
/// Days without which there is no band.
const ENOUGH: usize = 4;
/// Quarter hours of a day by the local clock.
pub const SLOTS: usize = 96;

/// How today and this month go.
#[derive(Clone, Debug, PartialEq)]
pub struct Overview {
    /// Up to when.
    pub until: At,
    /// Mean kilowatts in each quarter hour of the local day; `None` where that is not known, or not over.
    pub load: Vec<Option<f64>>,
    /// What is usual in each quarter hour: of the same day of the week in the eight weeks before, the second lowest and the
    /// second highest; `None` with fewer than four.
    pub usual: Vec<Option<(f64, f64)>>,
    /// The agreed capacity with its unit.
    pub agreed: Option<(f64, &'static str)>,
    /// This month so far, and the month before until the same day and hour; `None` where that is not known whole.
    pub month: (Used, Option<Used>),
}

/// What was used in a while, and what it cost.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Used {
    /// Energy.
    pub energy: Energy,
    /// Its cost by the bands of the tariff; demand, levies and tax are not in it.
    pub cost: Option<Money>,
}

/// Looks over today, of which `running` is what is known so far.
///
/// # Errors
/// Where the store cannot be read.
pub(super) fn overview(
    books: &Books,
    configuration: &Configuration,
    running: &DaySums,
    until: At,
) -> Result<Overview, BooksError> {
    let (plant, today) = (books.plant(), running.date);
    let before: Vec<NaiveDate> = (1..=WEEKS).filter_map(|week| today.checked_sub_days(Days::new(7 * week))).collect();
    let like_today: Vec<Vec<Option<f64>>> =
        books.sums(&before)?.iter().map(|day| slots(plant.zone, day, At(i64::MAX))).collect();
    let month = Month::of(today);
    let mut so_far = books.sums(&days(month.first(), today).filter(|day| *day < today).collect::<Vec<_>>())?;
    so_far.push(running.clone());
    Ok(Overview {
        until,
        load: slots(plant.zone, running, until),
        usual: (0..SLOTS).map(|slot| band(like_today.iter().filter_map(|day| day[slot]).collect())).collect(),
        agreed: agreed(configuration, today),
        month: (used(plant, configuration, &so_far, until), month_before(books, configuration, today, until)?),
    })
}

/// Mean kilowatts in each quarter hour that was over by an instant.
fn slots(zone: Zone, day: &DaySums, until: At) -> Vec<Option<f64>> {
    let mut slots = vec![None; SLOTS];
    for (period, energy) in day.used(zone).filter(|(period, _)| period.end <= until) {
        let place = zone.local(period.start).num_seconds_from_midnight() as i64 * 1_000 / QUARTER;
        // An hour that the clock shows twice is shown once, as it was the second time.
        slots[place as usize] = energy.map(|energy| energy.kwh() * HOUR as f64 / QUARTER as f64);
    }
    slots
}

fn band(mut values: Vec<f64>) -> Option<(f64, f64)> {
    values.sort_by(f64::total_cmp);
    (values.len() >= ENOUGH).then(|| (values[1], values[values.len() - 2]))
}

fn agreed(configuration: &Configuration, today: NaiveDate) -> Option<(f64, &'static str)> {
    let holds = |from: NaiveDate, to: Option<NaiveDate>| from <= today && to.is_none_or(|to| today <= to);
    let tariff = configuration.tariffs.iter().find(|tariff| holds(tariff.valid_from, tariff.valid_to))?;
    let capacity = tariff.terms.capacity.as_ref()?;
    Some((capacity.agreed.to_f64(), capacity.unit.word()))
}

/// What days used until an instant.
fn used(plant: &Plant, configuration: &Configuration, sums: &[DaySums], until: At) -> Used {
    let dates: Vec<NaiveDate> = sums.iter().map(|day| day.date).collect();
    let used: Vec<(Period, Option<Energy>)> =
        sums.iter().flat_map(|day| day.used(plant.zone)).filter(|(period, _)| period.start < until).collect();
    let bill = price(plant, &configuration.tariffs, &dates, used.iter().copied()).value;
    let cost: Money = bill.bands.iter().flat_map(|band| &band.shares).map(|share| share.cost).sum();
    Used {
        energy: used.iter().filter_map(|(_, energy)| *energy).sum(),
        cost: (!bill.bands.is_empty() && bill.unpriced == Energy::ZERO).then_some(cost),
    }
}

/// The month before, until the same day of the month and the same hour of the clock; `None` where a day of it is not known
/// whole, or the month before has no such day.
fn month_before(
    books: &Books,
    configuration: &Configuration,
    today: NaiveDate,
    until: At,
) -> Result<Option<Used>, BooksError> {
    let plant = books.plant();
    let Some(same) = today.checked_sub_months(chrono::Months::new(1)) else { return Ok(None) };
    let sums = books.sums(&days(Month::of(same).first(), same).collect::<Vec<_>>())?;
    let is_short = chrono::Datelike::day(&same) != chrono::Datelike::day(&today);
    if is_short || sums.iter().any(|day| !day.whole) {
        return Ok(None);
    }
    let hour = until - plant.zone.day(today).start;
    Ok(Some(used(plant, configuration, &sums, plant.zone.day(same).start + hour)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_usual_band_leaves_out_the_lowest_and_the_highest_day_and_needs_four() {
        assert_eq!(band(vec![3.0, 1.0, 2.0]), None);
        assert_eq!(band(vec![9.0, 3.0, 1.0, 2.0]), Some((2.0, 3.0)));
    }

    /// The day on which the clocks go forward in London, 2026-03-29, has 92 quarter hours: those from 01:00 to 02:00 are missing.
    #[test]
    fn quarter_hours_stand_where_the_local_clock_shows_them() {
        let zone = Zone::parse("Europe/London").expect("a zone");
        let date = NaiveDate::from_ymd_opt(2026, 3, 29).expect("a day");
        let day = DaySums {
            date,
            quarters: (0..92).map(|k| Some(Energy::from_wh(250 * k))).collect(),
            whole: true,
            worked: None,
            web: Default::default(),
        };
        let shown = slots(zone, &day, zone.day(date).end);
        assert_eq!(shown[..4], [Some(0.0), Some(1.0), Some(2.0), Some(3.0)]);
        assert_eq!(shown[4..8], [None; 4]);
        assert_eq!((shown[8], shown[95]), (Some(4.0), Some(91.0)));
        let half = slots(zone, &day, zone.day(date).start + HOUR / 2);
        assert_eq!(half.iter().flatten().count(), 2, "what is not over is not shown");
    }
}
