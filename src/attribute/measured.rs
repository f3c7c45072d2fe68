//! All that is known about the energy of one meter: its register; in the holes of that its intervals; in what is
//! still open its power, integrated.

use crate::attribute::counting::gap_limit;
use crate::attribute::fold::MeterFold;
use crate::attribute::{Amount, Curve, DayFacts, Piece, Placed};
use crate::found::{Found, Issue, Remark};
use crate::plant::{Device, Flow, Meter, Ratio};
use crate::readings::{Quantity, Reading, Series, Subject};
use crate::time::{At, HOUR, Period, Zone};
use crate::units::{Energy, divide_rounded};
use chrono::Days;
use std::borrow::Cow;

const DAY: i64 = 24 * HOUR;

/// How one kind of readings of a meter becomes its curve.
type Read = fn(&Meter, &[Reading], Zone) -> Found<Curve>;

/// What fills the holes of a register, best first.
const LOWER: [(Quantity, Read); 2] =
    [(Quantity::IntervalEnergy, intervals), (Quantity::Power, |meter, power, _| integrated(meter, power))];

/// The register that counts a meter's energy: what a site gives back stands in the export register. Generation meters
/// count what they measure as import (common practice, no source).
pub const fn register_of(flow: Flow) -> Quantity {
    match flow {
        Flow::Import | Flow::Generation => Quantity::Import,
        Flow::Export => Quantity::Export,
    }
}

/// The curve of a meter from its readings; it need be known in `span` only. Daily values are those of the zone's days.
pub fn curve(meter: &Meter, facts: &DayFacts, span: Period, zone: Zone) -> Found<Curve> {
    let register = facts.of_meter(meter, register_of(meter.flow));
    let power = facts.of_meter(meter, Quantity::Power);
    let mut found = registered(meter, &register, &power);
    for (quantity, read) in LOWER {
        let readings = facts.of_meter(meter, quantity);
        if !readings.is_empty() && !found.value.holes(span).is_empty() {
            let more = read(meter, &readings, zone);
            found.value = found.value.or(&more.value);
            found.issues.extend(more.issues);
        }
    }
    found
}

impl DayFacts {
    fn of_meter(&self, meter: &Meter, quantity: Quantity) -> Cow<'_, [Reading]> {
        self.of(&Series::new(Subject::Meter(meter.id.clone()), quantity))
    }

    /// The readings of a series in order of time, whatever the order in which they were handed over.
    pub(super) fn of(&self, series: &Series) -> Cow<'_, [Reading]> {
        let readings = self.readings.get(series).map_or(&[][..], Vec::as_slice);
        if readings.is_sorted() {
            return Cow::Borrowed(readings);
        }
        let mut sorted = readings.to_vec();
        sorted.sort_unstable();
        Cow::Owned(sorted)
    }
}

fn registered(meter: &Meter, register: &[Reading], power: &[Reading]) -> Found<Curve> {
    let mut fold = MeterFold::new(meter);
    let mut power = power.iter().peekable();
    for reading in register {
        while let Some(sample) = power.next_if(|sample| sample.at <= reading.at) {
            fold.power(*sample);
        }
        fold.push(*reading);
    }
    fold.finish()
}

/// The interval whose value is stamped with this end: so many milliseconds, but for a day of the local clock, which has
/// 23 to 25 hours.
fn interval(end: At, native: i64, zone: Zone) -> Period {
    let start = match native % DAY {
        0 if zone.day(zone.date(end)).start == end => zone.day(zone.date(end - 1)).start,
        0 => zone.first(zone.local(end).naive_local() - Days::new(1)),
        _ => end - native,
    };
    Period::new(start, end)
}

/// Interval values, each the energy of the native interval that ends at its instant.
fn intervals(meter: &Meter, readings: &[Reading], zone: Zone) -> Found<Curve> {
    let mut pieces: Vec<Piece> = Vec::with_capacity(readings.len());
    let mut issues = Vec::new();
    for reading in readings {
        let period = interval(reading.at, meter.native, zone);
        let Some(energy) = meter.device.at(period.start).and_then(|d| energy_of(d, reading.count)) else { continue };
        if pieces.last().is_some_and(|last| last.period.end > period.start) {
            let text = "The interval begins before the one before it ends; it is not counted.".to_owned();
            issues.push(issue(meter, Remark::Clock, period, text));
        } else if !(0.0..=meter.max_watts as f64).contains(&energy.mean_watts(period.millis()).unwrap_or(0.0)) {
            let text = format!(
                "{energy} kWh in one interval is not between nothing and {} W; it is not counted.",
                meter.max_watts
            );
            issues.push(issue(meter, Remark::Implausible, period, text));
        } else {
            pieces.push(Piece { period, energy, amount: Amount::Metered, placed: Placed::Measured });
        }
    }
    Found { value: Curve::new(pieces), issues }
}

/// Power by the trapezoidal rule; readings further apart than the gap limit are not bridged.
pub fn integrated(meter: &Meter, readings: &[Reading]) -> Found<Curve> {
    let limit = gap_limit(meter);
    let mut issues = Vec::new();
    let mut pieces = Vec::with_capacity(readings.len());
    let mut last: Option<(Reading, i128)> = None;
    for reading in readings {
        let Some(power) = meter.device.at(reading.at).and_then(|device| milliwatts(device, reading.count)) else {
            continue;
        };
        if power.abs() > i128::from(meter.max_watts) * 1_000 {
            let text = format!(
                "A power of {} W is beyond the {} W of this meter; it is set aside.",
                power / 1_000,
                meter.max_watts
            );
            issues.push(issue(meter, Remark::Implausible, Period::new(reading.at, reading.at + 1), text));
            continue;
        }
        if let Some((before, power_before)) = last {
            let period = Period::new(before.at, reading.at);
            if (1..=limit).contains(&period.millis()) {
                let mwh = divide_rounded((power_before + power) * i128::from(period.millis()), i128::from(2 * HOUR));
                let energy = Energy::from_mwh(mwh as i64);
                pieces.push(Piece { period, energy, amount: Amount::Integrated, placed: Placed::Measured });
            }
        }
        last = Some((*reading, power));
    }
    Found { value: Curve::new(pieces), issues }
}

fn energy_of(device: &Device, count: i64) -> Option<Energy> {
    scaled(count, device.mwh_per_count.times(device.transformers)).map(Energy::from_mwh)
}

fn milliwatts(device: &Device, count: i64) -> Option<i128> {
    scaled(count, device.mw_per_count.times(device.transformers)).map(i128::from)
}

fn scaled(count: i64, ratio: Ratio) -> Option<i64> {
    i64::try_from(divide_rounded(i128::from(count) * i128::from(ratio.num), ratio.den.into())).ok()
}

fn issue(meter: &Meter, remark: Remark, period: Period, text: String) -> Issue {
    Issue { remark, about: format!("meter {}", meter.id), period, text }
}
