//! What really was, in the terms of the promise's formula: measured values of its factors.

use super::factors::{Draw, Factors, Levels};
use super::{Cause, Cured, Day, Driver, Worked};
use crate::attribute::LampState;
use crate::names::StationId;
use crate::plant::LampKind;
use crate::time::HOUR;
use std::collections::{BTreeMap, BTreeSet};

/// Measured factors of a scope in a reporting period.
#[derive(Clone, Debug, PartialEq)]
pub struct Operation {
    /// Their values. The old lamps' draw is that of the baseline period.
    pub factors: Factors,
    /// Factors that could not be told apart, each with the neighbour that holds it.
    pub merged: Vec<(Cause, Cause)>,
}

/// Why the factors of a scope cannot be told.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Untold {
    /// The baseline period has no old lamp curing.
    #[error(
        "no lamp of the old kind is known to have cured in the baseline period: without lamp states nothing explains \
         the difference"
    )]
    NoOldCuring,
    /// The reporting period has no new lamp curing.
    #[error("no lamp of the new kind is known to have cured in the reporting period: nothing can be compared")]
    NoNewCuring,
}

/// Measures the factors. Days that were set aside count on neither side. Shared loads have boundaries of their own: their saving is the promised one until the caller
/// puts a measured one in its place.
///
/// # Errors
/// [`Untold`].
pub fn operation(promised: &Factors, before: &[Day], after: &[Day]) -> Result<Operation, Untold> {
    let (old, new) = (Lamps::of(before, LampKind::Arc), Lamps::of(after, LampKind::Led));
    let old_full = old.curing.watts().ok_or(Untold::NoOldCuring)?;
    let new_full = new.curing.watts().ok_or(Untold::NoNewCuring)?;
    let mut merged = Vec::new();
    let levels = levels(before, after);
    let level = levels.as_ref().copied().unwrap_or(promised.level);
    if levels.is_err() {
        merged.extend([(Cause::Level, Cause::NewDraw), (Cause::Level, Cause::OldDraw)]);
    }
    let lit = lit(after);
    if lit.is_none() {
        merged.push((Cause::Lit, Cause::Running));
    }
    let lit = lit.unwrap_or(promised.lit);
    let speed = speed(before, LampKind::Arc).zip(speed(after, LampKind::Led)).map(|(before, after)| after / before);
    if speed.is_none() {
        merged.push((Cause::Speed, Cause::Running));
    }
    let curing_h = new.curing.hours() / lit;
    let stations = promised.stations;
    let speed = speed.unwrap_or(promised.speed);
    let hours = counted(after).map(|day| day.hours).sum();
    let idle = new.standby.plus(new.off).watts();
    Ok(Operation {
        factors: Factors {
            hours,
            stations,
            curing_h,
            standby_h: standby_h(&old, new.curing.hours() * speed, hours * stations) / stations,
            lit,
            speed,
            level,
            old: Draw {
                full: old_full / level.old,
                standby: old.standby.watts().unwrap_or(promised.old.standby),
                off: old.off.watts().unwrap_or(promised.old.off),
            },
            // Standby hours are those of the old lamps: a new lamp draws the same in them as in other idle hours.
            new: Draw {
                full: new_full / level.new,
                standby: idle.unwrap_or(promised.new.standby),
                off: idle.unwrap_or(promised.new.off),
            },
            shared: promised.shared,
        },
        merged,
    })
}

fn counted(days: &[Day]) -> impl Iterator<Item = &Day> {
    days.iter().filter(|day| day.aside.is_none())
}

/// What lamps of one kind did.
#[derive(Default)]
struct Lamps {
    curing: Worked,
    /// Warm-up included: energised, not curing.
    standby: Worked,
    off: Worked,
}

impl Lamps {
    fn of(days: &[Day], kind: LampKind) -> Self {
        let mut lamps = Self::default();
        for ((_, state), worked) in counted(days).flat_map(|day| &day.worked).filter(|((k, _), _)| *k == kind) {
            let sum = match state {
                LampState::Curing => &mut lamps.curing,
                LampState::Standby | LampState::WarmingUp => &mut lamps.standby,
                LampState::Off => &mut lamps.off,
            };
            *sum = sum.plus(*worked);
        }
        lamps
    }
}

