//! The register of a meter, reading by reading, becomes pieces of energy.
//!
//! What a piece holds depends on the readings at its ends and the power between them, never on where the fold began:
//! days that are computed apart agree. A fold is a value: to pause it is to keep it.

use crate::attribute::counting::{Counting, gap_limit};
use crate::attribute::{Amount, Curve, Piece, Placed, Power};
use crate::found::{Found, Issue, Remark};
use crate::plant::{Device, Meter};
use crate::readings::{Change, Reading};
use crate::time::{At, Period, QUARTER};
use crate::units::{Energy, muldiv};
use std::sync::Arc;

/// The register of one meter on its way to a curve. Readings and power are pushed in order of time, the power first.
#[derive(Clone, Debug)]
pub struct MeterFold {
    meter: Arc<Meter>,
    counting: Option<Counting>,
    next_device: At,
    gap: i64,
    /// The last reading that counts; after a jitter its count is the higher one before.
    last: Option<Reading>,
    /// When the register last moved.
    edge: At,
    /// A reading that does not follow from the last one; the next reading tells which of the two was wrong.
    suspect: Option<(Reading, Change)>,
    power: Power,
    curve: Curve,
    issues: Vec<Issue>,
}

impl MeterFold {
    /// The fold of a meter before its first reading.
    pub fn new(meter: Arc<Meter>) -> Self {
        let gap = gap_limit(&meter);
        let next_device = meter.device.iter().next().map_or(At(i64::MAX), |(since, _)| *since);
        Self {
            meter,
            counting: None,
            next_device,
            gap,
            last: None,
            edge: At(i64::MIN),
            suspect: None,
            power: Power::new(gap),
            curve: Curve::default(),
            issues: Vec::new(),
        }
    }

    /// Takes a reading of power, by which coarse steps and gaps are shared.
    pub fn power(&mut self, reading: Reading) {
        self.power.push(reading);
    }

    /// Takes a reading of the register. One that is not later than the one before is passed over.
    pub fn push(&mut self, reading: Reading) {
        while reading.at >= self.next_device {
            self.change_device();
        }
        let Some(Counting { register, .. }) = self.counting else { return };
        let Some(last) = self.last else {
            (self.last, self.edge) = (Some(reading), reading.at);
            return;
        };
        let Some((suspect, change)) = self.suspect else { return self.judge(last, reading) };
        let Some(after) = register.between(suspect, reading) else { return };
        self.suspect = None;
        if register.between(last, reading).is_some_and(Change::is_plain) {
            self.set_aside(suspect);
            self.judge(last, reading);
        } else if after.is_plain() {
            self.confirm(last, suspect, change);
            self.judge(suspect, reading);
        } else {
            self.set_aside(suspect);
            self.judge(last, reading);
        }
    }

    /// The curve so far, of which nothing changes any more.
    pub const fn curve(&self) -> &Curve {
        &self.curve
    }

    /// The curve up to the last reading.
    pub fn finish(mut self) -> Found<Curve> {
        if let (Some(last), Some((suspect, change))) = (self.last, self.suspect) {
            self.confirm(last, suspect, change);
        }
        if let Some(last) = self.last {
            self.flat(last.at);
        }
        Found { value: self.curve, issues: self.issues }
    }

    fn judge(&mut self, last: Reading, reading: Reading) {
        match self.counting.and_then(|counting| counting.register.between(last, reading)) {
            None => {}
            Some(Change::Grew(grown)) => self.accept(last, reading, grown),
            Some(Change::Jitter) => self.accept(last, Reading { count: last.count, ..reading }, 0),
            Some(other) => self.suspect = Some((reading, other)),
        }
    }

    /// The reading after a suspect follows from the suspect: the register did what it seems to have done.
    fn confirm(&mut self, last: Reading, reading: Reading, change: Change) {
        let (from, to) = (last.count, reading.count);
        let (remark, text) = match change {
            Change::RolledOver(_) => (
                Remark::RolledOver,
                format!("The register passed its end, from {from} to {to} counts; nothing is lost."),
            ),
            Change::Reset(_) => (
                Remark::Reset,
                format!(
                    "The register started anew, from {from} to {to} counts. What it grew before that is lost; \
                     the energy between the two readings is not known."
                ),
            ),
            _ => (
                Remark::EnergyLost,
                format!(
                    "The register jumped from {from} to {to} counts and went on from there; the energy between is not \
                     known. If the device was exchanged, record it with its last and first count."
                ),
            ),
        };
        self.remark(remark, Period::new(last.at, reading.at), text);
        if let Change::RolledOver(grown) = change {
            self.accept(last, reading, grown);
        } else {
            self.flat(last.at);
            (self.last, self.edge) = (Some(reading), reading.at);
        }
    }

