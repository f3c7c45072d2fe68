//! In-shift rule: a station whose draw at equal level leaves the band of its reference within an hour of curing. The chart of days
//! ([`super::draw`]) decides later whether it lasts; until then this is a first notice of the same event.

use super::day::Day;
use super::draw::{Fitted, counts};
use super::{Above, Finding, Rule, Terms};
use crate::attribute::{Amount, Claim, LampState, Slice};
use crate::names::StationId;
use crate::plant::{Dated, Plant};
use crate::stats::drift_rates::REFERENCE;
use crate::stats::normal::quantile;
use crate::stats::robust::{mad, median};
use crate::time::{At, HOUR, MINUTE, Period, Zone};
use crate::units::{Energy, Money, fixed};
use crate::verify::Cured;
use std::collections::BTreeMap;

/// Curing is taken in pieces of this: two of them are the hour that is judged.
const PIECE: i64 = 30 * MINUTE;
/// The part of the plant's false alarms that these hours may raise; the charts of days have the rest.
pub(super) const SHARE: f64 = 0.1;
/// A rise by less is left to the days, which tell it from a warm hall or another job (own judgement).
const LEAST: f64 = 0.03;
/// So many hours in a row within the band end an event (own judgement).
const BACK: usize = 4;
/// The upper hundredth of a normal distribution, in standard deviations.
const HUNDREDTH: f64 = 2.326;
/// Half-width of 90 % in standard deviations.
const NINETY: f64 = 1.645;

/// A piece of curing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Piece {
    /// From its beginning to its end, with what lies between.
    pub period: Period,
    /// Energy while it cured.
    pub energy: Energy,
    /// Its cost.
    pub cost: Money,
    /// For how long, and at what level.
    pub cured: Cured,
}

impl Piece {
    /// Hours at full level.
    fn hours(&self) -> f64 {
        self.cured.millis as f64 / HOUR as f64 * self.cured.level().unwrap_or(1.0)
    }

    /// One with the next.
    fn and(&self, next: &Self) -> Self {
        let (a, b) = (self.cured, next.cured);
        Self {
            period: Period::new(self.period.start, next.period.end),
            energy: self.energy + next.energy,
            cost: self.cost + next.cost,
            cured: Cured {
                millis: a.millis + b.millis,
                signalled: a.signalled + b.signalled,
                level_millis: a.level_millis + b.level_millis,
            },
        }
    }

    /// Watts at full level; `None` where that cannot be said.
    fn watts(&self) -> Option<f64> {
        let hours = self.hours();
        (hours > 0.0).then(|| self.energy.kwh() * 1e3 / hours)
    }
}

/// The pieces of curing of a day, from slices with their cost, by station and place of the lamp in its history. Only what is
/// measured counts; what is left at the end of the day falls away.
pub(super) fn pieces<'a>(
    plant: &Plant,
    slices: impl Iterator<Item = (&'a Slice, Money)>,
    levels: &BTreeMap<StationId, Dated<i64>>,
) -> Vec<(Fitted, Piece)> {
    let mut open: BTreeMap<Fitted, Piece> = BTreeMap::new();
    let mut done: BTreeMap<Fitted, Vec<Piece>> = BTreeMap::new();
    for (slice, cost) in slices {
        let (period, owner) = (slice.usage.period, &slice.owner);
        let is_curing = owner.claim == Claim::Own && owner.lamp_state == Some(LampState::Curing);
        let Some(station) = owner.station.as_ref().filter(|_| is_curing) else { continue };
        let Some((_, known)) = plant.station(station) else { continue };
        let fitted = (station.clone(), known.fitted.iter().filter(|(since, _)| *since <= period.start).count());
        let Some(energy) = slice.usage.energy.filter(|_| slice.usage.amount < Amount::Estimated) else {
            open.remove(&fitted);
            continue;
        };
        let mut cured = Cured::default();
        cured.take(period, levels.get(station));
        let next = Piece { period, energy, cost, cured };
        let piece = open.remove(&fitted).map_or(next, |piece| piece.and(&next));
        match piece.cured.millis >= PIECE {
            true => done.entry(fitted).or_default().push(piece),
            false => drop(open.insert(fitted, piece)),
        }
    }
    done.into_iter().flat_map(|(fitted, all)| all.into_iter().map(move |piece| (fitted.clone(), piece))).collect()
}

/// What an hour of a station is held against: the hours of the days of its reference.
#[derive(Clone, Copy, Debug)]
struct Band {
    middle: f64,
    scale: f64,
}