impl Worked {
    fn plus(self, other: Self) -> Self {
        Self { energy: self.energy + other.energy, millis: self.millis + other.millis }
    }

    fn watts(self) -> Option<f64> {
        self.energy.mean_watts(self.millis)
    }

    fn hours(self) -> f64 {
        self.millis as f64 / HOUR as f64
    }
}

/// Mean levels while curing, weighted by the time of curing as the promise's formula weights them. Where one was not
/// signalled on one side, the stations at which it was not.
pub fn levels(before: &[Day], after: &[Day]) -> Result<Levels, Vec<StationId>> {
    match (level(before, LampKind::Arc), level(after, LampKind::Led)) {
        (Ok(old), Ok(new)) => Ok(Levels { old, new }),
        (old, new) => {
            let without: BTreeSet<StationId> = [old.err(), new.err()].into_iter().flatten().flatten().collect();
            Err(without.into_iter().collect())
        }
    }
}

/// The mean level of lamps of one kind, 1 for full; the stations whose level is not known where there are any.
fn level(days: &[Day], kind: LampKind) -> Result<f64, Vec<StationId>> {
    let mut stations: BTreeMap<&StationId, Cured> = BTreeMap::new();
    for ((station, _), cured) in counted(days).flat_map(|day| &day.curing).filter(|((_, lamp), _)| *lamp == Some(kind))
    {
        let sum = stations.entry(station).or_default();
        sum.millis += cured.millis;
        sum.signalled += cured.signalled;
        sum.level_millis += cured.level_millis;
    }
    let without = stations.iter().filter(|(_, cured)| cured.level().is_none());
    let without: Vec<StationId> = without.map(|(station, _)| (*station).clone()).collect();
    let all: i64 = stations.values().map(|cured| cured.millis).sum();
    if !without.is_empty() || all == 0 {
        return Err(without);
    }
    let at_full = |cured: &Cured| Some(cured.level()? * cured.millis as f64);
    Ok(stations.values().filter_map(at_full).sum::<f64>() / all as f64)
}

/// Stations lit while the web moved, weighted by its length; `None` where no day tells.
fn lit(days: &[Day]) -> Option<f64> {
    let told = counted(days).filter_map(|day| {
        Some((day.drivers.get(&Driver::StationKm).copied()?, day.drivers.get(&Driver::WebKm).copied()?))
    });
    let (stations, web) = told.fold((0.0, 0.0), |(s, w), (station_km, web_km)| (s + station_km, w + web_km));
    (web > 0.0 && stations > 0.0).then(|| stations / web)
}

/// Web through curing stations for each station-hour of curing: the mean speed while curing, in km/h.
fn speed(days: &[Day], kind: LampKind) -> Option<f64> {
    let told = counted(days).filter_map(|day| {
        Some((day.drivers.get(&Driver::StationKm).copied()?, day.worked.get(&(kind, LampState::Curing))?.hours()))
    });
    let (km, hours) = told.fold((0.0, 0.0), |(k, h), (km, hours)| (k + km, h + hours));
    (km > 0.0 && hours > 0.0).then(|| km / hours)
}

/// The bounded rule: old lamps that cured for so many station-hours would have stood by for as many more or fewer of them
/// as in the baseline period, since they wait for the web at every start and stop of it; and never for longer than was
/// left of `all`.
fn standby_h(old: &Lamps, curing: f64, all: f64) -> f64 {
    (old.standby.hours() / old.curing.hours() * curing).min((all - curing).max(0.0))
}

#[cfg(test)]
pub mod tests {
    use super::*;
    use crate::units::Energy;
    use crate::verify::DayType;
    use crate::verify::promise::example::{group, lamp};
    use chrono::NaiveDate;

