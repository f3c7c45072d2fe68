//! The registers of a simulated meter, as `demo-data/registers/` describes them.

use super::super::hall::{MAIN, PRESSES};
use super::super::model::Model;
use crate::time::At;

/// Volts between each phase and neutral.
const VOLTS: [f32; 3] = [239.1, 238.4, 240.2];
/// Power factor of each phase of what serves all presses.
const POWER_FACTOR: f32 = 0.92;

/// The tables of a meter, from address 0.
#[derive(Debug, Default, PartialEq)]
pub struct Image {
    /// Function 3.
    pub holding: Vec<u16>,
    /// Function 4.
    pub input: Vec<u16>,
}

/// The registers of the meter at a position at an instant of the present minute.
pub fn image(model: &Model, meter: usize, at: At) -> Image {
    let import = model.import(meter, at) as u32;
    let watts = model.power(meter);
    if meter < MAIN {
        let holding = [big(import), big(watts as i32 as u32)].concat();
        return Image { holding, ..Image::default() };
    }
    let mut input = vec![0; 44];
    let mut put = |address: usize, words: [u16; 2]| input[address..address + 2].copy_from_slice(&words);
    put(0, big(import));
    put(18, float(watts as f32));
    let press = (meter < MAIN + PRESSES.len()).then(|| meter - MAIN);
    if let Some(press) = press {
        let [lag, lead] = model.reactive(press, at);
        put(4, big(lag as u32));
        put(6, big(lead as u32));
    }
    let power_factor = press.map_or(POWER_FACTOR, |press| power_factor(model, press));
    let share = watts * 33 / 100;
    for (k, phase) in [watts - 2 * share, share, share].into_iter().enumerate() {
        let (phase, volts) = (phase as f32, VOLTS[k]);
        put(20 + 2 * k, float(phase));
        put(26 + 2 * k, float(volts));
        put(32 + 2 * k, float(phase / (volts * power_factor)));
        put(38 + 2 * k, float(power_factor));
    }
    Image { input, ..Image::default() }
}

/// Active over apparent power of a press, of all phases alike.
fn power_factor(model: &Model, press: usize) -> f32 {
    let now = model.now();
    let (watts, vars) = (now.watts[MAIN + press] as f32, now.vars[press] as f32);
    watts / watts.hypot(vars)
}

/// Two registers, the most significant first.
fn big(value: u32) -> [u16; 2] {
    [(value >> 16) as u16, value as u16]
}

/// An IEEE 754 float in two registers, the least significant first.
fn float(value: f32) -> [u16; 2] {
    let [high, low] = big(value.to_bits());
    [low, high]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo::START;

    #[test]
    fn words_stand_in_the_order_of_the_register_maps() {
        // 1.0 is 0x3F800000 (IEEE 754).
        assert_eq!((float(1.0), big(0x0001_0002)), ([0, 0x3F80], [1, 2]));
    }

    #[test]
    fn the_phases_add_up_to_the_total() {
        let image = image(&Model::default(), MAIN, START);
        let value = |a: usize| f32::from_bits(u32::from(image.input[a + 1]) << 16 | u32::from(image.input[a]));
        assert_eq!(value(20) + value(22) + value(24), value(18));
        // P = U x I x power factor in each phase.
        assert!((value(26) * value(32) * value(38) - value(20)).abs() < 0.01);
    }
}
