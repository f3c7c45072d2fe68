//! What the signals of a press, its jobs and the weather say about each local day.

use crate::attribute::web_by_day;
use crate::readings::{Reading, Run};
use crate::time::{At, HOUR, MINUTE, Period, Zone};
use chrono::NaiveDate;
use std::collections::BTreeMap;

/// A counter that grew by no more than this over a gap was standing: many sources speak only when something moves.
const STANDING_MM: i64 = 100_000;
/// Readings further apart than this leave open on which day the web ran.
const GAP: i64 = 30 * MINUTE;
/// Values at least so far apart are those of days: the shortest day has 23 hours.
const DAILY: i64 = 23 * HOUR;

/// The readings around some days, in order of time, with the nearest ones on either side; empty where there are none.
#[derive(Clone, Copy, Debug, Default)]
pub struct Signals<'a> {
    /// The counter of the web.
    pub counter: &'a [Reading],
    /// Its speed.
    pub speed: &'a [Reading],
    /// Lengths run as stated for intervals.
    pub lengths: &'a [Reading],
    /// Times run as stated for intervals.
    pub running: &'a [Reading],
    /// Outdoor temperature.
    pub outdoor: &'a [Reading],
    /// The runs of the press of the whole time in question, sorted by start.
    pub runs: &'a [Run],
}

/// What is known of one local day beside its ledger; what is absent is not known.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Told {
    /// Web run, in millimetres.
    pub web_mm: Option<i64>,
    /// Time for which the web moved as a report states it, in milliseconds.
    pub running: Option<i64>,
    /// Jobs begun.
    pub jobs: Option<u32>,
    /// Mean temperature outside, in degrees Celsius.
    pub outdoor: Option<f64>,
}

impl Told {
    /// The same day on two presses together: what is not known of one is not known of both.
    pub fn and(self, other: Self) -> Self {
        Self {
            web_mm: self.web_mm.zip(other.web_mm).map(|(a, b)| a + b),
            running: self.running.zip(other.running).map(|(a, b)| a + b),
            jobs: self.jobs.zip(other.jobs).map(|(a, b)| a + b),
            outdoor: self.outdoor,
        }
    }
}

/// What the signals say about a day. The web is told by its counter, else its speed, else the length stated for the
/// day. Jobs are known from the day of the first run to that of the last.
pub fn told(zone: Zone, signals: &Signals<'_>, days: &[NaiveDate]) -> BTreeMap<NaiveDate, Told> {
    let web = web(zone, signals);
    let (lengths, running) = (stated(zone, signals.lengths), stated(zone, signals.running));
    let (known, begun) = (job_days(zone, signals.runs), jobs(zone, signals.runs));
    let outdoor = means(zone, signals.outdoor);
    let of_jobs = |day: &NaiveDate| known.filter(|(first, last)| first <= day && day <= last);
    let told = |day: &NaiveDate| Told {
        web_mm: web.get(day).or_else(|| lengths.get(day)).copied(),
        running: running.get(day).copied(),
        jobs: of_jobs(day).map(|_| begun.get(day).copied().unwrap_or(0)),
        outdoor: outdoor.get(day).copied(),
    };
    days.iter().map(|day| (*day, told(day))).collect()
}

/// Millimetres run on each day on which that is known.
fn web(zone: Zone, signals: &Signals<'_>) -> BTreeMap<NaiveDate, i64> {
    let readings = if signals.counter.is_empty() { signals.speed } else { signals.counter };
    let stood = |pair: &[Reading]| match signals.counter.is_empty() {
        true => pair[0].count <= 0,
        false => (0..=STANDING_MM).contains(&pair[1].count.saturating_sub(pair[0].count)),
    };
    let mut web = web_by_day(zone, signals.counter, signals.speed);
    let gaps = readings.windows(2).filter(|pair| pair[1].at - pair[0].at > GAP);
    let (standing, open): (Vec<_>, Vec<_>) = gaps.partition(|pair| stood(pair));
    let dates = |pair: &[Reading]| zone.dates(Period::new(pair[0].at, pair[1].at));
    standing.into_iter().flat_map(dates).for_each(|day| {
        web.entry(day).or_default();
    });
    for pair in open {
        let touched: Vec<NaiveDate> = dates(pair).collect();
        // A counter that grew within one day tells that day's length, however late it was read.
        if signals.counter.is_empty() || touched.len() > 1 {
            touched.iter().for_each(|day| {
                web.remove(day);
            });
        }
    }
    web
}

/// The sums of values that are stated for intervals, for each day that they cover. A daily value is that of the local
/// day that ends at its instant.
fn stated(zone: Zone, readings: &[Reading]) -> BTreeMap<NaiveDate, i64> {
    let spacing = readings.windows(2).map(|pair| pair[1].at - pair[0].at).min().unwrap_or(DAILY);
    let mut days: BTreeMap<NaiveDate, (i64, i64)> = BTreeMap::new();
    for reading in readings {
        let (count, sum) = days.entry(zone.date(reading.at - 1)).or_default();
        (*count, *sum) = (*count + 1, sum.saturating_add(reading.count));
    }
    let ends = |day: &NaiveDate, at: At| zone.day(*day).end == at;
    let covered = |day: &NaiveDate, count: i64| match spacing >= DAILY {
        true => readings.iter().any(|reading| ends(day, reading.at)),
        false => count * spacing == zone.day(*day).millis(),
    };
    days.into_iter().filter(|(day, (count, _))| covered(day, *count)).map(|(day, (_, sum))| (day, sum)).collect()
}

