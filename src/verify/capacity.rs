//! Capacity that the conversion frees on the supply: apparent power before and after, by interval.

use super::Side;
use super::words::{number, percent};
use std::collections::BTreeMap;

/// What the loads of a scope drew in an interval.
#[derive(Clone, Debug, PartialEq)]
pub struct PowerInterval {
    /// Stations curing, on average: what before and after are matched by.
    pub lit: f64,
    /// Mean active power in kW and reactive power in kvar of each load, inductive above zero, capacitive below; `None`
    /// where no reactive energy is read.
    pub loads: Vec<(f64, Option<f64>)>,
}

impl PowerInterval {
    /// Vector sum of the loads: active and reactive power; `None` where a reactive power is not known.
    fn power(&self) -> Option<(f64, f64)> {
        let q: Option<f64> = self.loads.iter().map(|(_, q)| *q).sum();
        Some((self.loads.iter().map(|(p, _)| p).sum(), q?))
    }
}

/// Apparent power at matched load.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Capacity {
    /// How many intervals each window has.
    pub intervals: usize,
    /// Highest apparent power before, kVA.
    pub before: f64,
    /// Highest apparent power after.
    pub after: f64,
    /// Share of the intervals after in which the loads together were capacitive.
    pub leading: f64,
}

/// Why capacity cannot be told.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum CapacityUnknown {
    /// No reactive energy on a side.
    #[error("no reactive energy is known {}: read the reactive registers of these meters", when(*.0))]
    NoReactive(Side),
    /// Nothing alike on both sides.
    #[error("no interval before and after had as many stations lit: their apparent powers cannot be compared")]
    NoMatch,
}

const fn when(side: Side) -> &'static str {
    match side {
        Side::Before => "before the conversion",
        Side::After => "after the conversion",
    }
}

/// Compares windows of equal length and matched load, both in order of time: for each number of stations lit as many
/// intervals after as before, those nearest to the conversion. A longer window would have the higher peak by chance.
///
/// # Errors
/// [`CapacityUnknown`].
pub fn capacity(before: &[PowerInterval], after: &[PowerInterval]) -> Result<Capacity, CapacityUnknown> {
    let (before, after) = (by_lit(before), by_lit(after));
    for (side, lit) in [(Side::Before, &before), (Side::After, &after)] {
        if lit.is_empty() {
            return Err(CapacityUnknown::NoReactive(side));
        }
    }
    let (mut matched_old, mut matched_new) = (Vec::new(), Vec::new());
    for (lit, old) in &before {
        let new = after.get(lit).map_or(&[][..], |powers| powers);
        let both = old.len().min(new.len());
        matched_old.extend(&old[old.len() - both..]);
        matched_new.extend(&new[..both]);
    }
    let peak = |powers: &[(f64, f64)]| powers.iter().map(|(p, q)| p.hypot(*q)).fold(0.0, f64::max);
    let intervals = matched_old.len();
    if intervals == 0 {
        return Err(CapacityUnknown::NoMatch);
    }
    let leading = matched_new.iter().filter(|(_, q)| *q < 0.0).count() as f64 / intervals as f64;
    Ok(Capacity { intervals, before: peak(&matched_old), after: peak(&matched_new), leading })
}

/// Powers by the whole number of stations lit, where there is one: capacity is about lamps at work.
fn by_lit(intervals: &[PowerInterval]) -> BTreeMap<i64, Vec<(f64, f64)>> {
    let mut lit: BTreeMap<i64, Vec<(f64, f64)>> = BTreeMap::new();
    for (interval, power) in intervals.iter().filter_map(|interval| Some((interval, interval.power()?))) {
        let stations = interval.lit.round() as i64;
        if stations > 0 {
            lit.entry(stations).or_default().push(power);
        }
    }
    lit
}

impl Capacity {
    /// kVA freed.
    pub fn freed(&self) -> f64 {
        self.before - self.after
    }

