//! Drift: a station that draws more for the same curing than it did. Days of curing are compared at equal level with the first
//! days after the lamp was fitted, which stay the reference for as long as it is fitted.

use super::day::{Day, Drew};
use super::hours::SHARE;
use super::{Above, Finding, Rule, Terms};
use crate::names::StationId;
use crate::plant::Plant;
use crate::stats::drift::{self, Reference, Rise, rises};
use crate::stats::drift_rates::{RECOVER, REFERENCE, SETTLE, decision};
use crate::stats::robust::median;
use crate::time::{At, HOUR, Zone};
use crate::units::{Energy, Money, fixed};
use chrono::{Datelike, NaiveDate};
use std::collections::BTreeMap;
use std::sync::Arc;

/// A day with less curing says little (own judgement).
const LEAST: i64 = HOUR;
/// The scale of a chart is at least this part of the draw: meters of class 1 repeat themselves no better (own judgement).
const RESOLUTION: f64 = 0.002;
/// A month ahead, in days.
const AHEAD: i64 = 28;

/// A day at equal level.
#[derive(Clone, Copy, Debug)]
struct Point {
    date: NaiveDate,
    /// Watts at full level.
    watts: f64,
    /// Hours at full level.
    hours: f64,
    /// Price of a kWh, in units of the currency.
    price: f64,
    has_level: bool,
}

/// What is said where a level is not known.
pub(super) const NO_LEVEL: &str =
    "Its level is not signalled: a higher draw may be a higher level, so this is a question, not a fault.";

/// A lamp at a station: the place of its fitting in the station's history.
pub type Fitted = (StationId, usize);

/// What a station draws while it cures, under the lamp that is fitted.
#[derive(Clone, Debug, PartialEq)]
pub struct Drawn {
    /// Watts at full level on the days of the reference: their median.
    pub watts: f64,
    /// By how many watts days differ as a rule: the standard deviation of a day.
    pub scale: f64,
    /// Days of the reference.
    pub reference_days: usize,
    /// Whether its level is signalled; else the watts are those at whatever level it had.
    pub has_level: bool,
    /// The last days of curing, at most 400, each with its watts at full level.
    pub days: Vec<(NaiveDate, f64)>,
}

/// Days of a station that are shown.
const SHOWN: usize = 400;

/// The days of every station.
#[derive(Clone)]
pub struct Draws {
    plant: Arc<Plant>,
    days: BTreeMap<Fitted, BTreeMap<NaiveDate, Drew>>,
}

impl Draws {
    /// No day yet.
    pub const fn new(plant: Arc<Plant>) -> Self {
        Self { plant, days: BTreeMap::new() }
    }

    /// Takes what stations did on a day.
    pub fn take(&mut self, day: &Day) {
        for (fitted, drew) in &day.drew {
            self.days.entry(fitted.clone()).or_default().insert(day.date, *drew);
        }
    }

    /// The rises, the decision interval of each station's chart, and what each draws. A day that is not over by `until` says
    /// nothing yet.
    pub fn findings(
        self,
        terms: &Terms,
        until: At,
    ) -> (Vec<Finding>, BTreeMap<StationId, f64>, BTreeMap<StationId, Drawn>) {
        let zone = self.plant.zone;
        let charted: Vec<(Fitted, Vec<Point>, Reference)> = self
            .days
            .into_iter()
            .filter_map(|(fitted, days)| {
                let over = days.into_iter().filter(|(date, _)| zone.day(*date).end <= until);
                let points: Vec<Point> = over.filter_map(|(date, done)| point(date, done)).collect();
                let reference = reference(&points)?;
                Some((fitted, points, reference))
            })
            .collect();
        let mut stations: Vec<&StationId> = charted.iter().map(|((station, _), ..)| station).collect();
        stations.dedup();
        let (days, span) = charted.iter().fold((0.0, 0.0), |(days, span), (_, points, _)| {
            let dates = points.first().zip(points.last()).map_or(0, |(a, b)| (b.date - a.date).num_days());
            (days + points.len() as f64, span + dates as f64)
        });
        let charted_a_year = 365.25 * days / f64::max(span, 1.0) * stations.len().max(1) as f64;
        let a_day = terms.false_alarms_a_year * (1.0 - SHARE) / f64::max(charted_a_year, 1.0);
        let (mut findings, mut charts, mut drawn) = (Vec::new(), BTreeMap::new(), BTreeMap::new());
        for ((station, _), points, reference) in &charted {
            let decision = decision(reference.cautious_rho(), a_day);
            charts.insert(station.clone(), decision);
            // Of several lamps the last one counts: they come in the order in which they were fitted.
            drawn.insert(station.clone(), shown(points, reference));
            let watts: Vec<f64> = points.iter().map(|point| point.watts).collect();
            let rule = drift::Rule { decision, settle: SETTLE, recover: RECOVER };
            for rise in rises(reference, &watts, &numbers(points), rule) {
                findings.push(finding(zone, station, points, reference, &rise));
            }
        }
        (findings, charts, drawn)
    }
}