    fn set_aside(&mut self, reading: Reading) {
        let text = format!(
            "A reading of {} counts fits neither the one before it nor the one after it at up to {} W; it is set aside.",
            reading.count, self.meter.max_watts
        );
        self.remark(Remark::Implausible, Period::new(reading.at, reading.at + 1), text);
    }

    fn accept(&mut self, last: Reading, to: Reading, grown: i64) {
        let top = last.count.saturating_add(grown);
        if to.at - last.at > self.gap {
            self.bridge(last, to.at, top);
            self.edge = to.at;
        } else if grown > 0 {
            if self.edge == last.at {
                self.grow(Period::new(last.at, to.at), last.count, top, Placed::Measured);
            } else {
                self.step(last, to.at, top);
            }
            self.edge = to.at;
        }
        self.last = Some(to);
        let look_back = self.counting.map_or(0, |counting| counting.look_back);
        self.power.forget(self.edge.max(to.at - look_back));
    }

    /// Nobody looked for a time: the amount is known, its place is not.
    fn bridge(&mut self, last: Reading, end: At, top: i64) {
        let period = Period::new(last.at, end);
        self.flat(last.at);
        self.grow(period, last.count, top, Placed::Interpolated);
        if period.millis() >= QUARTER {
            let text = "No readings. The register bridges the time: the amount is metered, its place is interpolated.";
            self.remark(Remark::Gap, period, text.into());
        }
    }

    /// The register moved after it had stood still: one step of it may have grown since it last moved, the rest
    /// grew since the last reading.
    fn step(&mut self, last: Reading, end: At, top: i64) {
        let Some(counting) = self.counting else { return };
        let start = self.edge.max(end - counting.look_back).max(counting.since).min(last.at);
        self.flat(start);
        if start == last.at {
            return self.grow(Period::new(last.at, end), last.count, top, Placed::Measured);
        }
        let one = top.min(last.count + counting.register.step);
        let (before, after) = self.power.weigh(Period::new(start, last.at), Period::new(last.at, end));
        let share = muldiv(counting.energy(last.count, one).mwh().into(), before, before + after) as i64;
        let share = Energy::from_mwh(share);
        self.spread(Period::new(start, last.at), share, Placed::Measured);
        let rest = counting.energy(last.count, top) - share;
        self.spread(Period::new(last.at, end), rest, Placed::Measured);
    }

    /// The register grew evenly, or as the power says, under the ratios in force meanwhile.
    fn grow(&mut self, period: Period, from: i64, to: i64, placed: Placed) {
        let Some(counting) = self.counting else { return };
        if period.start >= counting.since {
            return self.spread(period, counting.energy(from, to), placed);
        }
        let meter = Arc::clone(&self.meter);
        let mut count = from;
        for (span, device) in meter.device.spans(period) {
            let run = muldiv((to - from).into(), (span.end - period.start).into(), period.millis().into());
            let next = from + run as i64;
            self.spread(span, Counting::of(device, meter.max_watts, span.start).energy(count, next), placed);
            count = next;
        }
    }

    fn spread(&mut self, period: Period, energy: Energy, placed: Placed) {
        let amount = Amount::Metered;
        match self.power.shares(period, energy) {
            None => self.curve.push(Piece { period, energy, amount, placed }),
            Some(shares) => shares
                .into_iter()
                .for_each(|(period, energy)| self.curve.push(Piece { period, energy, amount, placed })),
        }
    }

    /// The register stood still from its last edge up to an instant.
    fn flat(&mut self, until: At) {
        if until > self.edge {
            let (amount, placed) = (Amount::Metered, Placed::Measured);
            self.curve.push(Piece { period: Period::new(self.edge, until), energy: Energy::ZERO, amount, placed });
        }
    }

