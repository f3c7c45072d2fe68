//! Bills of the supplier as they are written.

use super::paper::{day, text};
use crate::readings::SupplierBill;
use crate::units::{Energy, Money};
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

/// A bill; energy, peaks and money in millionths of kWh, kW, kVA and the currency.
#[derive(Serialize, Deserialize)]
pub(super) struct BillPaper {
    id: String,
    meter: String,
    #[serde(serialize_with = "text", deserialize_with = "day")]
    from: NaiveDate,
    #[serde(serialize_with = "text", deserialize_with = "day")]
    to: NaiveDate,
    mwh: i64,
    peak_kw: Option<i64>,
    peak_kva: Option<i64>,
    amount: i64,
    estimated: bool,
}

impl From<SupplierBill> for BillPaper {
    fn from(bill: SupplierBill) -> Self {
        let SupplierBill { id, meter, from, to, energy, peak_kw, peak_kva, amount, estimated } = bill;
        Self { id, meter, from, to, mwh: energy.mwh(), peak_kw, peak_kva, amount: amount.micros(), estimated }
    }
}

impl From<BillPaper> for SupplierBill {
    fn from(paper: BillPaper) -> Self {
        let BillPaper { id, meter, from, to, mwh, peak_kw, peak_kva, amount, estimated } = paper;
        let (energy, amount) = (Energy::from_mwh(mwh), Money::from_micros(amount));
        Self { id, meter, from, to, energy, peak_kw, peak_kva, amount, estimated }
    }
}
