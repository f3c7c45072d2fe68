//! What the old lamps would have drawn by their ratings, where nobody metered them: an estimate, never a measured saving.
//!
//! A day of the new lamps is turned into the same day with the old ones, by a bounded rule: a station cures for as long
//! as it did, at the speed of now; it is struck once on a day on which it cured; of the time on a job in which it did not
//! cure the stated share is standby. Standby and warm-up together are never longer than that time.

use super::baseline::{Kind, Refused};
use super::words::{number, percent};
use super::{Cured, Day, Equipment, Powers, Promise, Scope, Whole, Worked};
use crate::attribute::LampState;
use crate::names::StationId;
use crate::plant::{Lamp, LampKind, Plant, RatedAt, Station};
use crate::time::{At, HOUR, QUARTER};
use crate::units::Energy;
use std::collections::BTreeMap;

/// What whoever freezes a baseline from ratings states; shares are 1 for all.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RatingsStated {
    /// Bound on how far what the old lamps would have drawn may lie from this, either way, as a share of it.
    pub bound: f64,
    /// Share of the time on a job, less curing, in which an old lamp would have stood by.
    pub waiting: f64,
    /// Mean level while curing; that of the promise where it is `None`.
    pub level: Option<f64>,
    /// Draw on standby as a share of the full draw; that of the promise where it is `None`.
    pub standby: Option<f64>,
    /// Watts at the mains over watts at the lamp; that of the promise where it is `None`.
    pub supply_factor: Option<f64>,
    /// Hours at full draw of each start.
    pub warm_up_h: f64,
}

/// The old lamps by their ratings, and the rule by which hours are taken.
#[derive(Clone, Debug, PartialEq)]
pub struct Ratings {
    /// Each station's lamp, in web direction.
    pub lamps: Vec<RatedLamp>,
    /// Share of the time on a job, less curing, in which a lamp would have stood by.
    pub waiting: f64,
    /// Hours at full draw of each start.
    pub warm_up_h: f64,
    /// Bound on how far what they would have drawn may lie from this, either way, as a share of it. Nobody measured it, so
    /// that it does not shrink.
    pub bound: f64,
}

/// The old lamp of a station.
#[derive(Clone, Debug, PartialEq)]
pub struct RatedLamp {
    /// The station.
    pub station: StationId,
    /// Watts at the mains at full level.
    pub full_w: f64,
    /// Mean level while curing.
    pub level: f64,
    /// Watts on standby.
    pub standby_w: f64,
    /// Watts in all other hours.
    pub off_w: f64,
    /// Where the rating comes from.
    pub source: String,
}

impl Ratings {
    /// The ratings of a scope: of the lamps that stood there before the conversion, and of the promise where the plant
    /// does not know them.
    ///
    /// # Errors
    /// A shared load, a press without meters of its lamps or without a conversion, or a rating that nobody states.
    pub fn of(
        plant: &Plant,
        promise: Option<&Promise>,
        scope: &Scope,
        stated: &RatingsStated,
    ) -> Result<Self, Refused> {
        Kind::Rated.fits(scope)?;
        let conversion =
            scope.implementation.ok_or_else(|| Refused::NotConverted { judged: scope.judged.to_string() })?;
        let one = |id: &StationId| {
            let group = promise.and_then(|promise| promise.groups.iter().find(|group| group.stations.contains(id)));
            let old = group.map(|group| &group.old);
            let fitted = plant.station(id).and_then(|(_, station)| before(plant, station, conversion.start - 1));
            let missing = |what| Refused::RatingMissing { station: id.to_string(), what };
            let (full_w, source) = match (fitted, group) {
                (Some(lamp), _) => by_plant(lamp, old, stated).ok_or_else(|| missing(LOSSES))?,
                (None, Some(group)) => by_promise(&group.old, group.length_cm),
                (None, None) => return Err(missing(RATING)),
            };
            let standby = stated.standby.or(old.map(|old| old.standby_share));
            let standby = standby.or((stated.waiting == 0.0).then_some(0.0)).ok_or_else(|| missing(STANDBY))?;
            Ok(RatedLamp {
                station: id.clone(),
                full_w,
                level: stated.level.or(old.map(|old| old.level)).ok_or_else(|| missing(LEVEL))?,
                standby_w: standby * full_w,
                off_w: old.map_or(0.0, |old| old.off_w),
                source,
            })
        };
        let lamps: Vec<RatedLamp> = scope.stations.iter().map(one).collect::<Result<_, _>>()?;
        Ok(Self { lamps, waiting: stated.waiting, warm_up_h: stated.warm_up_h, bound: stated.bound })
    }

