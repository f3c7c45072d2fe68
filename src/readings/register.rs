//! Register arithmetic: what the difference of two counts of a running total means.

use crate::readings::Reading;
use crate::time::HOUR;

/// How a register counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Register {
    /// By how many counts it moves at a time.
    pub step: i64,
    /// It returns to zero at this count, if it ever does.
    pub modulus: Option<i64>,
    /// The most that it can grow in an hour, in counts.
    pub hourly: i64,
}

/// What lies between two readings, in counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Change {
    /// It grew by so much.
    Grew(i64),
    /// It went back by no more than a step, as a float or a reading in the middle of an update does: nothing grew.
    Jitter,
    /// It passed its modulus and grew by so much.
    RolledOver(i64),
    /// It started anew and grew by so much since; what it grew before that is lost.
    Reset(i64),
    /// It rose by more than the load can draw.
    Implausible,
    /// It went back, and neither its modulus nor a new start explains that: another device, or a wrong reading.
    Discontinuity,
}

impl Change {
    /// Whether the register simply went on counting.
    pub const fn is_plain(self) -> bool {
        matches!(self, Self::Grew(_) | Self::Jitter)
    }
}

impl Register {
    /// What lies between two readings; `None` where the later one is not later. Growth is plausible up to the most
    /// of the hours between, plus one step: of a step, nearly all may have grown before the first reading.
    pub fn between(self, from: Reading, to: Reading) -> Option<Change> {
        let millis = to.at - from.at;
        (millis > 0).then(|| self.change(from.count, to.count, self.most(millis)))
    }

    /// The most that can show after that many milliseconds, in counts.
    fn most(self, millis: i64) -> i64 {
        let grown = match self.hourly.checked_mul(millis) {
            Some(product) => product / HOUR,
            None => i64::try_from(i128::from(self.hourly) * i128::from(millis) / i128::from(HOUR)).unwrap_or(i64::MAX),
        };
        grown.saturating_add(self.step)
    }

    fn change(self, from: i64, to: i64, most: i64) -> Change {
        let Some(grown) = to.checked_sub(from) else { return Change::Discontinuity };
        let wrapped = self.modulus.map(|modulus| grown.saturating_add(modulus));
        match (grown, wrapped) {
            (0.., _) if grown <= most => Change::Grew(grown),
            (0.., _) => Change::Implausible,
            _ if grown >= -self.step => Change::Jitter,
            (_, Some(through)) if (0..=most).contains(&through) => Change::RolledOver(through),
            _ if (0..=most).contains(&to) => Change::Reset(to),
            _ => Change::Discontinuity,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::time::At;
    use crate::units::Decimal;

    /// Cases with their results, own computation from section "differencing" of the reference on register reading:
    /// modulus 10^6 kWh, at most 150 kW, resolution 0.1 kWh. Here a count is 0.1 kWh.
    #[test]
    fn every_case_of_the_reference_comes_out() {
        let register = Register { step: 1, modulus: Some(10_000_000), hourly: 1_500 };
        let counts = |kwh: &str| Decimal::parse(kwh)?.scale(10, 1, 1);
        let mut cases = 0;
        for line in include_str!("../../tests/reference/register_cases.csv").lines().skip(1) {
            let cell: Vec<&str> = line.split(',').collect();
            let reading = |at: usize| {
                Some(Reading { at: At::parse(cell[at])?, count: Decimal::parse(cell[at + 1])?.scale(10, 1, 1)? })
            };
            let (from, to) = (reading(1).expect("a reading"), reading(3).expect("a reading"));
            let (grown, flag) = match register.between(from, to) {
                None => (None, "reject_nonpositive_dt"),
                Some(Change::Grew(d)) => (Some(d), "ok"),
                Some(Change::Jitter) => (Some(0), "jitter_clamped"),
                Some(Change::RolledOver(d)) => (Some(d), "rollover"),
                Some(Change::Reset(d)) => (Some(d), "reset_lower_bound"),
                Some(Change::Implausible) => (None, "implausible_high"),
                Some(Change::Discontinuity) => (None, "register_discontinuity"),
            };
            assert_eq!((grown, flag), (counts(cell[6]), cell[7]), "{}", cell[0]);
            cases += 1;
        }
        assert_eq!(cases, 11);
    }

    #[test]
    fn a_coarse_step_is_plausible_however_soon_it_shows() {
        // 0.1 kWh at 1 s would be 360 kW; the load draws at most 3 kW.
        let register = Register { step: 1, modulus: None, hourly: 30 };
        let at = |second: i64, count| Reading { at: At(second * 1_000), count };
        assert_eq!(register.between(at(0, 500), at(1, 501)), Some(Change::Grew(1)));
        assert_eq!(register.between(at(0, 500), at(1, 502)), Some(Change::Implausible));
    }

    #[test]
    fn counts_at_the_end_of_the_range_are_no_panic() {
        let register = Register { step: 1, modulus: Some(i64::MAX), hourly: i64::MAX };
        let at = |at, count| Reading { at: At(at), count };
        assert_eq!(register.between(at(0, i64::MIN), at(1, i64::MAX)), Some(Change::Discontinuity));
        assert!(register.between(at(0, i64::MAX), at(i64::MAX, i64::MIN + i64::MAX)).is_some());
    }
}
