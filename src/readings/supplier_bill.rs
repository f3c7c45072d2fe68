//! Bills of the supplier, as they came.

use crate::units::{Energy, Money};
use chrono::NaiveDate;

/// A bill of the supplier for some days.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SupplierBill {
    /// Its number.
    pub id: String,
    /// Serial numbers of the meters that it bills, parted by +.
    pub meter: String,
    /// The first day.
    pub from: NaiveDate,
    /// The last day.
    pub to: NaiveDate,
    /// Energy billed.
    pub energy: Energy,
    /// The highest mean in milliwatts, if it names one.
    pub peak_kw: Option<i64>,
    /// The highest mean in milli-volt-amperes, if it names one.
    pub peak_kva: Option<i64>,
    /// What is to be paid, in the plant's currency.
    pub amount: Money,
    /// Whether it rests on a reading that nobody took.
    pub estimated: bool,
}