    /// Another value of the device begins: new ratios, or a new device.
    fn change_device(&mut self) {
        let meter = Arc::clone(&self.meter);
        let at = self.next_device;
        let Some(device) = meter.device.at(at) else { return };
        let before = meter.device.iter().take_while(|(since, _)| *since < at).last();
        if before.is_some_and(|(_, old)| old.serial != device.serial) {
            self.exchange(at, device);
        }
        self.counting = Some(Counting::of(device, meter.max_watts, at));
        let later = meter.device.iter().map(|(since, _)| *since).find(|since| *since > at);
        self.next_device = later.unwrap_or(At(i64::MAX));
    }

    /// The old device counts up to its last count, the new one from its first.
    fn exchange(&mut self, at: At, device: &Device) {
        if let (Some(last), Some((suspect, change))) = (self.last, self.suspect.take()) {
            self.confirm(last, suspect, change);
        }
        if let Some(last) = self.last {
            let end = device.end_count_before.map(|count| Reading { at, count });
            let change = end.and_then(|end| self.counting?.register.between(last, end));
            match (end, change) {
                (Some(end), Some(Change::Grew(grown) | Change::RolledOver(grown))) => self.accept(last, end, grown),
                (Some(end), Some(Change::Jitter)) => self.accept(last, end, 0),
                _ => self.lost_at_exchange(last, at, device),
            }
            self.flat(self.last.map_or(at, |last| last.at));
        }
        self.last = device.start_count.map(|count| Reading { at, count });
        self.edge = at;
    }

    fn lost_at_exchange(&mut self, last: Reading, at: At, device: &Device) {
        let text = match device.end_count_before {
            None => format!(
                "The device was exchanged for {} and nobody recorded the last count of the old one; the energy since its \
                 last reading of {} counts is not known.",
                device.serial, last.count
            ),
            Some(end) => format!(
                "The device was exchanged for {}; the recorded last count of the old one, {end}, does not follow from its \
                 last reading of {} counts. The energy between is not known.",
                device.serial, last.count
            ),
        };
        self.remark(Remark::EnergyLost, Period::new(last.at, at), text);
    }

    fn remark(&mut self, remark: Remark, period: Period, text: String) {
        self.issues.push(Issue { remark, about: format!("meter {}", self.meter.id), period, text });
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plant::{Dated, Ratio, example};
    use crate::time::MINUTE;
    use crate::units::Decimal;

    const SECOND: i64 = 1_000;

    /// A device that counts Wh and moves by `step` counts at a time.
    fn device(serial: &str, step: i64) -> Device {
        Device { step, modulus: Some(1_000_000), ..example::device(serial) }
    }

    fn meter(native: i64, max_watts: i64, device: Dated<Device>) -> Meter {
        Meter { device, max_watts, native, ..example::meter("p1-s1") }
    }

    fn fold(meter: &Meter, readings: &[(i64, i64)]) -> Found<Curve> {
        let mut fold = MeterFold::new(Arc::new(meter.clone()));
        readings.iter().for_each(|&(at, count)| fold.push(Reading { at: At(at), count }));
        fold.finish()
    }

    fn total(found: &Found<Curve>) -> i64 {
        found.value.pieces().iter().map(|p| p.energy.mwh()).sum()
    }

    fn remarks(found: &Found<Curve>) -> Vec<Remark> {
        found.issues.iter().map(|issue| issue.remark).collect()
    }

    fn holes(found: &Found<Curve>, start: i64, end: i64) -> Vec<(i64, i64)> {
        found.value.holes(Period::new(At(start), At(end))).iter().map(|h| (h.start.0, h.end.0)).collect()
    }

    /// `alignment_case.csv`: a register read off the quarter hours and its value there, computed with numpy's interp.
    #[test]
    fn a_register_is_aligned_to_quarter_hours_as_in_the_reference() {
        let table = include_str!("../../tests/reference/alignment_case.csv");
        let rows = |kind: &'static str| {
            table.lines().filter_map(move |line| {
                let mut cells = line.split(',');
                let (found, at) = (cells.next()?, At::parse(cells.next()?)?);
                (found == kind).then_some((at, cells.next()?.to_owned()))
            })
        };
        // Counts of 0.1 kWh.
        let fine = Device { mwh_per_count: Ratio { num: 100_000, den: 1 }, ..device("a", 1) };
        let meter = meter(15 * MINUTE, 150_000, Dated::always(fine));
        let mut fold = MeterFold::new(Arc::new(meter.clone()));
        for (at, kwh) in rows("register") {
            let count = Decimal::parse(&kwh).and_then(|kwh| kwh.scale(10, 1, 1)).expect("a count");
            fold.push(Reading { at, count });
        }
        let expected: Vec<(At, String)> = rows("interval_energy_start").collect();
        let cuts: Vec<At> = rows("aligned_register").map(|(at, _)| at).collect();
        let parts = fold.finish().value.parts(&cuts);
        assert_eq!(parts.len(), 4);
        for (part, (start, kwh)) in parts.iter().zip(&expected) {
            assert_eq!(part.period.start, *start);
            let mwh = Decimal::parse(kwh).and_then(|kwh| kwh.scale(1_000_000, 1, 1)).expect("an energy");
            assert!((part.energy.mwh() - mwh).abs() <= 1, "{} for {kwh}", part.energy);
        }
        assert_eq!(parts.iter().map(|p| p.energy.mwh()).sum::<i64>(), 48_666_667, "1050 - 1001.3333 kWh");
    }