/// The days on which the first and the last of runs began: between them it is known whether there was a job.
pub fn job_days(zone: Zone, runs: &[Run]) -> Option<(NaiveDate, NaiveDate)> {
    let (first, last) = (runs.iter().map(|run| run.start).min()?, runs.iter().map(|run| run.start).max()?);
    Some((zone.date(first), zone.date(last)))
}

/// How many jobs began on each day.
fn jobs(zone: Zone, runs: &[Run]) -> BTreeMap<NaiveDate, u32> {
    let mut begun: BTreeMap<NaiveDate, u32> = BTreeMap::new();
    for run in runs {
        *begun.entry(zone.date(run.start)).or_default() += 1;
    }
    begun
}

/// How many milliseconds periods cover together, which may lie over each other, with the gaps between them that are no
/// longer than `pause`.
pub fn covered(periods: &mut [Period], pause: i64) -> i64 {
    periods.sort_unstable_by_key(|period| period.start);
    let (mut sum, mut to) = (0, At(i64::MIN / 4));
    for period in periods {
        let from = if period.start - to <= pause { to } else { period.start };
        sum += (period.end - from).max(0);
        to = to.max(period.end);
    }
    sum
}

fn means(zone: Zone, readings: &[Reading]) -> BTreeMap<NaiveDate, f64> {
    let mut days: BTreeMap<NaiveDate, (f64, f64)> = BTreeMap::new();
    for reading in readings {
        let (count, sum) = days.entry(zone.date(reading.at)).or_default();
        (*count, *sum) = (*count + 1.0, *sum + reading.count as f64 / 1e3);
    }
    days.into_iter().map(|(day, (count, sum))| (day, sum / count)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn london() -> Zone {
        Zone::parse("Europe/London").expect("a zone")
    }

    fn day(text: &str) -> NaiveDate {
        text.parse().expect("a date")
    }

    fn series(values: &[(&str, i64)]) -> Vec<Reading> {
        let reading = |(at, count): &(&str, i64)| Reading { at: At::parse(at).expect("an instant"), count: *count };
        values.iter().map(reading).collect()
    }

    fn web_of(counter: &[(&str, i64)], speed: &[(&str, i64)], dates: &[&str]) -> Vec<Option<i64>> {
        let (counter, speed) = (series(counter), series(speed));
        let signals = Signals { counter: &counter, speed: &speed, ..Signals::default() };
        let dates: Vec<NaiveDate> = dates.iter().map(|date| day(date)).collect();
        told(london(), &signals, &dates).values().map(|told| told.web_mm).collect()
    }

    #[test]
    fn a_counter_that_is_silent_over_a_weekend_says_that_the_web_stood() {
        let counter =
            [("2026-03-06T20:00:00Z", 0), ("2026-03-06T20:10:00Z", 500_000), ("2026-03-09T06:00:00Z", 501_000)];
        let found = web_of(&counter, &[], &["2026-03-06", "2026-03-07", "2026-03-08", "2026-03-09"]);
        assert_eq!(found, [Some(500_000), Some(0), Some(0), Some(1_000)]);
    }

    #[test]
    fn a_counter_that_grew_over_a_gap_across_midnight_leaves_both_days_open() {
        let counter =
            [("2026-03-06T20:00:00Z", 0), ("2026-03-07T06:00:00Z", 9_000_000), ("2026-03-07T06:10:00Z", 9_100_000)];
        assert_eq!(web_of(&counter, &[], &["2026-03-06", "2026-03-07"]), [None, None]);
    }

    #[test]
    fn a_moving_web_whose_speed_falls_silent_leaves_the_day_open() {
        let speed = [("2026-03-06T08:00:00Z", 60_000), ("2026-03-06T08:10:00Z", 60_000), ("2026-03-06T12:00:00Z", 0)];
        assert_eq!(web_of(&[], &speed, &["2026-03-06"]), [None]);
        let stopped = [("2026-03-06T08:00:00Z", 60_000), ("2026-03-06T08:10:00Z", 0), ("2026-03-06T12:00:00Z", 0)];
        assert_eq!(web_of(&[], &stopped, &["2026-03-06"]), [Some(600_000)]);
    }

    #[test]
    fn a_daily_value_is_that_of_the_local_day_whatever_its_hours() {
        // London has 23 hours on 2024-03-31: `tests/reference/dst_days.csv`.
        let lengths = series(&[("2024-03-31T00:00:00Z", 7), ("2024-03-31T23:00:00Z", 8), ("2024-04-01T23:00:00Z", 9)]);
        let signals = Signals { lengths: &lengths, ..Signals::default() };
        let days = ["2024-03-30", "2024-03-31", "2024-04-01", "2024-04-02"].map(day);
        let found: Vec<_> = told(london(), &signals, &days).values().map(|told| told.web_mm).collect();
        assert_eq!(found, [Some(7), Some(8), Some(9), None]);
    }

    #[test]
    fn hourly_values_make_a_day_only_where_all_are_there() {
        let start = london().day(day("2024-03-31")).start;
        let hours =
            |count: i64| -> Vec<Reading> { (1..=count).map(|k| Reading { at: start + k * HOUR, count: 10 }).collect() };
        let sum = |readings: &[Reading]| {
            let signals = Signals { running: readings, ..Signals::default() };
            told(london(), &signals, &[day("2024-03-31")])[&day("2024-03-31")].running
        };
        assert_eq!(sum(&hours(23)), Some(230));
        assert_eq!(sum(&hours(22)), None);
    }
}
