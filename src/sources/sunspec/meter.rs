//! What a model of a meter offers, as registers of a map.

use super::Model;
use crate::readings::Quantity;

/// A value of a meter model: where it stands in the two layouts, and in which unit.
struct Point {
    quantity: Quantity,
    /// Offset in models 201 to 204, and of its scale factor.
    whole: (u16, u16),
    /// Offset in models 211 to 214.
    float: u16,
    unit: &'static str,
    /// The finest step in which a float is kept.
    step: &'static str,
}

const fn point(quantity: Quantity, whole: (u16, u16), float: u16, unit: &'static str, step: &'static str) -> Point {
    Point { quantity, whole, float, unit, step }
}

/// The values that are taken of a meter. The layouts of 201 to 204 are one, and those of 211 to 214.
const POINTS: [Point; 12] = [
    point(Quantity::Import, (46, 54), 68, "Wh", "1 Wh"),
    point(Quantity::Export, (38, 54), 60, "Wh", "1 Wh"),
    point(Quantity::Power, (18, 22), 28, "W", "1 W"),
    point(Quantity::PowerPhase(1), (19, 22), 30, "W", "1 W"),
    point(Quantity::PowerPhase(2), (20, 22), 32, "W", "1 W"),
    point(Quantity::PowerPhase(3), (21, 22), 34, "W", "1 W"),
    point(Quantity::Voltage(1), (8, 15), 12, "V", "0.1 V"),
    point(Quantity::Voltage(2), (9, 15), 14, "V", "0.1 V"),
    point(Quantity::Voltage(3), (10, 15), 16, "V", "0.1 V"),
    point(Quantity::Current(1), (3, 6), 4, "A", "1 mA"),
    point(Quantity::Current(2), (4, 6), 6, "A", "1 mA"),
    point(Quantity::Current(3), (5, 6), 8, "A", "1 mA"),
];

/// A float of 32 bits holds 24 bits of a number.
const FLOAT_BITS: i32 = 24;
/// An energy register that counts in coarser steps than this, in Wh, parts no states of a lamp.
const COARSE: f64 = 10.0;

/// A value that a meter shows.
#[derive(Clone, Debug, PartialEq)]
pub struct Offer {
    /// What it is.
    pub quantity: Quantity,
    /// Its wire address.
    pub address: u16,
    /// How it is written, in the word of a register map.
    pub kind: &'static str,
    /// What 1 as written is worth, such as `1 Wh`.
    pub unit: String,
    /// In which steps it is kept.
    pub step: String,
    /// The address of its scale factor.
    pub scale: Option<u16>,
    /// The pattern for "not implemented", where that is no value that could be.
    pub unavailable: Option<&'static str>,
    /// What it shows now, in its unit.
    pub now: f64,
    /// What to know of it.
    pub remark: Option<String>,
}

/// The values that a model of a meter implements, in a fixed order; none where it is no meter or was not read whole. What it says
/// is not implemented is left out, and so is what it gives no valid scale factor for. An accumulator at 0 may be either, so it
/// is offered, with a remark.
pub fn offers(model: &Model) -> Vec<Offer> {
    let offer = |point: &Point| match model.id {
        201..=204 => whole(model, point),
        211..=214 => float(model, point),
        _ => None,
    };
    POINTS.iter().filter_map(offer).collect()
}

/// A value of models 201 to 204: a whole number with a scale factor.
fn whole(model: &Model, point: &Point) -> Option<Offer> {
    let (offset, scale) = point.whole;
    let exponent = model.at(scale, 1)?[0] as i16;
    if !(-10..=10).contains(&exponent) {
        return None;
    }
    let is_energy = matches!(point.quantity, Quantity::Import | Quantity::Export);
    let (raw, kind, unavailable) = if is_energy {
        let words = model.at(offset, 2)?;
        (f64::from(u32::from(words[0]) << 16 | u32::from(words[1])), "u32", None)
    } else {
        let word = model.at(offset, 1)?[0];
        (f64::from(word as i16), "i16", Some("0x8000"))
    };
    if !is_energy && raw == f64::from(i16::MIN) {
        return None;
    }
    let now = raw * 10_f64.powi(exponent.into());
    let zero = (is_energy && raw == 0.0)
        .then(|| "shows 0: a new counter or one that the device does not have; they look the same".to_owned());
    let coarse = (is_energy && 10_f64.powi(exponent.into()) > COARSE).then(|| {
        format!("counts in steps of {} {}: too coarse to part the states of a lamp", ten(exponent), point.unit)
    });
    Some(Offer {
        quantity: point.quantity,
        address: model.address.checked_add(offset)?,
        kind,
        unit: format!("1 {}", point.unit),
        step: format!("{} {}", ten(exponent), point.unit),
        scale: Some(model.address.checked_add(scale)?),
        unavailable,
        now,
        remark: zero.or(coarse),
    })
}

