//! What the counts of a device are worth, and how far apart its readings may lie.

use crate::plant::{Device, Meter, Ratio};
use crate::readings::{Change, Quantity, Reading, Register};
use crate::time::{At, HOUR, MINUTE};
use crate::units::{Energy, divide_rounded};

/// The longest time over which one step of a register is shared.
const LONGEST_STEP: i64 = 24 * HOUR;

/// Readings further apart than this leave the place of the energy between them open: three native intervals, since
/// one or two late answers are nothing unusual, and never less than a minute.
pub fn gap_limit(meter: &Meter) -> i64 {
    (3 * meter.native).max(MINUTE)
}

/// How far back one step of a register may have begun to grow: as long as it takes at a hundredth of the largest draw.
pub fn look_back(device: &Device, max_watts: i64) -> i64 {
    let step = device.mwh_per_count.times(device.transformers);
    let millis = i128::from(device.step) * i128::from(step.num) * i128::from(HOUR)
        / (i128::from(step.den) * i128::from(max_watts.max(1)) * 10).max(1);
    millis.clamp(0, LONGEST_STEP.into()) as i64
}

/// Whether a reading says more than the load behind its meter can draw: by itself, or by how its register would have
/// grown from the reading before it or up to the one after it. `around` are readings of the same series.
pub fn is_beyond(meter: &Meter, quantity: Quantity, reading: Reading, around: &[Reading]) -> bool {
    let Some(device) = meter.device.at(reading.at) else { return false };
    match quantity {
        Quantity::Power | Quantity::PowerPhase(_) => {
            milliwatts(device, reading.count).is_none_or(|power| is_over(meter, power))
        }
        Quantity::Import | Quantity::Export => {
            let register = Counting::of(device, meter.max_watts, reading.at).register;
            let before = around.iter().rfind(|other| other.at < reading.at);
            let after = around.iter().find(|other| other.at > reading.at);
            let into = before.and_then(|before| register.between(*before, reading));
            let out = after.and_then(|after| register.between(reading, *after));
            [into, out].contains(&Some(Change::Implausible))
        }
        Quantity::IntervalEnergy => {
            let most = i128::from(meter.max_watts) * 1_000 * i128::from(meter.native);
            energy_of(device, reading.count).is_none_or(|e| i128::from(e.mwh()).abs() * i128::from(HOUR) > most)
        }
        _ => false,
    }
}

/// Whether milliwatts are more than the load behind a meter can draw or give back.
pub fn is_over(meter: &Meter, power: i128) -> bool {
    power.abs() > i128::from(meter.max_watts) * 1_000
}

/// The energy of an interval's count; `None` where it is beyond every number.
pub fn energy_of(device: &Device, count: i64) -> Option<Energy> {
    scaled(count, device.mwh_per_count.times(device.transformers)).map(Energy::from_mwh)
}

/// The milliwatts of a count; `None` where they are beyond every number.
pub fn milliwatts(device: &Device, count: i64) -> Option<i128> {
    scaled(count, device.mw_per_count.times(device.transformers)).map(i128::from)
}

fn scaled(count: i64, ratio: Ratio) -> Option<i64> {
    i64::try_from(divide_rounded(i128::from(count) * i128::from(ratio.num), ratio.den.into())).ok()
}

/// What the register of a device means.
#[derive(Clone, Copy, Debug)]
pub struct Counting {
    /// How it counts.
    pub register: Register,
    /// Milliwatt-hours for each count, transformers included.
    pub scale: Ratio,
    /// How far back one step may have begun to grow, in milliseconds.
    pub look_back: i64,
    /// Since when this holds.
    pub since: At,
}

impl Counting {
    /// The meaning of a device's register from an instant on, at a meter that draws at most so much.
    pub fn of(device: &Device, max_watts: i64, since: At) -> Self {
        let scale = device.mwh_per_count.times(device.transformers);
        let hourly = i128::from(max_watts) * 1_000 * i128::from(scale.den) / i128::from(scale.num.max(1)) + 1;
        let hourly = i64::try_from(hourly).unwrap_or(i64::MAX);
        let register = Register { step: device.step.max(1), modulus: device.modulus, hourly };
        Self { register, scale, look_back: look_back(device, max_watts), since }
    }

    /// The energy between two counts: whole milliwatt-hours of each, so that differences telescope.
    pub fn energy(&self, from: i64, to: i64) -> Energy {
        let Ratio { num, den } = self.scale;
        let small = if den == 1 { from.checked_mul(num).zip(to.checked_mul(num)) } else { None };
        let mwh = |count: i64| (i128::from(count) * i128::from(num)).div_euclid(den.into());
        let difference = match small {
            Some((from, to)) => to - from,
            None => i64::try_from(mwh(to) - mwh(from)).unwrap_or(i64::MAX),
        };
        Energy::from_mwh(difference)
    }
}