    /// The same day with the old lamps; `None` where it is not known for how long the lamps cured, or for how long a job
    /// was on the press and standby counts.
    pub fn day(&self, day: &Day) -> Option<Day> {
        let known: i64 = day.worked.values().map(|worked| worked.millis).sum();
        let all = self.lamps.len() as f64 * day.hours;
        if (all - hours(known)) > self.lamps.len() as f64 * hours(QUARTER) {
            return None;
        }
        let is_energised = self.waiting > 0.0 || self.warm_up_h > 0.0;
        let on_job = if is_energised { day.on_job_h? } else { 0.0 };
        let mut worked: BTreeMap<(LampKind, LampState), Worked> = BTreeMap::new();
        let mut levels = BTreeMap::new();
        for lamp in &self.lamps {
            let cured: i64 =
                day.curing.iter().filter(|((id, _), _)| *id == lamp.station).map(|(_, cured)| cured.millis).sum();
            let curing = hours(cured);
            if cured > 0 {
                let level_millis = (lamp.level * 1e3 * cured as f64).round() as i64;
                let as_stated = Cured { millis: cured, signalled: cured, level_millis };
                levels.insert((lamp.station.clone(), Some(LampKind::Arc)), as_stated);
            }
            let rest = (on_job - curing).max(0.0);
            let warm_up = if curing > 0.0 { self.warm_up_h.min(rest) } else { 0.0 };
            let standby = (rest * self.waiting).min(rest - warm_up);
            let off = (day.hours - curing - standby - warm_up).max(0.0);
            for (state, hours, watts) in [
                (LampState::Curing, curing, lamp.full_w * lamp.level),
                (LampState::Standby, standby, lamp.standby_w),
                (LampState::WarmingUp, warm_up, lamp.full_w),
                (LampState::Off, off, lamp.off_w),
            ] {
                let sum = worked.entry((LampKind::Arc, state)).or_default();
                sum.energy += Energy::nearest(hours * watts / 1e3);
                sum.millis += (hours * HOUR as f64).round() as i64;
            }
        }
        let energy = worked.values().map(|worked| worked.energy).sum();
        Some(Day { energy, worked, loads: BTreeMap::new(), powers: Powers::new(), curing: levels, ..day.clone() })
    }

    /// The rule in words.
    pub fn rule(&self) -> Vec<String> {
        let standby = match self.waiting {
            0.0 => "no standby is counted, since nobody stated how much of the waiting time it was".to_owned(),
            share => format!(
                "of the time on a job in which a station did not cure {} is standby, warm-up included never more than all \
                 of it",
                percent(share)
            ),
        };
        let starts = match self.warm_up_h {
            0.0 => "no warm-up is counted".to_owned(),
            hours => format!("one start a day on which a station cured, {} min at full draw", number(hours * 60.0, 1)),
        };
        let lamps = self.lamps.iter().map(|lamp| {
            format!(
                "station {}: {} W at full level, {} while curing, {} W on standby ({})",
                lamp.station,
                number(lamp.full_w, 0),
                percent(lamp.level),
                number(lamp.standby_w, 0),
                lamp.source
            )
        });
        let rule = [
            "a station cures for as long as the new lamp did, at the web speed of now".into(),
            standby,
            starts,
            format!(
                "what the old lamps would have drawn lies within ± {} of this: a bound that was stated and not measured, taken \
                 as the limits of a meter are (rectangular, GUM 4.3.7), and no narrower however long one waits",
                percent(self.bound)
            ),
        ];
        lamps.chain(rule).collect()
    }
}

const RATING: &str = "rating: no arc lamp is entered in config/plant.toml as fitted before the conversion, and no group of \
                      config/promise.toml names the station; enter either";
const LOSSES: &str = "supply losses: the lamp is rated at the lamp; state watts at the mains over watts at the lamp with \
                      --supply-factor, such as 1.15";
const LEVEL: &str = "mean level while curing; state it with --level, such as 80%";
const STANDBY: &str = "draw on standby; state it with --standby-draw as a share of the full draw, such as 35%";

/// The arc lamp that stood in a station at an instant.
fn before<'a>(plant: &'a Plant, station: &Station, at: At) -> Option<&'a Lamp> {
    let fitted = station.fitted.at(at)?.as_ref()?;
    plant.lamp(fitted).filter(|lamp| lamp.kind == LampKind::Arc)
}

