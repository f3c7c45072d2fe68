//! What a value from a message or a table is multiplied by to give the count of a series.

use super::Configuration;
use super::meters::ReadMeter;
use super::unit::{self, inverse, product};
use super::value::Value;
use crate::names::MeterId;
use crate::plant::{Device, Ratio};
use crate::readings::{Kind, Quantity, Reading, Series, Subject};
use crate::sources::RegisterMap;
use crate::time::At;
use crate::units::{counted, decimal, divide_rounded};

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
        let sizes: Vec<Ratio> = read.meter.device.iter().filter_map(|(_, device)| size(device, quantity)).collect();
        if sizes.windows(2).any(|pair| pair[0] != pair[1]) {
            at.say_help(
                &format!("the counts of meter \"{meter}\" changed their size with its device"),
                "import into a meter whose devices have the same wh_per_count and w_per_count",
            );
            return None;
        }
        let base = sizes
            .first()
            .copied()
            .unwrap_or_else(|| step_in(read.modbus.as_ref().map(|modbus| modbus.map.as_ref()), quantity));
        product(unit, inverse(base))
    }
}

impl Configuration {
    /// What one count of a quantity of a meter is worth at an instant, in the base unit of the quantity; `None` for a
    /// meter that is not there at that time.
    pub fn count_size(&self, meter: &MeterId, quantity: Quantity, at: At) -> Option<Ratio> {
        let device = self.plant.meter(meter)?.device.at(at)?;
        if let Some(size) = size(device, quantity) {
            return Some(size);
        }
        let polled = self.lines.iter().flat_map(|line| &line.meters).find(|polled| polled.meter == *meter);
        Some(step_in(polled.map(|polled| polled.map.as_ref()), quantity))
    }

    /// What a count of a series shows on its device, with its unit, such as `84118.2 kWh`.
    pub fn display(&self, series: &Series, reading: Reading) -> String {
        let size = match &series.subject {
            Subject::Meter(meter) => self.count_size(meter, series.quantity, reading.at),
            _ => Some(Ratio::ONE),
        };
        let (unit, base, _) = series.quantity.unit();
        let Some(size) = size else { return counted(reading.count, "count") };
        // Six decimals of a kilowatt-hour are the whole milliwatt-hours that are the base unit.
        let above = i128::from(reading.count) * i128::from(size.num) * 1_000_000;
        let micro = divide_rounded(above, i128::from(size.den) * i128::from(base));
        let Ok(micro) = i64::try_from(micro) else { return counted(reading.count, "count") };
        let number = decimal(micro, 6);
        format!("{} {unit}", number.trim_end_matches('0').trim_end_matches('.')).trim_end().to_owned()
    }
}

/// The size of a device's counts of energy and power; the other quantities have theirs from the register map.
fn size(device: &Device, quantity: Quantity) -> Option<Ratio> {
    match quantity {
        Quantity::Power | Quantity::PowerPhase(_) => Some(device.mw_per_count),
        _ if matches!(quantity.kind(), Kind::Register | Kind::Interval) => Some(device.mwh_per_count),
        _ => None,
    }
}

/// The step in which a polled device keeps a quantity; its base unit where it does not.
fn step_in(map: Option<&RegisterMap>, quantity: Quantity) -> Ratio {
    let register = map.and_then(|map| map.registers.iter().find(|register| register.quantity == quantity));
    register.map_or(Ratio::ONE, |register| register.step)
}
