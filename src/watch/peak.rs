//! In-shift rule: more is drawn than was agreed with the supplier, or is about to be before its interval is over.

use super::{Finding, Rule};
use crate::attribute::{DayLedger, Usage};
use crate::cost::{Capacity, Tariff};
use crate::plant::{Covers, Flow, Plant};
use crate::time::{At, HOUR, MINUTE, Period};
use crate::units::{Energy, fixed};
use std::collections::BTreeMap;

/// So much of an interval must be known before its mean is carried on to its end (own judgement).
const ENOUGH: i64 = 5 * MINUTE;
/// Intervals that lie no further apart are one event: what a shift would call one peak (own judgement).
const APART: i64 = 12 * HOUR;

/// An interval whose mean exceeds the agreed capacity.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Peak {
    /// The interval as it is billed.
    pub interval: Period,
    /// Up to when it is known; its end where it is over.
    pub known: At,
    /// Its mean in milliwatts, as far as it is known.
    pub mean: i64,
    /// What is agreed, in thousandths of the unit.
    pub agreed: i64,
    /// The unit in which that is agreed.
    pub unit: String,
}

/// The intervals of a day that exceed what is agreed. Of an agreement in kVA those are found whose active power alone exceeds it.
pub(super) fn peaks(plant: &Plant, tariffs: &[Tariff], day: &DayLedger) -> Vec<Peak> {
    let capacity = Tariff::on(tariffs, day.date).and_then(|tariff| tariffs[tariff].terms.capacity.as_ref());
    let Some(capacity) = capacity else { return Vec::new() };
    let supplied: Vec<_> = plant
        .meters
        .iter()
        .filter(|meter| meter.covers == Covers::Site && meter.flow == Flow::Import && meter.below.is_none())
        .map(|meter| &meter.id)
        .collect();
    let midnight = plant.zone.day(day.date).start;
    let mut sums: BTreeMap<i64, BTreeMap<Period, Option<Energy>>> = BTreeMap::new();
    for Usage { period, energy, .. } in day.usage.iter().filter(|usage| supplied.contains(&&usage.meter)) {
        let interval = (period.start - midnight).div_euclid(capacity.interval);
        let sum = sums.entry(interval).or_default().entry(*period).or_insert(Some(Energy::ZERO));
        *sum = sum.zip(*energy).map(|(sum, energy)| sum + energy);
    }
    let whole = |interval: i64| {
        Period::new(midnight + interval * capacity.interval, midnight + (interval + 1) * capacity.interval)
    };
    sums.into_iter().filter_map(|(interval, parts)| peak(capacity, whole(interval), &parts)).collect()
}

/// One interval from its parts; `None` where they do not exceed what is agreed, or do not follow each other from its beginning.
fn peak(capacity: &Capacity, interval: Period, parts: &BTreeMap<Period, Option<Energy>>) -> Option<Peak> {
    let mut known = interval.start;
    let mut energy = Energy::ZERO;
    for (period, part) in parts {
        let Some(part) = part.filter(|_| period.start == known && period.end <= interval.end) else { break };
        (known, energy) = (period.end, energy + part);
    }
    let millis = known - interval.start;
    if millis < ENOUGH {
        return None;
    }
    let mean = (energy.mean_watts(millis)? * 1e3).round() as i64;
    let agreed = (capacity.agreed.to_f64() * 1e3).round() as i64;
    let unit = capacity.unit.word().to_owned();
    (mean > agreed * 1_000).then_some(Peak { interval, known, mean, agreed, unit })
}

/// The peaks met, in order of time.
#[derive(Clone, Debug, Default)]
pub(super) struct Peaks(Vec<Peak>);

impl Peaks {
    pub(super) fn take(&mut self, peaks: &[Peak]) {
        self.0.extend_from_slice(peaks);
    }

    /// One finding for peaks that lie close together.
    pub(super) fn findings(&self, plant: &Plant, until: At) -> Vec<Finding> {
        self.0
            .chunk_by(|a, b| b.interval.start - a.interval.end <= APART)
            .map(|peaks| finding(plant, peaks, until))
            .collect()
    }
}