/// Whether a day of a lamp counts.
pub(super) fn counts(date: NaiveDate, drew: &Drew) -> bool {
    point(date, *drew).is_some()
}

/// A day that counts: measured, with curing enough. Where the level was signalled for nearly all of it, at full level.
fn point(date: NaiveDate, done: Drew) -> Option<Point> {
    if done.is_lost || done.cured.millis < LEAST {
        return None;
    }
    let level = done.cured.level();
    let hours = done.cured.millis as f64 / HOUR as f64 * level.unwrap_or(1.0);
    let kwh = done.energy.kwh();
    let price = if kwh > 0.0 { done.cost.units() / kwh } else { 0.0 };
    (hours > 0.0).then(|| Point { date, watts: kwh * 1e3 / hours, hours, price, has_level: level.is_some() })
}

fn shown(points: &[Point], reference: &Reference) -> Drawn {
    let last = &points[points.len().saturating_sub(SHOWN)..];
    Drawn {
        watts: reference.middle,
        scale: reference.scale,
        reference_days: reference.days,
        has_level: last.iter().all(|point| point.has_level),
        days: last.iter().map(|point| (point.date, point.watts)).collect(),
    }
}

fn numbers(points: &[Point]) -> Vec<i64> {
    points.iter().map(|point| point.date.num_days_from_ce().into()).collect()
}

/// The first days; `None` where there are not enough, or there is nothing after them.
fn reference(points: &[Point]) -> Option<Reference> {
    let first = points.get(..REFERENCE).filter(|_| points.len() > REFERENCE)?;
    let watts: Vec<f64> = first.iter().map(|point| point.watts).collect();
    let least = median(&watts)?.abs() * RESOLUTION;
    Reference::of(&watts, &numbers(first), least)
}

fn finding(zone: Zone, station: &StationId, points: &[Point], reference: &Reference, rise: &Rise) -> Finding {
    let (first, last) = (rise.step.first, rise.end.unwrap_or(points.len()));
    let lasted = &points[first..last];
    let hours: f64 = lasted.iter().map(|point| point.hours).sum();
    let energy = |kwh: f64| Energy::from_mwh((kwh * 1e6).round() as i64);
    let money = |units: f64| Money::from_micros((units * 1e6).round() as i64);
    let excess: Vec<f64> = lasted.iter().map(|point| (point.watts - reference.middle) * point.hours / 1e3).collect();
    let kwh: f64 = excess.iter().sum();
    let cost: f64 = excess.iter().zip(lasted).map(|(kwh, point)| kwh * point.price).sum();
    let newest = points[last - 1].date;
    let recent = lasted.iter().filter(|point| (newest - point.date).num_days() < AHEAD);
    // The days of a rise that is younger than a month are carried on as they were.
    let seen = (newest - points[first].date).num_days() + 1;
    let (recent_h, paid) =
        recent.fold((0.0, 0.0), |(h, paid), point| (h + point.hours, paid + point.hours * point.price));
    let ahead_h = recent_h * AHEAD as f64 / seen.min(AHEAD) as f64;
    let ahead_kwh = rise.step.size * ahead_h / 1e3;
    let is_over = rise.end.is_some();
    let share = rise.step.size / reference.middle * 100.0;
    let watts = |watts: f64| fixed((watts * 1e6).round() as i128, 6, 0);
    let mut evidence = vec![format!(
        "Curing at full level it draws {} W where it drew {} W on {} days from {} on: {share:.1} % more.",
        watts(reference.middle + rise.step.size),
        watts(reference.middle),
        reference.days,
        points[0].date
    )];
    if lasted.iter().any(|point| !point.has_level) {
        evidence[0] = evidence[0].replacen("Curing at full level it", "Curing it", 1);
        evidence.push(NO_LEVEL.into());
    }
    evidence.push(match rise.is_settled {
        true => format!("A step is the likeliest explanation; the chart alarmed on {}.", points[rise.alarm].date),
        false => format!(
            "The chart alarmed on {}; since when and by how much is settled {SETTLE} days of curing after that.",
            points[rise.alarm].date
        ),
    });
    Finding {
        rule: Rule::HigherDraw,
        about: station.to_string(),
        station: Some(station.clone()),
        since: zone.day(points[first].date).start,
        is_about: !rise.is_settled,
        raised: zone.day(points[rise.alarm].date).end,
        until: rise.end.map(|end| zone.day(points[end].date).start),
        above: Some(Above {
            watts: rise.step.size,
            watts_half: Some(rise.step.half),
            energy: energy(kwh),
            energy_half: Some(energy(rise.step.half * hours / 1e3)),
            cost: money(cost),
            ahead: (!is_over).then(|| {
                let price = if recent_h > 0.0 { paid / recent_h } else { 0.0 };
                (energy(ahead_kwh), money(ahead_kwh * price))
            }),
        }),
        evidence,
    }
}