/// A value of models 211 to 214: a float of 32 bits.
fn float(model: &Model, point: &Point) -> Option<Offer> {
    let words = model.at(point.float, 2)?;
    let now = f64::from(f32::from_bits(u32::from(words[0]) << 16 | u32::from(words[1])));
    if !now.is_finite() {
        return None;
    }
    let is_energy = matches!(point.quantity, Quantity::Import | Quantity::Export);
    let step = 2_f64.powi(now.abs().max(1.0).log2().floor() as i32 + 1 - FLOAT_BITS);
    let coarse = (is_energy && step > 1.0).then(|| {
        format!("at {now:.0} Wh a 32-bit float moves in steps of {step:.0} Wh; over short times these are what shows")
    });
    Some(Offer {
        quantity: point.quantity,
        address: model.address.checked_add(point.float)?,
        kind: "f32",
        unit: format!("1 {}", point.unit),
        step: point.step.into(),
        scale: None,
        unavailable: None,
        now,
        remark: coarse,
    })
}

/// A power of ten as a decimal: `0.01`, `1`, `1000`.
fn ten(exponent: i16) -> String {
    let zeros = usize::from(exponent.unsigned_abs());
    if exponent < 0 { format!("0.{}1", "0".repeat(zeros - 1)) } else { format!("1{}", "0".repeat(zeros)) }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The offsets and scale factors as the models print them: `tests/reference/sunspec_meters.json`.
    #[test]
    fn every_point_stands_where_the_models_say() {
        let models = include_str!("../../../tests/reference/sunspec_meters.json");
        let models: serde_json::Value = serde_json::from_str(models).expect("JSON");
        let names = [
            ("TotWhImp", "TotWhImp"),
            ("TotWhExp", "TotWhExp"),
            ("W", "W"),
            ("WphA", "WphA"),
            ("WphB", "WphB"),
            ("WphC", "WphC"),
            ("PhVphA", "PhVphA"),
            ("PhVphB", "PhVphB"),
            ("PhVphC", "PhVphC"),
            ("AphA", "AphA"),
            ("AphB", "AphB"),
            ("AphC", "AphC"),
        ];
        let of = |model: u16, name: &str| {
            let points = models["models"][model.to_string()]["points"].as_array().expect("points");
            points.iter().find(|point| point["name"] == name).unwrap_or_else(|| panic!("{model} {name}")).clone()
        };
        for (point, (whole, float)) in POINTS.iter().zip(names) {
            for model in 202..=204 {
                let found = of(model, whole);
                assert_eq!(found["offset"], point.whole.0, "{model} {whole}");
                assert_eq!(
                    of(model, found["sf"].as_str().expect("a scale"))["offset"],
                    point.whole.1,
                    "{model} {whole}"
                );
            }
            for model in 211..=214 {
                assert_eq!(of(model, float)["offset"], point.float, "{model} {float}");
                assert_eq!(of(model, float)["type"], "float32");
            }
        }
    }

    fn model(id: u16, set: &[(u16, u16)]) -> Model {
        let mut words = vec![0; 126];
        words[0] = id;
        set.iter().for_each(|(offset, word)| words[usize::from(*offset)] = *word);
        Model { id, address: 40_070, words }
    }

    #[test]
    fn what_is_not_implemented_is_not_offered() {
        // W_SF is not stated, A_SF lies outside -10 to 10, WphA says 0x8000 under a good factor.
        let set = [(22, 0x8000), (6, 11), (15, 0xFFFF), (8, 2_302), (9, 0x8000), (54, 1), (46, 1), (47, 2)];
        let offers = offers(&model(203, &set));
        let told: Vec<(String, f64, &str)> =
            offers.iter().map(|o| (o.quantity.to_string(), (o.now * 10.0).round() / 10.0, o.step.as_str())).collect();
        let expected = [
            ("import", 655_380.0, "10 Wh"),
            ("export", 0.0, "10 Wh"),
            ("voltage-l1", 230.2, "0.1 V"),
            ("voltage-l3", 0.0, "0.1 V"),
        ];
        assert_eq!(told, expected.map(|(quantity, now, step)| (quantity.to_owned(), now, step)));
        assert_eq!((offers[0].address, offers[0].scale), (40_116, Some(40_124)));
        assert!(offers[1].remark.as_ref().is_some_and(|remark| remark.starts_with("shows 0")));
    }

    /// Above 2^24 = 16,777,216 a 32-bit float has no odd numbers (IEEE 754-2019, binary32: 24 bits of precision).
    #[test]
    fn a_float_that_has_lost_its_units_is_remarked_on() {
        let remark = |wh: f32| {
            let bits = wh.to_bits();
            let set = [(68, (bits >> 16) as u16), (69, bits as u16)];
            offers(&model(213, &set))[0].remark.clone()
        };
        assert_eq!(remark(16_777_214.0), None);
        assert!(remark(16_777_216.0).is_some_and(|remark| remark.contains("in steps of 2 Wh")));
        assert!(remark(100_000_000.0).is_some_and(|remark| remark.contains("in steps of 8 Wh")));
        assert!(!offers(&model(213, &[(68, 0x7FC0)])).iter().any(|offer| offer.quantity == Quantity::Import));
    }
}
