//! Capacity that the conversion frees on the supply: apparent power before and after, by interval.

use super::words::{number, percent};
use super::{PowerInterval, Powers, Side, Supply};
use crate::time::{At, Period};
use crate::units::Energy;
use std::collections::BTreeMap;

impl PowerInterval {
    /// Vector sum of its loads in kVA.
    fn apparent(&self) -> f64 {
        let mean = |energy: Energy| energy.mean_watts(self.period.millis()).unwrap_or(0.0) / 1e3;
        mean(self.active).hypot(mean(self.reactive))
    }

    /// Stations curing, on average, as a whole number.
    fn lit(&self) -> i64 {
        (self.curing as f64 / self.period.millis() as f64).round() as i64
    }
}

/// Apparent power at matched load.
#[derive(Clone, Debug, PartialEq)]
pub struct Capacity {
    /// Where it is taken; `None` where presses were put together that have it from different places.
    pub supply: Option<Supply>,
    /// How many intervals each window has.
    pub intervals: usize,
    /// Highest apparent power before, kVA.
    pub before: f64,
    /// Highest apparent power after.
    pub after: f64,
    /// Share of the intervals after in which the loads together were capacitive.
    pub leading: f64,
    /// The same for each number of stations lit, in its order.
    pub matched: Vec<Matched>,
}

/// Highest apparent powers at one number of stations lit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Matched {
    /// Stations lit.
    pub lit: i64,
    /// How many intervals on each side.
    pub intervals: usize,
    /// kVA before.
    pub before: f64,
    /// kVA after.
    pub after: f64,
}

/// Why capacity cannot be told.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum CapacityUnknown {
    /// No station has a meter.
    #[error(
        "which stations were lit is not known, so that apparent powers before and after cannot be compared: meter each \
         station"
    )]
    NoStations,
    /// No reactive energy on a side.
    #[error(
        "no reactive energy is known {}, neither of every converted station nor of the main of the press: read the \
         inductive and the capacitive register, reactive-lag and reactive-lead, at least every hour; a power factor does \
         not tell what it was over an interval, nor which way it leans", when(*.0)
    )]
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

/// The intervals of a scope on both sides, each in order of time.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct BothSides {
    /// Where they are taken.
    pub supply: Option<Supply>,
    /// Before the conversion.
    pub before: Vec<PowerInterval>,
    /// After the acceptance.
    pub after: Vec<PowerInterval>,
}

impl BothSides {
    /// Those of the better place of which both sides are known.
    ///
    /// # Errors
    /// [`CapacityUnknown::NoReactive`].
    pub fn of<'a>(
        before: impl Iterator<Item = &'a Powers> + Clone,
        after: impl Iterator<Item = &'a Powers> + Clone,
    ) -> Result<Self, CapacityUnknown> {
        let mut missing = Side::Before;
        for supply in Supply::ALL {
            let at = |powers: &'a Powers| powers.get(&supply).into_iter().flatten().copied();
            let both = Self {
                supply: Some(supply),
                before: before.clone().flat_map(at).collect(),
                after: after.clone().flat_map(at).collect(),
            };
            match (both.before.is_empty(), both.after.is_empty()) {
                (false, false) => return Ok(both),
                (false, true) => missing = Side::After,
                (true, _) => {}
            }
        }
        Err(CapacityUnknown::NoReactive(missing))
    }

    /// The vector sum of several scopes in the intervals of which all of them are known.
    pub fn sum(all: &[&Self]) -> Self {
        let side = |of: fn(&Self) -> &Vec<PowerInterval>| {
            let mut sums: BTreeMap<(At, At), (PowerInterval, usize)> = BTreeMap::new();
            for interval in all.iter().flat_map(|both| of(both)) {
                let Period { start, end } = interval.period;
                sums.entry((start, end))
                    .and_modify(|(sum, scopes)| {
                        sum.curing += interval.curing;
                        sum.active += interval.active;
                        sum.reactive += interval.reactive;
                        *scopes += 1;
                    })
                    .or_insert((*interval, 1));
            }
            sums.into_values().filter(|(_, scopes)| *scopes == all.len()).map(|(sum, _)| sum).collect()
        };
        let first = all.first().and_then(|both| both.supply);
        Self {
            supply: first.filter(|_| all.iter().all(|both| both.supply == first)),
            before: side(|both| &both.before),
            after: side(|both| &both.after),
        }
    }

    /// Compares windows of equal length and matched load: for each number of stations lit as many intervals after as
    /// before, those nearest to the conversion. A longer window would have the higher peak by chance.
    ///
    /// # Errors
    /// [`CapacityUnknown`].
    pub fn capacity(&self) -> Result<Capacity, CapacityUnknown> {
        let (before, after) = (by_lit(&self.before), by_lit(&self.after));
        let (mut matched, mut leading) = (Vec::new(), 0);
        let peak = |side: &[PowerInterval]| side.iter().map(PowerInterval::apparent).fold(0.0, f64::max);
        for (lit, old) in &before {
            let new = after.get(lit).map_or(&[][..], |powers| powers);
            let both = old.len().min(new.len());
            let (old, new) = (&old[old.len() - both..], &new[..both]);
            if both > 0 {
                matched.push(Matched { lit: *lit, intervals: both, before: peak(old), after: peak(new) });
                leading += new.iter().filter(|interval| interval.reactive.mwh() < 0).count();
            }
        }
        let intervals = matched.iter().map(|one| one.intervals).sum();
        if intervals == 0 {
            return Err(CapacityUnknown::NoMatch);
        }
        let highest = |of: fn(&Matched) -> f64| matched.iter().map(of).fold(0.0, f64::max);
        Ok(Capacity {
            supply: self.supply,
            intervals,
            before: highest(|one| one.before),
            after: highest(|one| one.after),
            leading: leading as f64 / intervals as f64,
            matched,
        })
    }
}

