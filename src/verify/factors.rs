//! The engineering formula of a promise: what lamps draw and for how long, as the trade reckons a saving.
//!
//! Promised and measured values go through the same formula, so that a difference is one of its factors and never one of
//! the reckoning.

use super::promise::{Equipment, Group, SharedChange, Side};

/// Hours of the year that a promise is about; a leap year has 24 more, which no promise reckons with.
pub const YEAR: f64 = 8_760.0;

/// What a lamp draws at the mains, in watts.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Draw {
    /// Curing at full level.
    pub full: f64,
    /// Energised, not curing; warm-up included.
    pub standby: f64,
    /// In all other hours.
    pub off: f64,
}

/// Mean levels while curing, 1 for full.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Levels {
    /// Of the old lamps.
    pub old: f64,
    /// Of the new ones.
    pub new: f64,
}

/// The factors of a saving, for the stations of one scope and a length of time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Factors {
    /// Length of the time in hours.
    pub hours: f64,
    /// Number of stations.
    pub stations: f64,
    /// Hours in which the press cures.
    pub curing_h: f64,
    /// Hours for which a lamp is energised and does not cure, mean of the stations.
    pub standby_h: f64,
    /// Stations lit while the press cures, on average.
    pub lit: f64,
    /// Web speed over that of the baseline period: the old lamps would have cured so many times as long for the same web.
    pub speed: f64,
    /// Mean levels while curing.
    pub level: Levels,
    /// Draw of the old lamps.
    pub old: Draw,
    /// Draw of the new lamps.
    pub new: Draw,
    /// What the shared loads save, kWh.
    pub shared: f64,
}

impl Factors {
    /// What a promise says of groups of stations and of shared loads, for that many hours out of its year.
    ///
    /// Several groups become one scope without loss: hours, levels and draws are means, each weighted such that the
    /// saving stays the sum of the groups'.
    pub fn promised(groups: &[&Group], shared: &[&SharedChange], hours: f64) -> Self {
        let part = hours / YEAR;
        let sum = |of: &dyn Fn(&Group) -> f64| groups.iter().map(|g| of(g)).sum::<f64>();
        let mean = |weight: &dyn Fn(&Group) -> f64, of: &dyn Fn(&Group) -> f64| {
            let total = sum(weight);
            let plain = || sum(of) / groups.len().max(1) as f64;
            if total > 0.0 { sum(&|g| weight(g) * of(g)) / total } else { plain() }
        };
        let stations = |g: &Group| g.stations.len() as f64;
        let lit_h = |g: &Group| g.hours.curing * g.lit;
        let standby_h = |g: &Group| g.hours.standby * stations(g);
        let off_h = |g: &Group| (YEAR * stations(g) - lit_h(g) - standby_h(g)).max(0.0);
        let level = |of: fn(&Group) -> Equipment| mean(&lit_h, &|g| of(g).level);
        let draw = |of: fn(&Group) -> Equipment| Draw {
            full: mean(&|g| lit_h(g) * of(g).level, &|g| of(g).full_watts(g.length_cm)),
            standby: mean(&standby_h, &|g| of(g).standby_share * of(g).full_watts(g.length_cm)),
            off: mean(&off_h, &|g| of(g).off_w),
        };
        let (all, lit) = (sum(&stations), sum(&|g| g.lit));
        Self {
            hours,
            stations: all,
            curing_h: mean(&|g| g.lit, &|g| g.hours.curing) * part,
            standby_h: if all > 0.0 { sum(&standby_h) / all * part } else { 0.0 },
            lit,
            // A promise that says nothing of speed reckons with equal hours before and after.
            speed: 1.0,
            level: Levels { old: level(|g| g.old), new: level(|g| g.new) },
            old: draw(|g| g.old),
            new: draw(|g| g.new),
            shared: shared.iter().map(|change| change.before - change.after).fold(0.0, |a, b| a + b) * part,
        }
    }

    /// What the lamps of one side use in the time, kWh.
    pub fn used(&self, side: Side) -> f64 {
        let (draw, level, longer) = match side {
            Side::Before => (self.old, self.level.old, self.speed),
            Side::After => (self.new, self.level.new, 1.0),
        };
        let (lit, standby) = (self.curing_h * longer * self.lit, self.standby_h * self.stations);
        let off = (self.hours * self.stations - lit - standby).max(0.0);
        (lit * level * draw.full + standby * draw.standby + off * draw.off) / 1e3
    }

    /// What is saved in the time, kWh: v of the bridge.
    pub fn saving(&self) -> f64 {
        self.used(Side::Before) - self.used(Side::After) + self.shared
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::verify::promise::example::{group, lamp};

    /// Eight lamps of 16 in (40.64 cm), 140 and 53 W/cm, 4,000 h all lit at full level: common practice, no source.
    #[test]
    fn the_ratings_alone_give_113_mwh_a_year_and_62_per_cent() {
        let mut group = group(8, lamp(140.0), lamp(53.0));
        (group.length_cm, group.lit, group.hours.curing) = (40.64, 8.0, 4_000.0);
        let year = Factors::promised(&[&group], &[], YEAR);
        // 8 x 40.64 cm x 87 W/cm x 4,000 h = 113,141.76 kWh.
        assert!((year.saving() - 113_141.76).abs() < 1e-6, "{}", year.saving());
        assert_eq!(format!("{:.1}", 100.0 * year.saving() / year.used(Side::Before)), "62.1");
        // 0.05 EUR/kWh on that: 5,657 EUR a year.
        assert_eq!(format!("{:.0}", year.saving() * 0.05), "5657");
    }

    #[test]
    fn several_groups_save_the_sum_of_what_each_saves() {
        let mut a = group(8, lamp(140.0), lamp(53.0));
        let mut b = group(2, lamp(160.0), lamp(60.0));
        (a.lit, a.hours.curing, a.hours.standby, a.old.level, a.new.off_w) = (6.5, 1_700.0, 600.0, 0.9, 25.0);
        (b.lit, b.hours.curing, b.hours.standby, b.length_cm, b.old.standby_share) = (1.0, 900.0, 1_400.0, 43.0, 0.35);
        let one = |group| Factors::promised(&[group], &[], YEAR).saving();
        let both = Factors::promised(&[&a, &b], &[], YEAR).saving();
        assert!((both - one(&a) - one(&b)).abs() < 1e-6, "{both} {} {}", one(&a), one(&b));
    }

    #[test]
    fn a_part_of_the_year_saves_its_part() {
        let group = group(8, lamp(140.0), lamp(53.0));
        let fan = SharedChange { load: "fan".into(), before: 2_000.0, after: 500.0 };
        let saving = |hours| Factors::promised(&[&group], &[&fan], hours).saving();
        assert!((saving(YEAR / 4.0) - saving(YEAR) / 4.0).abs() < 1e-9);
    }

    #[test]
    fn a_rating_at_the_lamp_is_raised_by_the_losses_of_its_supply() {
        let mut lamp = lamp(140.0);
        (lamp.rated_at, lamp.supply_factor) = (crate::plant::RatedAt::Lamp, 1.15);
        assert!((lamp.full_watts(40.0) - 6_440.0).abs() < 1e-9);
    }
}