    #[test]
    fn a_coarse_register_polled_fast_loses_nothing_and_is_shared_from_edge_to_edge() {
        // 2 kW on a register that moves by 0.1 kWh: a step every 180 s, seen at 1 s.
        let meter = meter(SECOND, 3_000, Dated::always(device("a", 100)));
        let readings: Vec<_> = (0..=3_600).map(|s| (s * SECOND, (s / 180) * 100)).collect();
        let found = fold(&meter, &readings);
        assert_eq!((total(&found), remarks(&found)), (2_000_000, vec![]));
        let minutes: Vec<At> = (3..=60).map(|m| At(m * MINUTE)).collect();
        for part in found.value.parts(&minutes) {
            assert!((part.energy.mwh() - 33_333).abs() <= 1, "{part:?}");
        }
    }

    #[test]
    fn what_grows_beyond_one_step_grew_since_the_last_reading() {
        let meter = meter(10 * SECOND, 3_600, Dated::always(device("a", 1)));
        // Still for 20 s, then 3 counts: one of them may be older than the last reading.
        let found = fold(&meter, &[(0, 5), (10_000, 6), (20_000, 6), (30_000, 6), (40_000, 9)]);
        let energies: Vec<_> = found.value.pieces().iter().map(|p| (p.period.end.0, p.energy.mwh())).collect();
        assert_eq!(energies, [(10_000, 1_000), (30_000, 666), (40_000, 2_334)]);
    }

    #[test]
    fn power_says_when_a_coarse_step_was_drawn() {
        let meter = meter(10 * SECOND, 3_000, Dated::always(device("a", 100)));
        let mut fold = MeterFold::new(Arc::new(meter.clone()));
        // Off for the first half of the time between two steps, then on.
        for s in (0..=400).step_by(10) {
            let at = At(s * SECOND);
            fold.power(Reading { at, count: if s < 200 { 0 } else { 1_800 } });
            fold.push(Reading { at, count: if s < 400 { 100 } else { 200 } });
        }
        let parts = fold.finish().value.parts(&[At(0), At(200 * SECOND), At(400 * SECOND)]);
        assert_eq!(parts.iter().map(|p| p.energy.mwh()).collect::<Vec<_>>(), [0, 100_000]);
    }

    #[test]
    fn a_wrong_reading_is_set_aside_and_not_the_ones_beside_it() {
        let meter = meter(MINUTE, 3_600, Dated::always(device("a", 1)));
        for wrong in [999_999, 0, 400_000] {
            let found = fold(&meter, &[(0, 500_000), (MINUTE, 500_010), (2 * MINUTE, wrong), (3 * MINUTE, 500_030)]);
            assert_eq!((total(&found), remarks(&found)), (30_000, vec![Remark::Implausible]), "{wrong}");
            assert!(holes(&found, 0, 3 * MINUTE).is_empty());
        }
    }

