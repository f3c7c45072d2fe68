//! A tariff with time bands by the local clock, and the terms beside its price of energy.

use super::terms::Terms;
use crate::units::Decimal;
use chrono::{NaiveDate, NaiveTime, Weekday};

/// A tariff for the days on which it is valid. One without a last day holds until the next one begins.
#[derive(Clone, Debug, PartialEq)]
pub struct Tariff {
    /// Its name as people say it.
    pub name: String,
    /// First day.
    pub valid_from: NaiveDate,
    /// Last day; open where `None`.
    pub valid_to: Option<NaiveDate>,
    /// ISO 4217 code.
    pub currency: String,
    /// Where the prices come from, such as a contract number.
    pub source: String,
    /// Its bands in order of precedence: the first whose window holds an instant prices it.
    pub bands: Vec<Band>,
    /// A fixed amount for each day.
    pub standing_per_day: Decimal,
    /// What is billed beside.
    pub terms: Terms,
}

/// A price for certain hours.
#[derive(Clone, Debug, PartialEq)]
pub struct Band {
    /// Its name, such as `day`.
    pub name: String,
    /// Price of a kWh; of those beyond the blocks where there are any.
    pub price: Decimal,
    /// The first kWh of a month at prices of their own, in their order.
    pub blocks: Vec<Block>,
    /// When it holds; at all other times where empty.
    pub windows: Vec<Window>,
}

/// The first kWh of a month, at a price of their own.
#[derive(Clone, Debug, PartialEq)]
pub struct Block {
    /// How many they are.
    pub size: BlockSize,
    /// Price of a kWh.
    pub price: Decimal,
}

/// How many kWh a block has.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum BlockSize {
    /// So many kWh a month.
    Kwh(Decimal),
    /// So many kWh for each kW or kVA of the demand billed first: hours of its use.
    Hours(Decimal),
}

/// Hours of certain days by the local clock. The borders lie on quarter hours.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Window {
    /// Weekdays; all where empty.
    pub days: Vec<Weekday>,
    /// Months 1 to 12; all where empty.
    pub months: Vec<u32>,
    /// From this time on.
    pub from: NaiveTime,
    /// Up to this time; midnight at the end of the day where it is 00:00.
    pub to: NaiveTime,
    /// Whether holidays of the plant's calendar are left out.
    pub not_on_holidays: bool,
}
