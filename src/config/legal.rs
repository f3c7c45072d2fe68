//! The range in which each number may lie, with the words for it: every range stands here, once.

use crate::units::Decimal;

/// A range of numbers with the words that an error uses: `... must be 1 to 125, found 200`.
#[derive(Clone, Copy)]
pub struct Legal {
    least: i64,
    above: bool,
    most: i64,
    /// What is allowed, in words.
    pub word: &'static str,
}

impl Legal {
    const fn new(least: i64, most: i64, word: &'static str) -> Self {
        Self { least, above: false, most, word }
    }

    const fn above(least: i64, most: i64, word: &'static str) -> Self {
        Self { least, above: true, most, word }
    }

    /// Whether a number lies in the range.
    pub fn allows(self, number: Decimal) -> bool {
        let (digits, ten) = number.fraction();
        let scaled = |bound: i64| i128::from(bound).saturating_mul(ten);
        let low = if self.above { digits > scaled(self.least) } else { digits >= scaled(self.least) };
        low && digits <= scaled(self.most)
    }

    /// Whether a whole number lies in the range.
    pub fn allows_whole(self, number: i64) -> bool {
        self.allows(Decimal::whole(number))
    }
}

/// A Modbus register address on the wire.
pub const ADDRESS: Legal = Legal::new(0, 65_535, "an address from 0 to 65535");
/// Modbus application protocol 1.1b3, 6.3: at most 125 registers in one answer.
pub const MAX_BLOCK: Legal = Legal::new(1, 125, "1 to 125 registers");
/// Unused registers in one request.
pub const BRIDGE: Legal = Legal::new(0, 124, "0 to 124 registers");
/// Modbus over serial line 1.02, 2.2: 1 to 247; TCP devices of their own answer to 255.
pub const UNIT: Legal = Legal::new(1, 255, "1 to 247, or 255 on a line with framing \"tcp\"");
/// Counts of a register that wraps.
pub const MODULUS: Legal = Legal::new(2, i64::MAX, "a whole number of counts above 1");
/// A count added to what was read.
pub const OFFSET: Legal = Legal::new(-1_000_000_000_000, 1_000_000_000_000, "a whole number of counts");
/// Bits a second of a serial line.
pub const BAUD: Legal = Legal::new(300, 1_000_000, "300 to 1000000 Bd, such as 9600 or 19200");
/// Stop bits of a character.
pub const STOP_BITS: Legal = Legal::new(1, 2, "1 or 2 stop bits");
/// A TCP port.
pub const PORT: Legal = Legal::new(1, 65_535, "a port from 1 to 65535");
/// Length of a lamp in millimetres.
pub const LAMP_LENGTH: Legal = Legal::new(10, 5_000, "10 to 5000 mm");
/// Rating of a lamp in watts per centimetre.
pub const RATING: Legal = Legal::above(0, 1_000, "greater than 0 and at most 1000 W/cm");
/// Draw that borders a state, in watts.
pub const DRAW: Legal = Legal::above(0, 1_000_000, "greater than 0 and at most 1000000 W");
/// Hysteresis of a border, in watts.
pub const HYSTERESIS: Legal = Legal::new(0, 1_000_000, "0 to 1000000 W");
/// The most that a load draws, in kilowatts.
pub const MAX_KW: Legal = Legal::above(0, 100_000, "greater than 0 and at most 100000 kW");
/// Stations lit on average. More than there are is a remark about the promise, not a fault of the file.
pub const LIT: Legal = Legal::above(0, 1_000, "greater than 0 and at most 1000 stations");
/// Mean level while curing, 1 for full; beyond full is a remark.
pub const LEVEL: Legal = Legal::above(0, 2, "greater than 0 and at most 2, where 1 is full");
/// A share.
pub const SHARE: Legal = Legal::new(0, 1, "a share from 0 to 1");
/// Watts at the mains over watts at the lamp.
pub const SUPPLY_FACTOR: Legal = Legal::new(1, 3, "1 to 3, such as 1.15");
/// Draw of a lamp that is off, in watts.
pub const OFF: Legal = Legal::new(0, 10_000, "0 to 10000 W");
/// Active over apparent power.
pub const POWER_FACTOR: Legal = Legal::above(0, 1, "greater than 0 and at most 1");
/// Hours of a year, as stated; more than there are is a remark.
pub const HOURS: Legal = Legal::new(0, 100_000, "0 to 100000 hours a year");
/// Manned hours of a year, as stated.
pub const MANNED: Legal = Legal::above(0, 100_000, "greater than 0 and at most 100000 hours a year");
/// Useful heat for a kWh of fuel; above 1 for heat pumps.
pub const HEATING_EFFICIENCY: Legal = Legal::above(0, 10, "greater than 0 and at most 10");
/// Heat removed for a kWh of electricity.
pub const COOLING_COP: Legal = Legal::above(0, 20, "greater than 0 and at most 20");
/// Air drawn off.
pub const AIR: Legal = Legal::new(0, 1_000_000, "0 to 1000000 m3/h");
/// Temperature of a hall.
pub const HALL: Legal = Legal::new(5, 40, "5 to 40 degrees Celsius");
/// A rated current in amperes.
pub const CURRENT: Legal = Legal::above(0, 100_000, "greater than 0 and at most 100000 A");
/// Phases of a circuit.
pub const PHASES: Legal = Legal::new(1, 3, "1 or 3 phases");
/// Speed in metres a minute.
pub const SPEED: Legal = Legal::above(0, 2_000, "greater than 0 and at most 2000 m/min");
/// A display of a meter in kilowatt-hours.
pub const DISPLAY: Legal = Legal::new(0, 1_000_000_000_000, "0 kWh or more");
/// The value at which a display returns to zero, in kilowatt-hours.
pub const DISPLAY_END: Legal = Legal::above(0, 1_000_000_000_000, "greater than 0 kWh");
/// The size of a count.
pub const COUNT: Legal = Legal::above(0, 1_000_000_000, "greater than 0");
/// A price; feed-in and surplus hours may have one below zero.
pub const PRICE: Legal = Legal::new(-1_000_000, 1_000_000, "a price from -1000000 to 1000000");
/// Money gained or, below zero, spent in a year.
pub const MONEY: Legal = Legal::new(-1_000_000_000, 1_000_000_000, "an amount from -1000000000 to 1000000000");
/// A fixed amount.
pub const AMOUNT: Legal = Legal::new(0, 1_000_000_000, "0 or more");
/// Carbon of a year in tonnes.
pub const TONNES: Legal = Legal::new(0, 1_000_000_000, "0 t or more");
/// A deviation in per cent.
pub const PER_CENT: Legal = Legal::above(0, 100, "greater than 0 and at most 100 %");
/// Billed over metered energy or demand.
pub const LOSSES: Legal = Legal::above(0, 2, "greater than 0 and at most 2, such as 1.032");
/// A demand or capacity.
pub const CAPACITY: Legal = Legal::new(0, 10_000_000, "0 to 10000000 kW or kVA");
/// Free kvarh for a kWh.
pub const FREE_REACTIVE: Legal = Legal::new(0, 2, "0 to 2 kvarh for a kWh, such as 0.33");
/// A share by which a bill is raised or, below zero, lowered.
pub const SURCHARGE: Legal = Legal::new(-1, 1, "a share from -1 to 1");
/// Months of a ratchet.
pub const MONTHS_BEFORE: Legal = Legal::new(1, 24, "1 to 24 months");
/// Hours of use, or kWh, of a block.
pub const BLOCK: Legal = Legal::above(0, 1_000_000_000, "greater than 0");
/// Decimals of a currency.
pub const DECIMALS: Legal = Legal::new(0, 6, "0 to 6 decimals");
/// Kilograms for a kilowatt-hour; lignite alone stays below 1.5.
pub const FACTOR: Legal = Legal::new(0, 5, "0 to 5 kg for a kWh");
/// A grid factor in the unit of its publication.
pub const FACTOR_AS_PRINTED: Legal = Legal::new(0, 10_000, "0 to 10000 in its unit");
/// A year of data.
pub const YEAR: Legal = Legal::new(1_990, 2_100, "a year from 1990 to 2100");
/// A month of the year.
pub const MONTH: Legal = Legal::new(1, 12, "a month from 1 to 12");