fn finding(plant: &Plant, peaks: &[Peak], until: At) -> Finding {
    let (first, last) = (&peaks[0], &peaks[peaks.len() - 1]);
    let goes_on = last.interval.end >= until;
    Finding {
        rule: Rule::OverCapacity,
        about: "site".into(),
        station: None,
        since: first.interval.start,
        is_about: false,
        raised: (first.interval.start + ENOUGH).min(first.known),
        until: (!goes_on).then_some(last.interval.end),
        above: None,
        evidence: evidence(plant, peaks),
    }
}

fn evidence(plant: &Plant, peaks: &[Peak]) -> Vec<String> {
    let kw = |milliwatts: i64| fixed(milliwatts.into(), 6, 1);
    let over: Vec<&Peak> = peaks.iter().filter(|peak| peak.known >= peak.interval.end).collect();
    let mut told = Vec::new();
    if let Some(highest) = over.iter().max_by_key(|peak| peak.mean) {
        let start = plant.zone.local(highest.interval.start).format("%Y-%m-%d %H:%M");
        let (minutes, agreed, unit) =
            (highest.interval.millis() / MINUTE, fixed(highest.agreed.into(), 3, 0), &highest.unit);
        told.push(format!(
            "In the {minutes} minutes from {start} on the site drew {} kW, where {agreed} {unit} are agreed.",
            kw(highest.mean)
        ));
        if over.len() > 1 {
            told.push(format!("{} intervals exceeded what is agreed; this is the highest.", over.len()));
        }
    }
    if let Some(running) = peaks.last().filter(|peak| peak.known < peak.interval.end) {
        let end = plant.zone.local(running.interval.end).format("%H:%M");
        told.push(format!(
            "The interval that ends at {end} has drawn {} kW so far, and would come to that if it goes on so; {} {} are agreed.",
            kw(running.mean),
            fixed(running.agreed.into(), 3, 0),
            running.unit
        ));
    }
    told
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cost::{Measure, Per};
    use crate::plant::example;
    use crate::time::{QUARTER, Zone};
    use crate::units::Decimal;

    fn capacity() -> Capacity {
        Capacity {
            agreed: Decimal::whole(100),
            unit: Measure::Kva,
            interval: QUARTER,
            price: Decimal::whole(1),
            excess_price: Decimal::whole(2),
            per: Per::Month,
        }
    }

    /// Parts of a quarter hour that begins at 0, each from one minute to another with its kWh.
    fn of(parts: &[(i64, i64, Option<i64>)]) -> Option<Peak> {
        let parts = parts.iter().map(|(from, to, kwh)| {
            (Period::new(At(from * MINUTE), At(to * MINUTE)), kwh.map(|kwh| Energy::from_wh(kwh * 1_000)))
        });
        peak(&capacity(), Period::new(At(0), At(QUARTER)), &parts.collect())
    }

    /// 100 kVA are agreed: 25 kWh in a quarter hour.
    #[test]
    fn a_quarter_hour_above_what_is_agreed_is_told_and_one_that_runs_is_told_before_it_is_over() {
        assert_eq!(of(&[(0, 15, Some(25))]), None, "as much as is agreed");
        let over = of(&[(0, 10, Some(20)), (10, 15, Some(10))]).expect("120 kW");
        assert_eq!((over.mean, over.known), (120_000_000, At(QUARTER)));
        let running = of(&[(0, 6, Some(12))]).expect("120 kW so far");
        assert_eq!((running.mean, running.known), (120_000_000, At(6 * MINUTE)));
        assert_eq!(of(&[(0, 4, Some(12))]), None, "too early to say");
        assert_eq!(of(&[(5, 15, Some(30))]), None, "its beginning is not known");
        assert_eq!(of(&[(0, 10, None), (10, 15, Some(30))]), None, "nothing is guessed");
        let found = Peaks(vec![over.clone()]).findings(&example::plant(Zone::UTC), At(QUARTER + 1));
        assert_eq!(found[0].until, Some(At(QUARTER)));
        assert!(
            found[0].evidence[0].contains("the site drew 120.0 kW, where 100 kVA are agreed"),
            "{:?}",
            found[0].evidence
        );
        let found = Peaks(vec![over, Peak { interval: Period::new(At(QUARTER), At(2 * QUARTER)), ..running }])
            .findings(&example::plant(Zone::UTC), At(QUARTER + 6 * MINUTE));
        assert_eq!((found.len(), found[0].until), (1, None));
        assert!(found[0].evidence[1].contains("would come to that if it goes on so"), "{:?}", found[0].evidence);
    }
}
