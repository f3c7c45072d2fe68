//! All that is known about the energy of one meter: its register; in the holes of that its intervals; in what is
//! still open its power, integrated.

use crate::attribute::bands::Draw;
use crate::attribute::counting::{energy_of, gap_limit, is_over, milliwatts};
use crate::attribute::fold::MeterFold;
use crate::attribute::jump::Jump;
use crate::attribute::{Amount, Curve, Piece, Placed};
use crate::found::{Found, Issue, Remark};
use crate::plant::{Bands, Dated, Flow, Meter};
use crate::readings::{Quantity, Reading};
use crate::time::{At, HOUR, Period, Zone};
use crate::units::{Energy, divide_rounded};
use chrono::Days;
use std::sync::Arc;

const DAY: i64 = 24 * HOUR;

/// The register that counts a meter's energy: what a site gives back stands in the export register. Generation meters
/// count what they measure as import (common practice, no source).
pub const fn register_of(flow: Flow) -> Quantity {
    match flow {
        Flow::Import | Flow::Generation => Quantity::Import,
        Flow::Export => Quantity::Export,
    }
}

/// One meter on its way through the day. Readings are pushed in order of time, in parts that end at the same instant.
#[derive(Clone, Debug)]
pub struct Measured {
    meter: Arc<Meter>,
    zone: Zone,
    register: MeterFold,
    intervals: Filler,
    power: Filler,
    /// The last reading of power that counts, in milliwatts.
    last: Option<(Reading, i128)>,
    /// Whether power is read at all.
    has_power: bool,
    /// By power, where the meter is that of a station.
    draw: Option<Draw>,
    /// Where the power of a station jumps from one reading to the next.
    jumps: Vec<Jump>,
}

/// What fills the holes of a register.
#[derive(Clone, Debug, Default)]
struct Filler {
    curve: Curve,
    issues: Vec<Issue>,
}

impl Measured {
    /// A meter before its first reading; `lamps` are the bands of the lamps that it feeds, if it is that of a station. Daily
    /// values are those of the zone's days.
    pub fn new(meter: &Meter, lamps: Option<&Dated<Option<Bands>>>, zone: Zone) -> Self {
        let meter = Arc::new(meter.clone());
        let register = MeterFold::new(Arc::clone(&meter));
        let (intervals, power) = (Filler::default(), Filler::default());
        Self {
            meter,
            zone,
            register,
            intervals,
            power,
            last: None,
            has_power: false,
            draw: lamps.cloned().map(Draw::new),
            jumps: Vec::new(),
        }
    }

    /// The meter.
    pub fn meter(&self) -> &Meter {
        &self.meter
    }

    /// Whether meter and lamps are described like this.
    pub fn is_of(&self, meter: &Meter, lamps: Option<&Dated<Option<Bands>>>) -> bool {
        let same_lamps = match (&self.draw, lamps) {
            (Some(draw), Some(lamps)) => draw.is_by(lamps),
            (draw, lamps) => draw.is_none() && lamps.is_none(),
        };
        *self.meter == *meter && same_lamps
    }

    /// Takes the next readings of each.
    pub fn push(&mut self, register: &[Reading], intervals: &[Reading], power: &[Reading]) {
        let mut samples = power.iter().peekable();
        for reading in register {
            while let Some(sample) = samples.next_if(|sample| sample.at <= reading.at) {
                self.register.power(*sample);
            }
            self.register.push(*reading);
        }
        samples.for_each(|sample| self.register.power(*sample));
        intervals.iter().for_each(|reading| self.interval(reading));
        power.iter().for_each(|reading| self.integrate(reading));
        self.has_power |= !power.is_empty();
        self.power.curve.keep_for_holes_of(self.register.curve());
    }

    /// The curve up to the last reading; it need be known in `span` only.
    pub fn curve(&self, span: Period) -> Found<Curve> {
        let mut found = self.register.clone().finish();
        for filler in [&self.intervals, &self.power] {
            if !filler.curve.pieces().is_empty() && !found.value.holes(span).is_empty() {
                found.value = found.value.or(&filler.curve);
                found.issues.extend_from_slice(&filler.issues);
            }
        }
        found.value.part_at(&self.jumps);
        found
    }

    /// The draw of a station: its power where it is read, since a coarse register shows it late; else its register.
    pub fn draw(&self, curve: &Curve) -> Option<Draw> {
        let mut draw = self.draw.clone()?;
        if !self.has_power {
            curve.pieces().iter().for_each(|piece| draw.push(piece));
        }
        draw.move_changes(|at| {
            let jump = self.jumps.binary_search_by_key(&at, |jump| jump.period.end).ok();
            let jump = jump.map(|found| self.jumps[found])?;
            Some(jump.at(curve.just(jump.period)?))
        });
        Some(draw)
    }

    /// An interval value is the energy of the native interval that ends at its instant.
    fn interval(&mut self, reading: &Reading) {
        let meter = &self.meter;
        let Filler { curve, issues } = &mut self.intervals;
        let period = interval(reading.at, meter.native, self.zone);
        let Some(energy) = meter.device.at(period.start).and_then(|d| energy_of(d, reading.count)) else { return };
        if curve.pieces().last().is_some_and(|last| last.period.end > period.start) {
            let text = "The interval begins before the one before it ends; it is not counted.".to_owned();
            issues.push(issue(meter, Remark::Clock, period, text));
        } else if !(0.0..=meter.max_watts as f64).contains(&energy.mean_watts(period.millis()).unwrap_or(0.0)) {
            let text = format!(
                "{} kWh in one interval is not between nothing and {} W; it is not counted.",
                energy.rounded(),
                meter.max_watts
            );
            issues.push(issue(meter, Remark::Implausible, period, text));
        } else {
            curve.push(Piece { period, energy, amount: Amount::Metered, placed: Placed::Measured });
        }
    }

    /// Power is integrated by the trapezoidal rule; readings further apart than the gap limit are not bridged.
    fn integrate(&mut self, reading: &Reading) {
        let meter = &self.meter;
        let Some(power) = meter.device.at(reading.at).and_then(|device| milliwatts(device, reading.count)) else {
            return;
        };
        if is_over(meter, power) {
            let text = format!(
                "A power of {} W is beyond the {} W of this meter; it is set aside.",
                power / 1_000,
                meter.max_watts
            );
            let period = Period::new(reading.at, reading.at + 1);
            return self.power.issues.push(issue(meter, Remark::Implausible, period, text));
        }
        let Some((before, power_before)) = self.last.replace((*reading, power)) else { return };
        let period = Period::new(before.at, reading.at);
        if (1..=gap_limit(meter)).contains(&period.millis()) {
            let mwh = divide_rounded((power_before + power) * i128::from(period.millis()), i128::from(2 * HOUR));
            let energy = Energy::from_mwh(mwh as i64);
            let piece = Piece { period, energy, amount: Amount::Integrated, placed: Placed::Measured };
            self.power.curve.push(piece);
            if let Some(draw) = &mut self.draw {
                // The state at a reading holds until the next: a mean of two readings would begin each run too early.
                let held = divide_rounded(power_before * i128::from(period.millis()), i128::from(HOUR));
                draw.push(&Piece { energy: Energy::from_mwh(held as i64), ..piece });
                self.jumps.extend(Jump::between(period, power_before, power));
            }
        }
    }
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

fn issue(meter: &Meter, remark: Remark, period: Period, text: String) -> Issue {
    Issue { remark, about: format!("meter {}", meter.id), period, text }
}