/// A time-out in milliseconds.
pub const TIMEOUT: Legal = Legal::new(10, 60_000, "10ms to 60s");
/// Time between polls in milliseconds.
pub const POLL: Legal = Legal::new(100, 900_000, "100ms to 15min");
/// Time between values in milliseconds.
pub const INTERVAL: Legal = Legal::new(100, 86_400_000, "100ms to 24h");
/// Time for which a draw must last, in milliseconds.
pub const DWELL: Legal = Legal::new(0, 3_600_000, "0s to 1h");
/// Days after its end before which a month stays open.
pub const CLOSE_AFTER: Legal = Legal::new(0, 365, "0 to 365 days");
/// Minutes for which a lamp may stay energised while its press stands.
pub const LEFT_ON: Legal = Legal::new(5, 1_440, "5 to 1,440 minutes");
/// Minutes for which an arc lamp may stand by while a job is on.
pub const STANDBY: Legal = Legal::new(5, 1_440, "5 to 1,440 minutes");
/// Alerts that a channel is sent in a day.
pub const ALERTS_A_DAY: Legal = Legal::new(1, 1_000, "1 to 1,000 alerts a day");
/// False alarms of the whole plant in a year.
pub const FALSE_ALARMS: Legal = Legal::new(0, 52, "up to 52 false alarms a year");
/// What is too little to restate a month for.
pub const DE_MINIMIS: Legal = Legal::new(0, 10, "0 to 10 %");