    /// A day of ten stations' lamps of one kind: 8 h on a job, 5 h of them with six stations curing.
    pub fn day(kind: LampKind, watts: [i64; 3], standby_station_h: i64) -> Day {
        let worked = |watts: i64, hours: i64| Worked { energy: Energy::from_wh(watts * hours), millis: hours * HOUR };
        let off = 240 - 30 - standby_station_h;
        Day {
            date: NaiveDate::from_ymd_opt(2026, 3, 2).expect("a day"),
            hours: 24.0,
            kind: DayType::Running,
            energy: Energy::ZERO,
            aside: None,
            worked: BTreeMap::from([
                ((kind, LampState::Curing), worked(watts[0], 30)),
                ((kind, LampState::Standby), worked(watts[1], standby_station_h)),
                ((kind, LampState::Off), worked(watts[2], off)),
            ]),
            on_job_h: Some(8.0),
            outside_h: None,
            curing: BTreeMap::new(),
            powers: BTreeMap::new(),
            loads: BTreeMap::new(),
            drivers: BTreeMap::from([(Driver::WebKm, 20.0), (Driver::StationKm, 120.0)]),
        }
    }

    pub fn promised(hours: f64) -> Factors {
        let mut group = group(10, lamp(140.0), lamp(53.0));
        (group.lit, group.old.standby_share) = (7.0, 0.35);
        Factors::promised(&[&group], &[], hours)
    }

    /// 20 station-hours of standby to 30 of curing.
    #[test]
    fn factors_are_those_of_the_days() {
        let (before, after) = ([day(LampKind::Arc, [5_000, 1_900, 14], 20)], [day(LampKind::Led, [1_900, 30, 26], 0)]);
        let operation = operation(&promised(24.0), &before, &after).expect("told");
        let factors = operation.factors;
        assert_eq!((factors.lit, factors.curing_h, factors.standby_h), (6.0, 5.0, 2.0));
        assert_eq!((factors.old, factors.new.full), (Draw { full: 5_000.0, standby: 1_900.0, off: 14.0 }, 1_900.0));
        assert_eq!((factors.new.standby, factors.new.off), (26.0, 26.0));
        assert_eq!(operation.merged, [(Cause::Level, Cause::NewDraw), (Cause::Level, Cause::OldDraw)]);
        // 30 h x 1,900 W + 210 h x 26 W: what the new lamps used.
        assert!((factors.used(crate::verify::Side::After) - 62.46).abs() < 1e-9);
    }

    /// At twice the speed they would have cured for 60 of the 240 station-hours, and stood by for six times as many.
    #[test]
    fn old_lamps_never_stand_by_for_longer_than_they_do_not_cure() {
        let (before, mut after) =
            ([day(LampKind::Arc, [5_000, 1_900, 14], 180)], [day(LampKind::Led, [1_900, 30, 26], 0)]);
        after[0].drivers = BTreeMap::from([(Driver::WebKm, 40.0), (Driver::StationKm, 240.0)]);
        let operation = operation(&promised(24.0), &before, &after).expect("told");
        assert_eq!((operation.factors.speed, operation.factors.standby_h), (2.0, 18.0));
    }

    #[test]
    fn a_level_that_both_periods_signal_parts_from_the_draw() {
        let (before, after) = ([day(LampKind::Arc, [5_000, 1_900, 14], 20)], [day(LampKind::Led, [1_900, 30, 26], 0)]);
        let (before, after) = ([at_level(&before, &[800, 800])], [at_level(&after, &[1_000, 900])]);
        let operation = operation(&promised(24.0), &before, &after).expect("told");
        assert_eq!(operation.factors.level, Levels { old: 0.8, new: 0.95 });
        assert_eq!((operation.factors.old.full, operation.factors.new.full), (6_250.0, 2_000.0));
        assert_eq!(operation.merged, []);
    }

    /// The day with stations that cured 15 h each at these levels, in tenths of a per cent.
    fn at_level([day]: &[Day; 1], levels: &[i64]) -> Day {
        let lamp = day.worked.keys().next().map(|(lamp, _)| *lamp);
        let cured = |level: &i64| Cured { millis: 15 * HOUR, signalled: 15 * HOUR, level_millis: level * 15 * HOUR };
        let station = |k: usize| (StationId::from(format!("p1/s{}", k + 1).as_str()), lamp);
        Day { curing: levels.iter().enumerate().map(|(k, level)| (station(k), cured(level))).collect(), ..day.clone() }
    }