/// Intervals by the whole number of stations lit, where there is one: capacity is about lamps at work.
fn by_lit(intervals: &[PowerInterval]) -> BTreeMap<i64, Vec<PowerInterval>> {
    let mut lit: BTreeMap<i64, Vec<PowerInterval>> = BTreeMap::new();
    for interval in intervals.iter().filter(|interval| interval.lit() > 0) {
        lit.entry(interval.lit()).or_default().push(*interval);
    }
    lit
}

impl Capacity {
    /// kVA freed.
    pub fn freed(&self) -> f64 {
        self.before - self.after
    }

    /// The finding in words.
    pub fn found(&self) -> String {
        let place = self.supply.map_or("meters that read it", Supply::place);
        let change = match self.freed() {
            freed if freed < 0.0 => format!("{} kVA more", number(-freed, 1)),
            freed => format!("{} kVA less", number(freed, 1)),
        };
        format!(
            "At as many stations lit the highest apparent power at the {place} was {} kVA before and {} kVA after: {change}, \
             {}.",
            number(self.before, 1),
            number(self.after, 1),
            percent(self.freed().abs() / self.before)
        )
    }

    /// What a leading power factor may come from.
    pub fn leads(&self) -> Option<String> {
        (self.leading > 0.0).then(|| {
            format!(
                "In {} of the intervals after the conversion the power factor was leading: capacitors sized for the \
                 ballasts may still be connected. Let a licensed electrician check them.",
                share(self.leading)
            )
        })
    }

    /// What goes with capacity that is free.
    pub fn warns(&self) -> Option<&'static str> {
        (self.freed() > 0.0).then_some(
            "Agreed capacity that is released may not come back: ask the network operator before giving it up.",
        )
    }
}

