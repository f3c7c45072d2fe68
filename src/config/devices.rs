//! The devices at a measuring point, with their transformers and displays.

use super::hall::EVER;
use super::legal;
use super::section::Section;
use super::unit::{exact, inverse, product};
use super::value::Value;
use crate::plant::{Dated, Device, Ratio};
use crate::readings::{Kind, Quantity};
use crate::sources::RegisterMap;
use crate::time::{At, Zone};
use crate::units::Decimal;

const DEVICE: [&str; 12] = [
    "serial",
    "since",
    "ct",
    "ct_programmed",
    "vt",
    "vt_programmed",
    "modulus_kwh",
    "resolution_wh",
    "start_kwh",
    "end_kwh_before",
    "wh_per_count",
    "w_per_count",
];

/// The devices that stood there, in the order of time. The size of their counts is that of the register map; where a
/// meter is not polled, energy is counted in mWh and power in mW.
pub fn read(section: &Section<'_>, map: Option<&RegisterMap>, zone: Zone) -> Option<Dated<Device>> {
    let entries = section.need("device")?.list();
    let mut devices: Vec<(At, Device)> = Vec::new();
    for entry in &entries {
        let before = devices.last().map(|(_, device)| device.mwh_per_count);
        devices.push(device(&entry.section(&DEVICE)?, map, before, zone)?);
    }
    section.in_order("device", devices.iter().map(|(since, _)| *since), zone);
    Some(Dated::new(devices))
}

fn device(section: &Section<'_>, map: Option<&RegisterMap>, before: Option<Ratio>, zone: Zone) -> Option<(At, Device)> {
    let serial = section.need("serial").and_then(|v| v.text());
    let since = section.get("since").map_or(Some(EVER), |v| v.instant(zone));
    let mwh_per_count = count(section, "wh_per_count", step(map, |q| q.kind() == Kind::Register));
    let mw_per_count = count(section, "w_per_count", step(map, |q| q == Quantity::Power));
    let transformers = transformers(section);
    // Readings of other sources carry the decimals that were sent; a watt-hour is as fine as displays get.
    let finest =
        if map.is_some() { Some(1) } else { mwh_per_count.and_then(|count| counts(Decimal::whole(1), 1_000, count)) };
    let mwh_per_count = mwh_per_count?;
    let in_counts = |key: &str, legal: legal::Legal, mwh: i64, count: Ratio| match section.get(key) {
        Some(v) => v.number(legal).and_then(|n| whole_counts(&v, n, mwh, count)).map(Some),
        None => Some(None),
    };
    let modulus = in_counts("modulus_kwh", legal::DISPLAY_END, 1_000_000, mwh_per_count);
    let step = in_counts("resolution_wh", legal::COUNT, 1_000, mwh_per_count);
    let start_count = in_counts("start_kwh", legal::DISPLAY, 1_000_000, mwh_per_count);
    let end_count = in_counts("end_kwh_before", legal::DISPLAY, 1_000_000, before.unwrap_or(mwh_per_count));
    if before.is_none() {
        for key in ["start_kwh", "end_kwh_before"] {
            if section.get(key).is_some() {
                section.say_help(
                    key,
                    &format!("{key} is for an exchange, and this is the first device"),
                    "leave it out",
                );
            }
        }
    }
    let device = Device {
        serial: serial?.into(),
        mwh_per_count,
        mw_per_count: mw_per_count?,
        transformers: transformers?,
        step: step?.or(finest).unwrap_or(1),
        modulus: modulus?.or(map.and_then(|map| map.modulus)),
        start_count: start_count?,
        end_count_before: end_count?,
    };
    Some((since?, device))
}

/// The step of a map's registers of one kind; one base unit where there is none.
fn step(map: Option<&RegisterMap>, wanted: impl Fn(Quantity) -> bool) -> Ratio {
    let register = map.and_then(|map| map.registers.iter().find(|register| wanted(register.quantity)));
    register.map_or(Ratio::ONE, |register| register.step)
}

/// The size of a count in thousandths of the unit that the key names, where it differs from the map.
fn count(section: &Section<'_>, key: &str, otherwise: Ratio) -> Option<Ratio> {
    let Some(value) = section.get(key) else { return Some(otherwise) };
    product(exact(value.number(legal::COUNT)?)?, Ratio { num: 1_000, den: 1 })
}

/// A display of so many kilowatt-hours as a count; `None` where it is not a whole number of counts.
pub fn display(kwh: Decimal, mwh_per_count: Ratio) -> Option<i64> {
    counts(kwh, 1_000_000, mwh_per_count)
}

/// A display of `amount` times `mwh` as a count.
fn counts(amount: Decimal, mwh: i64, count: Ratio) -> Option<i64> {
    let counts = product(product(exact(amount)?, Ratio { num: mwh, den: 1 })?, inverse(count))?;
    (counts.den == 1).then_some(counts.num)
}

fn whole_counts(value: &Value<'_>, amount: Decimal, mwh: i64, count: Ratio) -> Option<i64> {
    let found = counts(amount, mwh, count);
    if found.is_none() {
        let wh = count.to_f64() / 1e3;
        value.wrong::<()>(&format!("a whole number of counts, of {wh} Wh each"));
    }
    found
}

/// What a value is multiplied by: the fitted ratios over the programmed ones.
fn transformers(section: &Section<'_>) -> Option<Ratio> {
    let ratio = |key: &str| section.get(key).map(|v| transformer(&v));
    let one = |fitted: &str, programmed: &str| -> Option<Ratio> {
        match (ratio(fitted), ratio(programmed)) {
            (None, None) => Some(Ratio::ONE),
            (Some(fitted), None) => fitted,
            (Some(fitted), Some(programmed)) => product(fitted?, inverse(programmed?)),
            (None, Some(_)) => {
                section.say(programmed, &format!("{programmed} is given, but {fitted} is missing"));
                None
            }
        }
    };
    let (current, voltage) = (one("ct", "ct_programmed"), one("vt", "vt_programmed"));
    product(current?, voltage?)
}

/// The primary current of the transformers of the last device, in milliamperes; `None` where it has none.
pub fn primary_ma(section: &Section<'_>) -> Option<i64> {
    let last = section.get("device")?.list().pop()?;
    let (primary, _) = last.peek("ct")?.split_once('/')?;
    Decimal::parse(primary.trim())?.scale(1_000, 1, 1)
}

/// Reads a transformer ratio such as `200/5`.
pub fn ratio(text: &str) -> Option<Ratio> {
    let (primary, secondary) = text.split_once('/')?;
    let side = |text: &str| Decimal::parse(text.trim()).and_then(exact).filter(|ratio| ratio.num > 0);
    product(side(primary)?, inverse(side(secondary)?))
}

fn transformer(value: &Value<'_>) -> Option<Ratio> {
    ratio(value.text()?).or_else(|| value.wrong("a transformer ratio such as \"200/5\""))
}