    /// 10 h at 60 % and 30 h at 100 %: 36 of 40 h, whether each level was signalled all the time or for 19 of 20 parts of it.
    #[test]
    fn levels_are_weighted_by_curing_and_none_is_known_where_one_station_does_not_signal_it() {
        let mut day = at_level(&[day(LampKind::Arc, [5_000, 1_900, 14], 20)], &[600, 1_000]);
        let cured = |hours: i64, signalled: i64, level: i64| Cured {
            millis: hours * HOUR,
            signalled,
            level_millis: signalled * level,
        };
        let level = |day: &Day| level(std::slice::from_ref(day), LampKind::Arc);
        let set = |day: &mut Day, k: &str, to| day.curing.insert((k.into(), Some(LampKind::Arc)), to);
        set(&mut day, "p1/s1", cured(10, 10 * HOUR, 600));
        set(&mut day, "p1/s2", cured(30, 30 * HOUR * 19 / 20, 1_000));
        assert_eq!(level(&day), Ok(0.9));
        set(&mut day, "p1/s2", cured(30, 30 * HOUR * 19 / 20 - 1, 1_000));
        assert_eq!(level(&day), Err(vec!["p1/s2".into()]));
        let after = Day { curing: BTreeMap::new(), ..day.clone() };
        assert_eq!(levels(&[day], &[after]), Err(vec!["p1/s2".into()]));
    }

    #[test]
    fn what_no_signal_parts_is_merged_with_its_neighbour() {
        let (before, mut after) =
            ([day(LampKind::Arc, [5_000, 1_900, 14], 20)], [day(LampKind::Led, [1_900, 30, 26], 0)]);
        after[0].drivers.clear();
        let promised = promised(24.0);
        let operation = operation(&promised, &before, &after).expect("told");
        let with_running = [Cause::Lit, Cause::Speed].map(|cause| (cause, Cause::Running));
        assert_eq!(operation.merged[2..], with_running);
        assert_eq!(operation.factors.lit, 7.0);
        assert_eq!(operation.factors.standby_h, 2.0);
    }

    /// 120 station-km in 30 station-hours before, 150 after: a quarter faster, so that the old lamps would have cured a
    /// quarter longer, and stood by a quarter longer: 1.25 x (30 x 5,000 W + 20 x 1,900 W) + the rest of 240 h x 14 W.
    #[test]
    fn at_a_higher_speed_the_old_lamps_would_have_cured_longer() {
        let (before, mut after) =
            ([day(LampKind::Arc, [5_000, 1_900, 14], 20)], [day(LampKind::Led, [1_900, 30, 26], 0)]);
        after[0].drivers = BTreeMap::from([(Driver::WebKm, 25.0), (Driver::StationKm, 150.0)]);
        let factors = operation(&promised(24.0), &before, &after).expect("told").factors;
        assert_eq!((factors.speed, factors.lit, factors.curing_h), (1.25, 6.0, 5.0));
        let kwh = (37.5 * 5_000.0 + 25.0 * 1_900.0 + (240.0 - 62.5) * 14.0) / 1e3;
        assert!((factors.used(crate::verify::Side::Before) - kwh).abs() < 1e-9);
    }

    #[test]
    fn days_set_aside_and_periods_without_curing_count_for_nothing() {
        let (before, mut after) =
            ([day(LampKind::Arc, [5_000, 1_900, 14], 20)], [day(LampKind::Led, [1_900, 30, 26], 0)]);
        after[0].aside = Some(crate::verify::Aside::Lost);
        assert_eq!(operation(&promised(24.0), &before, &after), Err(Untold::NoNewCuring));
        assert_eq!(operation(&promised(24.0), &after, &after), Err(Untold::NoOldCuring));
    }
}
