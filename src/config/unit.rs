//! Units as people write them, in the base unit of what they measure.

use super::value::Value;
use crate::plant::Ratio;
use crate::readings::Quantity;
use crate::units::Decimal;

/// The units of a quantity and what each is in its base unit (see [`Quantity`]).
fn units(quantity: Quantity) -> &'static [(&'static str, i64, i64)] {
    use Quantity::*;
    match quantity {
        Import | Export | IntervalEnergy => {
            &[("mWh", 1, 1), ("Wh", 1_000, 1), ("kWh", 1_000_000, 1), ("MWh", 1_000_000_000, 1)]
        }
        ReactiveLag | ReactiveLead | IntervalReactiveLag | IntervalReactiveLead => {
            &[("mvarh", 1, 1), ("varh", 1_000, 1), ("kvarh", 1_000_000, 1), ("Mvarh", 1_000_000_000, 1)]
        }
        Power | PowerPhase(_) => &[("mW", 1, 1), ("W", 1_000, 1), ("kW", 1_000_000, 1), ("MW", 1_000_000_000, 1)],
        Current(_) => &[("mA", 1, 1), ("A", 1_000, 1)],
        Voltage(_) => &[("mV", 1, 1), ("V", 1_000, 1), ("kV", 1_000_000, 1)],
        PowerFactor(_) => &[("1", 1_000, 1), ("%", 10, 1)],
        // A foot is 304.8 mm exactly (international yard and pound, 1959).
        Speed => &[("mm/min", 1, 1), ("m/min", 1_000, 1), ("m/s", 60_000, 1), ("ft/min", 1_524, 5)],
        WebLength | IntervalLength => &[("mm", 1, 1), ("m", 1_000, 1), ("km", 1_000_000, 1), ("ft", 1_524, 5)],
        IntervalRunning => &[("s", 1_000, 1), ("min", 60_000, 1), ("h", 3_600_000, 1)],
        LampLevel => &[("%", 10, 1), ("1", 1_000, 1)],
        Temperature => &[("C", 1_000, 1)],
        LampKind | LampState => &[],
    }
}

/// Whether a quantity has a unit at all.
pub fn has_unit(quantity: Quantity) -> bool {
    !units(quantity).is_empty()
}

impl Value<'_> {
    /// A quantity by its word.
    pub fn quantity(&self) -> Option<Quantity> {
        let word = self.text()?;
        let found = Quantity::parse(word);
        if found.is_none() {
            let known: Vec<String> = Quantity::all().map(|quantity| quantity.to_string()).collect();
            self.unknown(word, known.iter().map(String::as_str));
        }
        found
    }

    /// What a unit such as `kWh`, or an amount such as `10 Wh`, is in the base unit of a quantity.
    pub fn unit(&self, quantity: Quantity) -> Option<Ratio> {
        match amount(self.text()?, quantity) {
            Ok(unit) if unit.num > 0 => Some(unit),
            Ok(_) => self.wrong("greater than 0"),
            Err(help) => self.wrong_help(&format!("a unit of {quantity}"), &help),
        }
    }
}

/// What an amount such as `10 Wh` or `kWh` is in the base unit of a quantity. The error says how to write one.
pub fn amount(text: &str, quantity: Quantity) -> Result<Ratio, String> {
    let known = units(quantity);
    let find = |word: &str| known.iter().find(|(unit, ..)| *unit == word).map(|(_, num, den)| ratio(*num, *den));
    let (number, unit) = match text.split_once(' ') {
        Some((number, unit)) => (number, unit.trim()),
        None if find(text).is_some() => ("1", text),
        // A number without a unit, for what is counted in ones.
        None => (text, "1"),
    };
    let one = if known.is_empty() && unit == "1" { Some(Ratio::ONE) } else { find(unit) };
    let amount = Decimal::parse(number).and_then(exact).zip(one).and_then(|(number, one)| product(number, one));
    amount.ok_or_else(|| {
        let words: Vec<&str> = known.iter().map(|(unit, ..)| *unit).collect();
        let Some(last) = words.last() else { return format!("{quantity} is a plain number") };
        format!("write one of {}, with a number where it is another amount, as in \"10 {last}\"", words.join(", "))
    })
}

const fn ratio(num: i64, den: i64) -> Ratio {
    Ratio { num, den }
}

/// A decimal as a ratio of whole numbers; `None` where it has too many digits.
pub fn exact(number: Decimal) -> Option<Ratio> {
    let (num, den) = number.fraction();
    Some(ratio(num.try_into().ok()?, den.try_into().ok()?).times(Ratio::ONE))
}

/// The product of two ratios, reduced; `None` where it does not fit.
pub fn product(a: Ratio, b: Ratio) -> Option<Ratio> {
    // Checked before [`Ratio::times`] reduces, so that a unit with absurd digits is a problem and not a panic.
    let fits = |x: i64, y: i64| x.checked_mul(y).is_some();
    (fits(a.num, b.num) && fits(a.den, b.den)).then(|| a.times(b))
}

/// One over a ratio above zero.
pub const fn inverse(a: Ratio) -> Ratio {
    ratio(a.den, a.num)
}