    /// The finding in words, with its warnings.
    pub fn words(&self) -> Vec<String> {
        let mut words = vec![format!(
            "At as many stations lit the highest apparent power was {} kVA before and {} kVA after: {} kVA less, {}.",
            number(self.before, 1),
            number(self.after, 1),
            number(self.freed(), 1),
            percent(self.freed() / self.before)
        )];
        if self.leading > 0.0 {
            words.push(format!(
                "In {} of the intervals after the conversion the power factor was leading: capacitors sized for the \
                 ballasts may still be connected. Let a licensed electrician check them.",
                percent(self.leading)
            ));
        }
        if self.freed() > 0.0 {
            words.push(
                "Agreed capacity that is released may not come back: ask the network operator before giving it up."
                    .into(),
            );
        }
        words
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(lit: f64, loads: &[(f64, f64)]) -> PowerInterval {
        PowerInterval { lit, loads: loads.iter().map(|(p, q)| (*p, Some(*q))).collect() }
    }

    /// Vector sum: 3-4-5 triangles; adding 25 and 25 kVA as numbers would give 50 instead of 49.5.
    #[test]
    fn loads_add_up_as_vectors() {
        let found = capacity(&[at(2.0, &[(20.0, 15.0), (15.0, 20.0)])], &[at(2.0, &[(8.0, 6.0)])]).expect("matched");
        assert!((found.before - 35.0 * 2.0_f64.sqrt()).abs() < 1e-9 && (found.after - 10.0).abs() < 1e-9);
    }

    /// Eight lamps of 40.64 cm: 45.5 kW at 0.9 and 17.2 kW at 0.9: about 60 % of the lamps' share less, common practice,
    /// no source.
    #[test]
    fn the_ratings_free_about_sixty_per_cent() {
        let of = |w_per_cm: f64| {
            let kw = 8.0 * 40.64 * w_per_cm / 1e3;
            at(8.0, &[(kw, kw * (0.9_f64.acos()).tan())])
        };
        let found = capacity(&[of(140.0)], &[of(53.0)]).expect("matched");
        assert_eq!(
            found.words(),
            [
                "At as many stations lit the highest apparent power was 50.6 kVA before and 19.1 kVA after: 31.4 kVA \
                 less, 62 %.",
                "Agreed capacity that is released may not come back: ask the network operator before giving it up."
            ]
        );
    }

    #[test]
    fn a_longer_window_or_a_busier_time_does_not_count_for_more() {
        let old = [at(8.0, &[(99.0, 0.0)]), at(8.0, &[(40.0, 0.0)]), at(3.0, &[(20.0, 0.0)])];
        let new = [at(8.0, &[(15.0, 0.0)]), at(0.0, &[(1.0, 0.0)]), at(9.0, &[(50.0, 0.0)])];
        let found = capacity(&old, &new).expect("matched");
        assert_eq!((found.intervals, found.before, found.after), (1, 40.0, 15.0));
    }

    #[test]
    fn a_leading_power_factor_is_flagged() {
        let found = capacity(&[at(1.0, &[(5.0, 2.0)])], &[at(1.0, &[(2.0, -1.0)])]).expect("matched");
        assert_eq!(
            found.words()[1],
            "In 100 % of the intervals after the conversion the power factor was leading: capacitors sized for the \
             ballasts may still be connected. Let a licensed electrician check them."
        );
    }

    #[test]
    fn what_is_missing_is_named() {
        let bare = PowerInterval { lit: 2.0, loads: vec![(8.0, None)] };
        let told = |before: &[PowerInterval], after: &[PowerInterval]| {
            capacity(before, after).expect_err("unknown").to_string()
        };
        assert_eq!(
            told(&[at(2.0, &[(8.0, 1.0)])], &[bare]),
            "no reactive energy is known after the conversion: read the reactive registers of these meters"
        );
        assert_eq!(
            told(&[at(2.0, &[(8.0, 1.0)])], &[at(1.0, &[(8.0, 1.0)])]),
            "no interval before and after had as many stations lit: their apparent powers cannot be compared"
        );
    }
}
