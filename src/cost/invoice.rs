//! What the supplier will bill for a period: every line from the fiscal meter and the tariffs in force, in exact money.

use super::charges::Charges;
use super::supply::Supply;
use super::versions::{Unbilled, pieces};
use super::{Over, Tariff};
use crate::time::{HOUR, Period};
use crate::units::{Decimal, Money, divide_rounded, fixed};
use chrono::{Datelike, Months, NaiveDate};

/// A bill. Its lines add up to its total.
#[derive(Clone, Debug, PartialEq)]
pub struct Invoice {
    /// The first and the last day.
    pub days: (NaiveDate, NaiveDate),
    /// Its lines, tariff by tariff in order of time.
    pub lines: Vec<InvoiceLine>,
    /// What must be known about it.
    pub remarks: Vec<String>,
}

/// A line of a bill.
#[derive(Clone, Debug, PartialEq)]
pub struct InvoiceLine {
    /// Name of the tariff.
    pub tariff: String,
    /// What is billed, such as the name of a band.
    pub label: String,
    /// Of which sort it is.
    pub element: Element,
    /// How much is billed, in millionths of its unit.
    pub amount: i64,
    /// The unit.
    pub unit: Unit,
    /// The price of a unit.
    pub price: Decimal,
    /// What it comes to; `None` where that cannot be known, and `note` says why.
    pub cost: Option<Money>,
    /// How the amount came about; empty where it speaks for itself.
    pub note: String,
}

/// The sort of a line, with what its sharing out goes by.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Element {
    /// Energy of a band of a tariff, by their places.
    Energy {
        /// The tariff.
        tariff: usize,
        /// The band.
        band: usize,
    },
    /// A fixed amount.
    Standing,
    /// Demand, with the highest interval of the period.
    Demand(Option<Period>),
    /// A later peak billed for months before, with its interval.
    Rebilled(Period),
    /// The agreed capacity.
    Capacity,
    /// What went beyond it, with the highest interval of the period.
    Excess(Option<Period>),
    /// Reactive energy.
    Reactive,
    /// A levy on energy, by the places of tariff and levy.
    Levy {
        /// The tariff.
        tariff: usize,
        /// The levy.
        levy: usize,
    },
    /// A levy on other lines of the same tariff, or a tax on them.
    OnLines,
    /// The difference between the lines and the rounded total.
    Rounding,
}

/// What lines are grouped by where a bill is shared out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Group {
    /// Energy by its price.
    Energy,
    /// Demand, agreed capacity and what exceeds it.
    Demand,
    /// All else.
    Other,
}

impl Group {
    /// Every group, in the order in which they are printed.
    pub const ALL: [Self; 3] = [Self::Energy, Self::Demand, Self::Other];
}

impl Element {
    /// The group of a line of this sort.
    pub const fn group(self) -> Group {
        match self {
            Self::Energy { .. } => Group::Energy,
            Self::Demand(_) | Self::Rebilled(_) | Self::Capacity | Self::Excess(_) => Group::Demand,
            _ => Group::Other,
        }
    }
}

/// The unit of a line's amount.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unit {
    /// Active energy.
    Kwh,
    /// Reactive energy.
    Kvarh,
    /// Active power.
    Kw,
    /// Apparent power.
    Kva,
    /// Days.
    Days,
    /// Months.
    Months,
    /// An amount of money.
    Money,
}

impl Unit {
    /// The unit as it is written; `None` for money, whose unit is the currency.
    pub const fn word(self) -> Option<&'static str> {
        Some(match self {
            Self::Kwh => "kWh",
            Self::Kvarh => "kvarh",
            Self::Kw => "kW",
            Self::Kva => "kVA",
            Self::Days => "d",
            Self::Months => "months",
            Self::Money => return None,
        })
    }
}

impl Invoice {
    /// What its lines add up to, as far as they are known.
    pub fn total(&self) -> Money {
        self.lines.iter().filter_map(|line| line.cost).sum()
    }

    /// Whether every line is known.
    pub fn is_whole(&self) -> bool {
        self.lines.iter().all(|line| line.cost.is_some())
    }
}

/// Bills days of a supply by the tariffs in force; the supply should reach back as far as its tariffs look.
///
/// # Errors
/// Where not every day has exactly one tariff, in the plant's currency.
pub fn invoice(supply: &Supply, tariffs: &[Tariff], days: (NaiveDate, NaiveDate)) -> Result<Invoice, Unbilled> {
    let (mut lines, mut remarks) = (Vec::new(), Vec::new());
    for piece in pieces(tariffs, &supply.plant().currency, days.0, days.1)? {
        let charges = Charges { supply, tariffs, piece, period: days };
        lines.extend(charges.lines(&mut remarks));
    }
    remarks.sort();
    remarks.dedup();
    let unknown = supply.unknown(days.0, days.1);
    if unknown > 0 {
        let hours = divide_rounded(i128::from(unknown) * 100, i128::from(HOUR));
        remarks.insert(0, format!("{} h without a known reading are not in it", fixed(hours, 2, 2)));
    }
    Ok(Invoice { days, lines, remarks })
}

/// How far before a day the tariffs of a period look: to the first day of the months before that a ratchet, or of the
/// year that a yearly demand asks for.
pub fn looks_back(tariffs: &[Tariff], days: (NaiveDate, NaiveDate)) -> NaiveDate {
    let held = tariffs
        .iter()
        .filter(|tariff| tariff.valid_from <= days.1 && tariff.last_day(tariffs).is_none_or(|last| last >= days.0));
    let month = days.0.with_day(1).unwrap_or(days.0);
    let demands = held.flat_map(|tariff| &tariff.terms.demands);
    let back = demands.map(|demand| match (demand.over, demand.ratchet) {
        (Over::Year { .. }, _) => NaiveDate::from_ymd_opt(days.0.year(), 1, 1).unwrap_or(days.0),
        (Over::Month, Some(ratchet)) => month.checked_sub_months(Months::new(ratchet.months)).unwrap_or(month),
        (Over::Month, None) => days.0,
    });
    back.min().unwrap_or(days.0).min(days.0)
}