impl Band {
    /// The scale explains both the middle half of the hours and the highest hundredth of them.
    fn of(hours: &mut [f64]) -> Option<Self> {
        let middle = median(hours)?;
        let own = mad(hours)?;
        hours.sort_by(f64::total_cmp);
        let high = hours[(hours.len() - 1) * 99 / 100];
        Some(Self { middle, scale: own.max((high - middle) / HUNDREDTH) })
    }
}

/// Hours beyond the band that follow each other.
#[derive(Clone, Debug)]
struct Event {
    pieces: Vec<Piece>,
    /// When the first hour was over.
    raised: At,
    /// Hours within the band since.
    back: usize,
}

/// What is known of the hours of a lamp at a station.
#[derive(Clone, Debug, Default)]
struct Line {
    reference: Vec<f64>,
    days: usize,
    band: Option<Band>,
    events: Vec<Event>,
}

/// The hours of every station.
#[derive(Clone, Debug)]
pub(super) struct Hours {
    lines: BTreeMap<Fitted, Line>,
    /// By how many standard deviations an hour must exceed the middle.
    beyond: f64,
}

impl Hours {
    /// No hour yet. The bound is that of independent normal hours in a plant whose every station cures day and night: fewer are
    /// looked at, so that fewer false alarms are raised than the rate allows.
    pub(super) fn new(plant: &Plant, terms: &Terms) -> Self {
        let stations = plant.presses.iter().map(|press| press.stations.len()).sum::<usize>().max(1);
        let looks = stations as f64 * 365.25 * 24.0 * (HOUR / PIECE) as f64;
        let rate = terms.false_alarms_a_year * SHARE / looks;
        Self { lines: BTreeMap::new(), beyond: quantile(1.0 - rate).unwrap_or(f64::INFINITY) }
    }

    /// Takes the hours of a day that follows those before.
    pub(super) fn take(&mut self, day: &Day) {
        for all in day.pieces.chunk_by(|(a, _), (b, _)| a == b) {
            let line = self.lines.entry(all[0].0.clone()).or_default();
            line.settle();
            for hour in all.windows(2) {
                line.take(&hour[0].1, &hour[1].1, self.beyond);
            }
        }
        for (fitted, drew) in &day.drew {
            if let Some(line) = self.lines.get_mut(fitted).filter(|_| counts(day.date, drew)) {
                line.days += 1;
            }
        }
    }

    /// The events that no finding of the days is about.
    pub(super) fn findings(self, zone: Zone, lasting: &[Finding]) -> Vec<Finding> {
        let newest: BTreeMap<StationId, usize> = self.lines.keys().cloned().collect();
        let mut findings = Vec::new();
        for ((station, fitted), line) in self.lines {
            let Some(band) = line.band else { continue };
            let is_fitted = newest.get(&station) == Some(&fitted);
            findings.extend(line.events.iter().map(|event| finding(zone, &station, band, event, is_fitted)));
        }
        findings.retain(|one| !lasting.iter().any(|other| is_same(other, one)));
        findings
    }
}

/// A rise is dated by days: what the hours saw up to three days before its first day is the same event.
fn is_same(lasting: &Finding, one: &Finding) -> bool {
    let ends = |finding: &Finding| finding.until.unwrap_or(At(i64::MAX));
    lasting.station == one.station && lasting.since - 72 * HOUR <= ends(one) && one.since <= ends(lasting)
}

impl Line {
    /// Once the days of the reference are complete, the band stands for as long as the lamp is fitted.
    fn settle(&mut self) {
        if self.band.is_none() && self.days >= REFERENCE {
            self.band = Band::of(&mut std::mem::take(&mut self.reference));
        }
    }

    fn take(&mut self, first: &Piece, second: &Piece, beyond: f64) {
        let hour = first.and(second);
        let Some(watts) = hour.watts() else { return };
        let Some(band) = self.band else { return self.reference.push(watts) };
        let is_beyond = watts - band.middle > f64::max(beyond * band.scale, LEAST * band.middle.abs());
        match self.events.last_mut().filter(|event| event.back < BACK) {
            Some(event) if is_beyond => {
                event.pieces.push(*second);
                event.back = 0;
            }
            Some(event) => event.back += 1,
            None if is_beyond => {
                self.events.push(Event { pieces: vec![*first, *second], raised: second.period.end, back: 0 });
            }
            None => {}
        }
    }
}

