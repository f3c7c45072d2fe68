//! The demand that is billed: the highest mean, adjusted, and what the time before makes of it.

use super::supply::{Highest, Supply};
use super::{AdjustBy, Demand, Measure, Over, Window};
use crate::time::{MINUTE, Month};
use crate::units::{Decimal, divide_rounded, fixed};
use chrono::{Datelike, NaiveDate};

/// A demand as it is billed for a period.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Billed {
    /// In milliwatts or milli-volt-amperes.
    pub milli: i64,
    /// The highest mean of the period itself.
    pub own: Highest,
    /// What else made it what it is, in words.
    pub because: Vec<String>,
    /// Months of which its peak should be known and is not.
    pub unknown_months: u32,
}

/// A demand measured over days and adjusted.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Measured {
    milli: i64,
    highest: Highest,
    because: Vec<String>,
}

impl Demand {
    /// The demand that is billed for days; the error says why it is not known.
    pub fn billed(&self, supply: &Supply, days: (NaiveDate, NaiveDate)) -> Result<Billed, String> {
        let own = self.measured(supply, days)?;
        let mut billed = Billed { milli: own.milli, own: own.highest, because: own.because, unknown_months: 0 };
        match self.over {
            Over::Month => self.ratchet_up(supply, days.0, &mut billed),
            Over::Year { .. } => self.of_year(supply, days, &mut billed),
        }
        let least = self.minimum.and_then(milli).filter(|least| *least > billed.milli);
        if let Some(least) = least {
            billed.milli = least;
            billed.because.push("the least that is billed".into());
        }
        Ok(billed)
    }

    /// The highest mean of the year up to the eve of a day, as it was billed then; `None` where none is known.
    pub fn before(&self, supply: &Supply, first: NaiveDate) -> Option<i64> {
        let start = NaiveDate::from_ymd_opt(first.year(), 1, 1)?;
        let eve = first.pred_opt().filter(|eve| *eve >= start)?;
        let least = self.minimum.and_then(milli).unwrap_or(0);
        self.measured(supply, (start, eve)).ok().map(|measured| measured.milli.max(least))
    }

    fn measured(&self, supply: &Supply, days: (NaiveDate, NaiveDate)) -> Result<Measured, String> {
        let highest = highest(supply, days, self.unit, self.interval, &self.windows)?;
        let (mut milli, mut because) = (highest.milli, Vec::new());
        if let Some(multiplier) = self.loss_multiplier {
            milli = scale(multiplier, milli, 1, 1)?;
            because.push(format!("x {multiplier} for losses"));
        }
        if let Some(adjustment) = self.adjustment {
            let total = supply.total(days, &[]);
            if supply.without_reactive(days.0, days.1) > 0 {
                return Err("reactive energy is not known all the time, so that no power factor is".into());
            }
            let Some(factor) = total.power_factor() else {
                return Err("no energy, so that there is no power factor".into());
            };
            let below = scale(adjustment.below, 1_000_000, 1, 1)?;
            if factor < below {
                milli = match adjustment.rule {
                    AdjustBy::Ratio(to) => scale(to, milli, 1_000_000, factor.max(1).into())?,
                    AdjustBy::Points(each) => milli + scale(each, milli, i128::from(below - factor) * 100, 1_000_000)?,
                };
                because.push(format!("for a power factor of {}", fixed(factor.into(), 6, 4)));
            }
        }
        if self.whole {
            milli = (divide_rounded(milli.into(), 1_000_000) * 1_000_000) as i64;
        }
        Ok(Measured { milli, highest, because })
    }

    fn ratchet_up(&self, supply: &Supply, first: NaiveDate, billed: &mut Billed) {
        let Some(ratchet) = self.ratchet else { return };
        let mut month = Month::of(first);
        let mut top: Option<(i64, Month)> = None;
        for _ in 0..ratchet.months {
            let last = month.first().pred_opt().unwrap_or(first);
            month = Month::of(last);
            match self.measured(supply, (month.first(), last)) {
                Ok(measured) if top.is_none_or(|(milli, _)| measured.milli > milli) => {
                    top = Some((measured.milli, month));
                }
                Ok(_) => {}
                Err(_) => billed.unknown_months += 1,
            }
        }
        let held = top.and_then(|(milli, month)| Some((ratchet.share.scale(milli, 1, 1)?, month)));
        if let Some((least, month)) = held.filter(|(least, _)| *least > billed.milli) {
            billed.milli = least;
            billed.because.push(format!("{} of the peak of {month}", ratchet.share));
        }
    }

    fn of_year(&self, supply: &Supply, days: (NaiveDate, NaiveDate), billed: &mut Billed) {
        let Some(before) = self.before(supply, days.0) else {
            billed.unknown_months = days.0.month0();
            return;
        };
        let known = supply.days().map_or(days.0, |(first, _)| first);
        let start = NaiveDate::from_ymd_opt(days.0.year(), 1, 1).unwrap_or(days.0);
        billed.unknown_months = if known > start { Month::of(known).month - 1 } else { 0 };
        if before > billed.milli {
            billed.milli = before;
            billed.because.push("the highest of the year was earlier".into());
        }
    }
}

/// The highest mean of days; the error says why it is not known.
pub fn highest(
    supply: &Supply,
    days: (NaiveDate, NaiveDate),
    unit: Measure,
    interval: i64,
    windows: &[Window],
) -> Result<Highest, String> {
    let minutes = |millis: i64| millis / MINUTE;
    if supply.step() > interval {
        return Err(format!(
            "the meter shows intervals of {} minutes, the tariff asks for the highest of {}",
            minutes(supply.step()),
            minutes(interval)
        ));
    }
    supply.highest(days, unit, interval, windows).ok_or_else(|| match unit {
        Measure::Kw => "no interval is known".into(),
        Measure::Kva => "no interval is known with its reactive energy".into(),
    })
}

/// A number of kW or kVA in thousandths of a watt or volt-ampere.
pub fn milli(number: Decimal) -> Option<i64> {
    number.scale(1_000_000, 1, 1)
}

fn scale(by: Decimal, amount: i64, num: i128, den: i128) -> Result<i64, String> {
    by.scale(amount, num, den).ok_or_else(|| "the number is too large".into())
}
