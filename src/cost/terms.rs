//! What is billed beside the price of energy: demand, agreed capacity, reactive energy, levies, tax, and how it is rounded.

use super::Window;
use crate::units::Decimal;

/// The terms of a tariff beside its bands and its charge for each day; by default there are none.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Terms {
    /// A fixed amount for each month.
    pub standing_per_month: Option<Decimal>,
    /// Billed over metered kWh: what is lost between the meter and the point to which the prices refer.
    pub loss_multiplier: Option<Decimal>,
    /// Charges on the highest mean.
    pub demands: Vec<Demand>,
    /// The agreed capacity.
    pub capacity: Option<Capacity>,
    /// Charges on reactive energy.
    pub reactive: Vec<Wattless>,
    /// Levies, in the order in which they are billed.
    pub levies: Vec<Levy>,
    /// Taxes on all the rest.
    pub taxes: Vec<Tax>,
    /// How it is rounded; not at all where nobody said.
    pub rounding: Option<Rounding>,
}

/// The unit of a demand or a capacity.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Measure {
    /// Active power.
    Kw,
    /// Apparent power: the vector sum of the active and the larger reactive energy of each interval.
    Kva,
}

impl Measure {
    /// Every unit.
    pub const ALL: [Self; 2] = [Self::Kw, Self::Kva];

    /// The unit as it is written.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Kw => "kW",
            Self::Kva => "kVA",
        }
    }
}

/// The time for which a price is meant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Per {
    /// A day.
    Day,
    /// A month; of a part of it by days.
    Month,
    /// A year, billed by twelfths.
    Year,
}

impl Per {
    /// Every time.
    pub const ALL: [Self; 3] = [Self::Day, Self::Month, Self::Year];

    /// The word in the configuration.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Day => "day",
            Self::Month => "month",
            Self::Year => "year",
        }
    }
}

/// A charge on the highest mean of an interval.
#[derive(Clone, Debug, PartialEq)]
pub struct Demand {
    /// What it is called on the bill.
    pub name: String,
    /// Price of a kW or kVA.
    pub price: Decimal,
    /// For how long.
    pub per: Per,
    /// What is measured.
    pub unit: Measure,
    /// Milliseconds of an interval, counted from midnight by the local clock.
    pub interval: i64,
    /// When it is measured; always where empty.
    pub windows: Vec<Window>,
    /// Of which time it is the highest.
    pub over: Over,
    /// What the months before leave behind.
    pub ratchet: Option<Ratchet>,
    /// The least that is billed.
    pub minimum: Option<Decimal>,
    /// Whether it is billed in whole kW or kVA.
    pub whole: bool,
    /// What a poor power factor adds.
    pub adjustment: Option<Adjustment>,
    /// Billed over metered demand.
    pub loss_multiplier: Option<Decimal>,
}

/// The time of which a demand is the highest.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Over {
    /// The month that is billed.
    Month,
    /// The calendar year up to the month that is billed.
    Year {
        /// Whether a later peak is billed for the months before as well.
        rebilled: bool,
    },
}

/// A share of the highest demand of the months before, below which the demand of a month is not billed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ratchet {
    /// The share.
    pub share: Decimal,
    /// How many months before.
    pub months: u32,
}

/// What is added to a demand for a mean power factor of the month below a limit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Adjustment {
    /// The limit.
    pub below: Decimal,
    /// By which rule.
    pub rule: AdjustBy,
}

/// A rule by which demand is adjusted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum AdjustBy {
    /// Demand x this power factor / the one measured.
    Ratio(Decimal),
    /// Demand x (1 + this share for each hundredth of power factor below the limit).
    Points(Decimal),
}

/// An agreed capacity, and what goes beyond it.
#[derive(Clone, Debug, PartialEq)]
pub struct Capacity {
    /// What is agreed.
    pub agreed: Decimal,
    /// In which unit.
    pub unit: Measure,
    /// Milliseconds of an interval.
    pub interval: i64,
    /// Price of a kW or kVA that is agreed.
    pub price: Decimal,
    /// Price of a kW or kVA by which the highest mean of the month exceeds it.
    pub excess_price: Decimal,
    /// For how long both prices are meant.
    pub per: Per,
}

/// A charge on reactive energy beyond what is free.
#[derive(Clone, Debug, PartialEq)]
pub struct Wattless {
    /// What it is called on the bill.
    pub name: String,
    /// Price of a kvarh.
    pub price: Decimal,
    /// Free kvarh for a kWh.
    pub free: Decimal,
    /// Whether the free share is taken interval by interval, of so many milliseconds; else of the period as a whole.
    pub interval: Option<i64>,
    /// Whether of inductive and capacitive energy the larger one counts; else the inductive alone.
    pub larger: bool,
    /// When it is measured; always where empty.
    pub windows: Vec<Window>,
}

/// A levy.
#[derive(Clone, Debug, PartialEq)]
pub struct Levy {
    /// What it is called on the bill.
    pub name: String,
    /// What it is levied on.
    pub on: Levied,
}

/// What a levy is levied on.
#[derive(Clone, Debug, PartialEq)]
pub enum Levied {
    /// Metered kWh within windows, all where there are none.
    Energy {
        /// Price of a kWh.
        price: Decimal,
        /// When it is levied.
        windows: Vec<Window>,
        /// Whether kWh count with the losses.
        with_losses: bool,
    },
    /// All that stands above it on the bill, by a share; below zero it is a discount.
    Lines(Decimal),
}

/// A tax on everything but taxes.
#[derive(Clone, Debug, PartialEq)]
pub struct Tax {
    /// What it is called on the bill.
    pub name: String,
    /// Its share.
    pub share: Decimal,
}

/// How a bill is rounded, half away from zero.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rounding {
    /// Whether every line is rounded; else the total alone.
    pub lines: bool,
    /// To how many decimals of the currency, at most six.
    pub decimals: u32,
}