fn finding(zone: Zone, station: &StationId, band: Band, event: &Event, is_fitted: bool) -> Finding {
    let pieces = &event.pieces;
    let hours: f64 = pieces.iter().map(Piece::hours).sum();
    let energy: Energy = pieces.iter().map(|piece| piece.energy).sum();
    let cost: Money = pieces.iter().map(|piece| piece.cost).sum();
    let kwh = energy.kwh();
    let watts = if hours > 0.0 { kwh * 1e3 / hours } else { 0.0 };
    let above = watts - band.middle;
    let of = |kwh: f64| Energy::from_mwh((kwh * 1e6).round() as i64);
    let share = if kwh > 0.0 { above * hours / 1e3 / kwh } else { 0.0 };
    let has_level = pieces.iter().all(|piece| piece.cured.level().is_some());
    let last = pieces[pieces.len() - 1].period.end;
    let number = |watts: f64| fixed((watts * 1e6).round() as i128, 6, 0);
    let mut evidence = vec![format!(
        "{} from {} to {} it drew {} W, where the hours of its reference drew {} ± {} W (90 %). Whether it lasts the days that follow tell.",
        if has_level { "Curing at full level" } else { "Curing" },
        zone.local(pieces[0].period.start).format("%Y-%m-%d %H:%M"),
        zone.local(last).format("%Y-%m-%d %H:%M"),
        number(watts),
        number(band.middle),
        number(NINETY * band.scale),
    )];
    if !has_level {
        evidence.push(super::draw::NO_LEVEL.into());
    }
    Finding {
        rule: Rule::HigherDraw,
        about: station.to_string(),
        station: Some(station.clone()),
        since: pieces[0].period.start,
        is_about: true,
        raised: event.raised,
        until: (event.back >= BACK || !is_fitted).then_some(last),
        above: Some(Above {
            watts: above,
            watts_half: Some(NINETY * band.scale),
            energy: of(above * hours / 1e3),
            energy_half: Some(of(NINETY * band.scale * hours / 1e3)),
            cost: Money::from_micros((cost.micros() as f64 * share).round() as i64),
            ahead: None,
        }),
        evidence,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plant::example;
    use crate::watch::Drew;
    use chrono::NaiveDate;

    const DAY: i64 = 24 * HOUR;

    /// A station that cures eight hours a day, in half hours of so many watts.
    fn day(number: i64, watts: impl Fn(i64) -> f64) -> Day {
        let fitted: Fitted = ("p1/s1".into(), 1);
        let start = At(number * DAY + 8 * HOUR);
        let of = |k: i64| Piece {
            period: Period::new(start + k * PIECE, start + (k + 1) * PIECE),
            energy: Energy::from_mwh((watts(k) * 500.0).round() as i64),
            cost: Money::from_micros(1_000),
            cured: Cured { millis: PIECE, signalled: 0, level_millis: 0 },
        };
        let pieces: Vec<(Fitted, Piece)> = (0..16).map(|k| (fitted.clone(), of(k))).collect();
        let energy: Energy = pieces.iter().map(|(_, piece)| piece.energy).sum();
        let cured = Cured { millis: 16 * PIECE, signalled: 0, level_millis: 0 };
        let date = NaiveDate::default() + chrono::Days::new(number as u64);
        let drew = Drew { energy, cost: Money::from_micros(16_000), cured, is_lost: false };
        Day { drew: [(fitted, drew)].into(), pieces, ..Day::nothing(date) }
    }

    /// Half hours of 4,000 W that differ by 1 %.
    fn usual(number: i64, k: i64) -> f64 {
        4_000.0 + 40.0 * f64::from((number * 7 + k * 5).rem_euclid(3) as i32 - 1)
    }

    fn told(days: &[Day]) -> Vec<Finding> {
        let plant = example::plant(Zone::UTC);
        let mut hours = Hours::new(&plant, &Terms::default());
        days.iter().for_each(|day| hours.take(day));
        hours.findings(Zone::UTC, &[])
    }

    #[test]
    fn an_hour_beyond_the_band_is_told_and_ends_once_the_draw_is_back() {
        let mut days: Vec<Day> = (0..41).map(|number| day(number, |k| usual(number, k))).collect();
        assert_eq!(told(&days), [], "usual days");
        days.push(day(41, |k| usual(41, k) + if k >= 6 { 800.0 } else { 0.0 }));
        let found = told(&days);
        assert_eq!(found.len(), 1, "{found:#?}");
        assert_eq!((found[0].since, found[0].until), (At(41 * DAY + 8 * HOUR + 5 * PIECE), None));
        assert!(found[0].raised <= found[0].since + HOUR, "within the hour");
        days.push(day(42, |k| usual(42, k)));
        let found = told(&days);
        assert_eq!((found.len(), found[0].until), (1, Some(At(41 * DAY + 16 * HOUR))));
        let above = found[0].above.expect("measured");
        assert!((above.energy.kwh() - 0.8 * 5.0).abs() < 0.1, "{above:?}");
    }
}