/// A share above nothing is never printed as nothing.
fn share(share: f64) -> String {
    if share < 0.005 { "less than 1 %".into() } else { percent(share) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::time::QUARTER;

    /// A quarter hour with so many stations lit, and the mean powers of its loads in kW and kvar.
    fn at(k: i64, lit: f64, loads: &[(f64, f64)]) -> PowerInterval {
        let energy = |kw: f64| Energy::from_mwh((kw * 250_000.0).round() as i64);
        PowerInterval {
            period: Period::new(At(k * QUARTER), At((k + 1) * QUARTER)),
            curing: (lit * QUARTER as f64) as i64,
            active: energy(loads.iter().map(|(p, _)| p).sum()),
            reactive: energy(loads.iter().map(|(_, q)| q).sum()),
        }
    }

    fn capacity(before: &[PowerInterval], after: &[PowerInterval]) -> Result<Capacity, CapacityUnknown> {
        let supply = Some(Supply::Stations);
        BothSides { supply, before: before.to_vec(), after: after.to_vec() }.capacity()
    }

    /// Vector sum: 3-4-5 triangles; adding 25 and 25 kVA as numbers would give 50 instead of 49.5.
    #[test]
    fn loads_add_up_as_vectors() {
        let found = capacity(&[at(0, 2.0, &[(20.0, 15.0), (15.0, 20.0)])], &[at(9, 2.0, &[(8.0, 6.0)])]);
        let found = found.expect("matched");
        assert!((found.before - 35.0 * 2.0_f64.sqrt()).abs() < 1e-9 && (found.after - 10.0).abs() < 1e-9);
    }

    /// 3 kW and 4 kvar with 9 kW and 12 kvar: 5 and 15 kVA in line are 20 kVA.
    #[test]
    fn scopes_are_summed_in_the_intervals_that_all_of_them_know() {
        let one = BothSides {
            supply: Some(Supply::Main),
            before: vec![at(0, 1.0, &[(3.0, 4.0)]), at(1, 1.0, &[(99.0, 0.0)])],
            after: vec![at(9, 1.0, &[(3.0, -4.0)])],
        };
        let other = BothSides {
            supply: Some(Supply::Stations),
            before: vec![at(0, 0.0, &[(9.0, 12.0)])],
            after: vec![at(9, 0.0, &[(3.0, 4.0)])],
        };
        let found = BothSides::sum(&[&one, &other]).capacity().expect("matched");
        assert_eq!((found.supply, found.intervals), (None, 1));
        assert!((found.before - 20.0).abs() < 1e-9 && (found.after - 6.0).abs() < 1e-9, "{found:?}");
        assert_eq!(BothSides::sum(&[&one, &one]).supply, Some(Supply::Main));
    }

    /// Eight lamps of 40.64 cm: 45.5 kW at 0.9 and 17.2 kW at 0.9: about 60 % of the lamps' share less, common practice,
    /// no source.
    #[test]
    fn the_ratings_free_about_sixty_per_cent() {
        let of = |w_per_cm: f64| {
            let kw = 8.0 * 40.64 * w_per_cm / 1e3;
            at(0, 8.0, &[(kw, kw * (0.9_f64.acos()).tan())])
        };
        let found = capacity(&[of(140.0)], &[of(53.0)]).expect("matched");
        assert_eq!(
            found.found(),
            "At as many stations lit the highest apparent power at the converted stations was 50.6 kVA before and 19.1 \
             kVA after: 31.4 kVA less, 62 %."
        );
        assert_eq!(
            (found.leads(), found.warns()),
            (
                None,
                Some(
                    "Agreed capacity that is released may not come back: ask the network operator before giving it up."
                )
            )
        );
    }

    #[test]
    fn a_longer_window_or_a_busier_time_does_not_count_for_more() {
        let old = [at(0, 8.0, &[(99.0, 0.0)]), at(1, 8.0, &[(40.0, 0.0)]), at(2, 3.0, &[(20.0, 0.0)])];
        let new = [at(7, 8.0, &[(15.0, 0.0)]), at(8, 0.0, &[(1.0, 0.0)]), at(9, 9.0, &[(50.0, 0.0)])];
        let found = capacity(&old, &new).expect("matched");
        assert_eq!((found.intervals, found.before, found.after), (1, 40.0, 15.0));
        assert_eq!(found.matched, [Matched { lit: 8, intervals: 1, before: 40.0, after: 15.0 }]);
    }

    #[test]
    fn a_leading_power_factor_is_flagged() {
        let found = capacity(&[at(0, 1.0, &[(5.0, 2.0)])], &[at(1, 1.0, &[(2.0, -1.0)])]).expect("matched");
        assert_eq!(
            found.leads().expect("flagged"),
            "In 100 % of the intervals after the conversion the power factor was leading: capacitors sized for the \
             ballasts may still be connected. Let a licensed electrician check them."
        );
        assert_eq!(share(0.001), "less than 1 %");
    }

    #[test]
    fn more_than_before_is_not_called_freed() {
        let found = capacity(&[at(0, 1.0, &[(5.0, 0.0)])], &[at(1, 1.0, &[(6.0, 0.0)])]).expect("matched");
        assert!(found.found().ends_with("5.0 kVA before and 6.0 kVA after: 1.0 kVA more, 20 %."), "{}", found.found());
        assert_eq!(found.warns(), None);
    }

    #[test]
    fn the_place_is_the_one_that_both_sides_know_and_what_is_missing_is_named() {
        let known = at(0, 1.0, &[(5.0, 0.0)]);
        let of = |supplies: &[Supply]| -> Powers { supplies.iter().map(|supply| (*supply, vec![known])).collect() };
        let (both, main, none) = (of(&Supply::ALL), of(&[Supply::Main]), of(&[]));
        let choose = |before: &Powers, after: &Powers| BothSides::of([before].into_iter(), [after].into_iter());
        assert_eq!(choose(&both, &both).map(|both| both.supply), Ok(Some(Supply::Stations)));
        assert_eq!(choose(&main, &both).map(|both| both.supply), Ok(Some(Supply::Main)));
        let told = choose(&both, &none).expect_err("unknown").to_string();
        assert!(told.starts_with("no reactive energy is known after the conversion, neither of every"), "{told}");
        assert_eq!(choose(&none, &both), Err(CapacityUnknown::NoReactive(Side::Before)));
        assert_eq!(
            capacity(&[known], &[at(1, 2.0, &[(8.0, 1.0)])]).expect_err("unknown").to_string(),
            "no interval before and after had as many stations lit: their apparent powers cannot be compared"
        );
    }
}
