//! A lamp that is switched between two readings of its power: how much was drawn between them tells when.

use crate::attribute::grain::GRAIN;
use crate::time::{At, HOUR, Period};
use crate::units::Energy;

/// Two neighbouring readings of power of which one is more than twice the other, in milliwatts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Jump {
    /// From the one reading to the other.
    pub period: Period,
    before: i128,
    after: i128,
}

impl Jump {
    /// The jump between two readings; `None` where there is none, or where they are as near as a day is kept.
    pub fn between(period: Period, before: i128, after: i128) -> Option<Self> {
        let (low, high) = (before.min(after), before.max(after));
        (period.millis() > GRAIN && 2 * low.max(0) < high).then_some(Self { period, before, after })
    }

    /// The instant at which what was drawn between the readings has the power go from the one to the other.
    pub fn at(&self, drawn: Energy) -> At {
        let (length, mwh) = (i128::from(self.period.millis()), i128::from(drawn.mwh()));
        let later = (mwh * i128::from(HOUR) - self.before * length) / (self.after - self.before);
        self.period.end - later.clamp(0, length) as i64
    }

    /// What of it was drawn before that instant.
    pub fn drawn_before(&self, drawn: Energy) -> Energy {
        let mwh = self.before.max(0) * i128::from(self.at(drawn) - self.period.start) / i128::from(HOUR);
        Energy::from_mwh((mwh as i64).min(drawn.mwh()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::time::MINUTE;

    fn jump(before: i128, after: i128) -> Option<Jump> {
        Jump::between(Period::new(At(0), At(MINUTE)), before * 1_000, after * 1_000)
    }

    /// A minute from 30 W to 2,130 W: 0.5 Wh at 30 W alone, 18 Wh with half of it at each, 35.5 Wh at 2,130 W alone.
    #[test]
    fn the_energy_of_the_minute_tells_the_second() {
        let up = jump(30, 2_130).expect("a jump");
        for (wh_tenths, second) in [(5, 60), (180, 30), (355, 0), (0, 60), (400, 0)] {
            assert_eq!(up.at(Energy::from_mwh(wh_tenths * 100)), At(second * 1_000), "{wh_tenths}");
        }
        let down = jump(2_130, 30).expect("a jump");
        assert_eq!(down.at(Energy::from_mwh(18_000)), At(30_000));
        assert_eq!([up, down].map(|jump| jump.drawn_before(Energy::from_mwh(18_000)).mwh()), [250, 17_750]);
    }

    #[test]
    fn a_lamp_that_is_dimmed_or_read_by_the_second_does_not_jump() {
        assert_eq!((jump(2_000, 1_100), jump(1_100, 2_000), jump(0, 0)), (None, None, None));
        assert_eq!(Jump::between(Period::new(At(0), At(GRAIN)), 0, 2_000_000), None);
    }
}