    #[test]
    fn a_register_that_passes_its_end_or_starts_anew_is_told_apart() {
        let meter = meter(MINUTE, 3_600, Dated::always(device("a", 1)));
        let over = fold(&meter, &[(0, 999_990), (MINUTE, 20), (2 * MINUTE, 30)]);
        assert_eq!((total(&over), remarks(&over)), (40_000, vec![Remark::RolledOver]));
        let anew = fold(&meter, &[(0, 400_000), (MINUTE, 7), (2 * MINUTE, 17)]);
        assert_eq!((total(&anew), remarks(&anew)), (10_000, vec![Remark::Reset]));
        assert_eq!(holes(&anew, 0, 2 * MINUTE), [(0, MINUTE)]);
    }

    #[test]
    fn a_jump_that_lasts_loses_only_the_energy_between_two_readings() {
        let meter = meter(MINUTE, 3_600, Dated::always(device("a", 1)));
        let found = fold(&meter, &[(0, 100), (MINUTE, 200_000), (2 * MINUTE, 200_010), (3 * MINUTE, 200_020)]);
        assert_eq!((total(&found), remarks(&found)), (20_000, vec![Remark::EnergyLost]));
        assert_eq!(holes(&found, 0, 3 * MINUTE), [(0, MINUTE)]);
        assert_eq!(
            found.issues[0].text,
            "The register jumped from 100 to 200000 counts and went on from there; the energy between is not known. \
             If the device was exchanged, record it with its last and first count."
        );
    }

    #[test]
    fn a_register_that_trembles_counts_nothing_twice() {
        let meter = meter(MINUTE, 3_600, Dated::always(device("a", 1)));
        let found = fold(&meter, &[(0, 100), (MINUTE, 99), (2 * MINUTE, 100), (3 * MINUTE, 99), (4 * MINUTE, 101)]);
        assert_eq!((total(&found), remarks(&found)), (1_000, vec![]));
    }

    #[test]
    fn an_exchange_with_its_counts_loses_nothing() {
        let new = Device { end_count_before: Some(1_010), start_count: Some(50_000), ..device("b", 1) };
        let devices = Dated::new(vec![(At(i64::MIN), device("a", 1)), (At(90 * SECOND), new)]);
        let meter = meter(MINUTE, 3_600, devices);
        let found = fold(&meter, &[(0, 990), (MINUTE, 1_000), (2 * MINUTE, 50_010), (3 * MINUTE, 50_020)]);
        assert_eq!((total(&found), remarks(&found)), (40_000, vec![]));
        assert!(holes(&found, 0, 3 * MINUTE).is_empty());
    }

    #[test]
    fn an_exchange_without_its_counts_says_so_and_loses_only_what_nobody_read() {
        let devices = Dated::new(vec![(At(i64::MIN), device("a", 1)), (At(90 * SECOND), device("b", 1))]);
        let meter = meter(MINUTE, 3_600, devices);
        let found = fold(&meter, &[(0, 990), (MINUTE, 1_000), (2 * MINUTE, 50_010), (3 * MINUTE, 50_020)]);
        assert_eq!((total(&found), remarks(&found)), (20_000, vec![Remark::EnergyLost]));
        assert_eq!(holes(&found, 0, 3 * MINUTE), [(MINUTE, 2 * MINUTE)]);
    }

    #[test]
    fn a_corrected_ratio_holds_from_its_instant_on() {
        let corrected = Device { transformers: Ratio { num: 250, den: 200 }, ..device("a", 1) };
        let devices = Dated::new(vec![(At(i64::MIN), device("a", 1)), (At(90 * SECOND), corrected)]);
        let meter = meter(MINUTE, 3_600, devices);
        let found = fold(&meter, &[(0, 0), (MINUTE, 40), (2 * MINUTE, 80), (3 * MINUTE, 120)]);
        // 40 + 20 Wh under the old ratio, 20 + 40 under the new one.
        assert_eq!((total(&found), remarks(&found)), (60_000 + 75_000, vec![]));
    }

    #[test]
    fn readings_that_are_not_later_are_passed_over() {
        let meter = meter(MINUTE, 3_600, Dated::always(device("a", 1)));
        let found = fold(&meter, &[(0, 100), (0, 105), (MINUTE, 110), (MINUTE, 0), (2 * MINUTE, 120)]);
        assert_eq!((total(&found), remarks(&found)), (20_000, vec![]));
    }
}