/// Watts at the mains of a lamp of the plant, and where they come from; `None` where nobody states the losses.
fn by_plant(lamp: &Lamp, promised: Option<&Equipment>, stated: &RatingsStated) -> Option<(f64, String)> {
    let length = f64::from(lamp.length_mm) / 10.0;
    let rated = format!("lamp {} of config/plant.toml, {} W/cm x {} cm", lamp.id, lamp.w_per_cm, number(length, 1));
    match lamp.rated_at {
        RatedAt::Mains => Some((lamp.rated_watts(), format!("{rated} at the mains"))),
        RatedAt::Lamp => {
            let promised =
                promised.filter(|old| old.rated_at == RatedAt::Lamp).map(|old| (old.supply_factor, "promised"));
            let (factor, by) = stated.supply_factor.map(|factor| (factor, "stated")).or(promised)?;
            Some((lamp.rated_watts() * factor, format!("{rated} at the lamp x {} ({by} losses)", number(factor, 2))))
        }
    }
}

fn by_promise(old: &Equipment, length_cm: f64) -> (f64, String) {
    let rated = format!("the promise, {} W/cm x {} cm", number(old.w_per_cm, 1), number(length_cm, 1));
    let source = match old.rated_at {
        RatedAt::Mains => format!("{rated} at the mains"),
        RatedAt::Lamp => format!("{rated} at the lamp x {} (promised losses)", number(old.supply_factor, 2)),
    };
    (old.full_watts(length_cm), source)
}

fn hours(millis: i64) -> f64 {
    millis as f64 / HOUR as f64
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::verify::DayType;

    /// Two lamps of 5,000 W at 80 %, 1,500 W on standby, 20 W else.
    fn ratings() -> Ratings {
        let lamp = |station: &str| RatedLamp {
            station: station.into(),
            full_w: 5_000.0,
            level: 0.8,
            standby_w: 1_500.0,
            off_w: 20.0,
            source: "invented".into(),
        };
        Ratings { lamps: vec![lamp("p1/s1"), lamp("p1/s2")], waiting: 0.5, warm_up_h: 0.05, bound: 0.15 }
    }

    /// 8 h on a job; the first station cures for 5 of them, the second for none.
    fn day() -> Day {
        let led = |hours| Worked { energy: Energy::from_wh(100), millis: hours * HOUR };
        Day {
            date: "2026-03-02".parse().expect("a date"),
            hours: 24.0,
            kind: DayType::Running,
            energy: Energy::from_wh(200),
            aside: None,
            worked: [((LampKind::Led, LampState::Curing), led(5)), ((LampKind::Led, LampState::Off), led(43))].into(),
            on_job_h: Some(8.0),
            outside_h: None,
            curing: [(("p1/s1".into(), Some(LampKind::Led)), Cured { millis: 5 * HOUR, ..Cured::default() })].into(),
            loads: BTreeMap::new(),
            powers: Powers::new(),
            drivers: BTreeMap::new(),
        }
    }

    /// First: 5 h x 4,000 W + 1.5 h x 1,500 W + 0.05 h x 5,000 W + 17.45 h x 20 W = 22,849 Wh.
    /// Second: 4 h x 1,500 W + 20 h x 20 W = 6,400 Wh.
    #[test]
    fn a_day_with_the_old_lamps_is_reckoned_from_its_curing_and_its_time_on_a_job() {
        let old = ratings().day(&day()).expect("known");
        assert_eq!(old.energy, Energy::from_wh(29_249));
        let hours = |state| old.worked[&(LampKind::Arc, state)].millis as f64 / HOUR as f64;
        assert_eq!(
            (hours(LampState::Curing), hours(LampState::Standby), hours(LampState::WarmingUp)),
            (5.0, 5.5, 0.05)
        );
    }

    #[test]
    fn standby_is_never_longer_than_the_time_on_a_job_less_curing() {
        let all = Ratings { waiting: 1.0, ..ratings() };
        let short = Day { on_job_h: Some(4.0), ..day() };
        let old = all.day(&short).expect("known");
        // The first station cured for longer than a job was there: it waited for nothing.
        assert_eq!(old.worked[&(LampKind::Arc, LampState::Standby)].millis, 4 * HOUR);
    }

    #[test]
    fn a_day_of_unknown_lamps_or_an_unknown_job_is_unknown_and_not_zero() {
        let mut unknown = day();
        unknown.worked.remove(&(LampKind::Led, LampState::Off));
        assert_eq!(ratings().day(&unknown), None);
        let no_job = Day { on_job_h: None, ..day() };
        assert_eq!(ratings().day(&no_job), None);
        assert!(Ratings { waiting: 0.0, warm_up_h: 0.0, ..ratings() }.day(&no_job).is_some());
    }
}
