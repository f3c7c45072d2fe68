//! Serial lines: how characters are sent, and how long it takes (Modbus over serial line V1.02, sections 2.5.1 and 3.2).

use crate::sources::{Line, plan};
use std::fmt;
use std::time::Duration;

/// What goes with each character so that a flipped bit shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Parity {
    /// Nothing.
    None,
    /// A bit that makes the ones even.
    Even,
    /// A bit that makes the ones odd.
    Odd,
}

/// How characters are sent: 8 data bits always.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Serial {
    /// Bits a second.
    pub baud: u32,
    /// What goes with each character.
    pub parity: Parity,
    /// Bits between characters: 1 or 2.
    pub stop_bits: u8,
}

/// Above this rate the silence between frames is fixed.
const FIXED_ABOVE: u32 = 19_200;
/// That silence: 1.750 ms.
const FIXED_SILENCE: Duration = Duration::from_micros(1_750);
/// Characters of a request: unit, function, address, count, check sum.
const REQUEST: u64 = 8;
/// Characters of an answer beside its registers: unit, function, number of bytes, check sum.
const FRAME: u64 = 5;

impl Serial {
    /// Bits of a character: start, 8 of data, parity, stop.
    pub const fn bits(self) -> u64 {
        9 + matches!(self.parity, Parity::Even | Parity::Odd) as u64 + self.stop_bits as u64
    }

    /// How long so many characters take.
    pub fn characters(self, count: u64) -> Duration {
        Duration::from_nanos(count * self.bits() * 1_000_000_000 / u64::from(self.baud))
    }

    /// The silence that parts two frames: 3.5 characters, or 1.750 ms above 19,200 Bd.
    pub fn silence(self) -> Duration {
        if self.baud > FIXED_ABOVE { FIXED_SILENCE } else { self.characters(7) / 2 }
    }

    /// The least time that a request for so many registers takes with its answer, from a device that needs no time itself:
    /// request, silence, answer, silence.
    pub fn exchange(self, registers: u16) -> Duration {
        self.characters(REQUEST + FRAME + 2 * u64::from(registers)) + 2 * self.silence()
    }
}

impl fmt::Display for Serial {
    /// Such as `19200 8E1`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let parity = match self.parity {
            Parity::None => 'N',
            Parity::Even => 'E',
            Parity::Odd => 'O',
        };
        write!(f, "{} 8{parity}{}", self.baud, self.stop_bits)
    }
}

/// The share of its time that a line needs for its meters if each device answers at once; above 1 it cannot carry them.
pub fn least_load(line: &Line, serial: Serial) -> f64 {
    let cycle = |map| plan(map).iter().map(|block| serial.exchange(block.count).as_secs_f64()).sum::<f64>();
    line.meters.iter().map(|polled| cycle(&polled.map) * 1e3 / polled.interval as f64).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    const fn serial(baud: u32, parity: Parity, stop_bits: u8) -> Serial {
        Serial { baud, parity, stop_bits }
    }

    /// 3.5 characters of 11 bits at 9,600 Bd: 4.01 ms; 1.750 ms fixed above 19,200 Bd (V1.02, section 2.5.1.1).
    #[test]
    fn silence_is_three_and_a_half_characters_and_fixed_at_high_rates() {
        assert_eq!(serial(9_600, Parity::Even, 1).silence().as_micros(), 4_010);
        assert_eq!(serial(19_200, Parity::None, 2).silence().as_micros(), 2_005);
        assert_eq!(serial(38_400, Parity::Even, 1).silence().as_micros(), 1_750);
    }

    /// 8 + 5 + 2 x registers characters and two silences, worked out by hand from section 2.5.1: at 9,600 Bd 8N1 2 registers
    /// (17 + 7) x 10 / 9,600 = 25.0 ms; at 19,200 Bd 8E1 60 registers (133 + 7) x 11 / 19,200 = 80.2 ms; at 115,200 Bd 8E1 125
    /// registers 263 x 11 / 115,200 + 3.5 = 28.6 ms.
    #[test]
    fn an_exchange_takes_as_long_as_its_characters() {
        let millis = |serial: Serial, registers| (serial.exchange(registers).as_secs_f64() * 1e4).round() / 10.0;
        assert_eq!(millis(serial(9_600, Parity::None, 1), 2), 25.0);
        assert_eq!(millis(serial(19_200, Parity::Even, 1), 60), 80.2);
        assert_eq!(millis(serial(115_200, Parity::Even, 1), 125), 28.6);
    }

    #[test]
    fn it_is_written_as_the_trade_writes_it() {
        assert_eq!(serial(19_200, Parity::Even, 1).to_string(), "19200 8E1");
        assert_eq!(serial(9_600, Parity::None, 2).to_string(), "9600 8N2");
    }
}
