//! What a value from a message or a table is multiplied by to give the count of a series.

use super::meters::ReadMeter;
use super::unit::{self, inverse, product};
use super::value::Value;
use crate::names::MeterId;
use crate::plant::{Meter, Ratio};
use crate::readings::{Kind, Quantity};

/// The meters of the plant, to find the size of their counts.
#[derive(Clone, Copy)]
pub struct Counts<'m, 'a>(pub &'m [ReadMeter<'a>]);

impl Counts<'_, '_> {
    /// The factor for a signal, whose count is the base unit of its quantity. Kinds and states have no unit.
    pub fn of_signal(self, unit: Option<Value<'_>>, quantity: Quantity, missing: impl Fn(&str)) -> Option<Ratio> {
        match unit {
            Some(unit) if unit::has_unit(quantity) => unit.unit(quantity),
            Some(unit) => unit.refuse(&format!("has no meaning for {quantity}")),
            None if unit::has_unit(quantity) => {
                missing(&format!("unit is missing: in which unit {quantity} is sent"));
                None
            }
            None => Some(Ratio::ONE),
        }
    }

    /// The factor for a quantity of a meter: its unit in counts of the device, which must have been of one size in all
    /// its time.
    pub fn of_meter(self, unit: Ratio, quantity: Quantity, meter: &MeterId, at: &Value<'_>) -> Option<Ratio> {
        let read = self.0.iter().find(|read| read.meter.id == *meter)?;
        let sizes: Vec<Ratio> = sizes(&read.meter, quantity);
        if sizes.windows(2).any(|pair| pair[0] != pair[1]) {
            at.say_help(
                &format!("the counts of meter \"{meter}\" changed their size with its device"),
                "import into a meter whose devices have the same wh_per_count and w_per_count",
            );
            return None;
        }
        let base = sizes.first().copied().unwrap_or_else(|| map_step(read, quantity));
        product(unit, inverse(base))
    }
}

/// The size of a count of each device in turn, for energy and power.
fn sizes(meter: &Meter, quantity: Quantity) -> Vec<Ratio> {
    let devices = meter.device.iter().map(|(_, device)| device);
    match quantity {
        Quantity::Power | Quantity::PowerPhase(_) => devices.map(|device| device.mw_per_count).collect(),
        _ if matches!(quantity.kind(), Kind::Register | Kind::Interval) => devices.map(|d| d.mwh_per_count).collect(),
        _ => Vec::new(),
    }
}

/// The step in which a polled device keeps a quantity; its base unit where it does not.
fn map_step(read: &ReadMeter<'_>, quantity: Quantity) -> Ratio {
    let registers = read.modbus.iter().flat_map(|modbus| &modbus.map.registers);
    registers.into_iter().find(|register| register.quantity == quantity).map_or(Ratio::ONE, |register| register.step)
}
