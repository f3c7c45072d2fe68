//! Tables of the supplier's bills: one bill a row.

use crate::plant::Plant;
use crate::readings::SupplierBill;
use crate::sources::csv_table::Form;
use crate::sources::fixed_table::{FixedTable, Row};
use crate::sources::{CsvMapping, CsvRows, Refusal};
use crate::units::{Energy, Money};
use std::collections::BTreeSet;

/// The columns of a table of bills. Those after `currency` may be left out.
pub const BILL_COLUMNS: [&str; 10] =
    ["id", "meter", "from", "to", "kwh", "amount", "currency", "peak_kw", "peak_kva", "reading"];

/// Columns that every table has.
const NEEDED: usize = 7;

/// The longest time of a bill, in days: a leap year.
const LONGEST: i64 = 366;

impl CsvMapping {
    /// The mapping of a table of bills, whose columns are the same everywhere.
    pub fn bills(separator: u8) -> Self {
        Self::fixed("bills", separator, CsvRows::Bills)
    }
}

/// A table of bills of a plant.
#[derive(Clone, Debug)]
pub(super) struct BillTable {
    columns: FixedTable,
    /// For each fiscal meter the serial numbers that it has had.
    serials: Vec<BTreeSet<String>>,
    currency: String,
}

impl BillTable {
    pub(super) fn new(header: &[&str], plant: &Plant) -> Result<Self, Refusal> {
        let fiscal = plant.meters.iter().filter(|meter| meter.fiscal);
        let serials = fiscal.map(|meter| meter.device.iter().map(|(_, device)| device.serial.clone()).collect());
        let columns = FixedTable::new(&BILL_COLUMNS, NEEDED, header)?;
        Ok(Self { columns, serials: serials.collect(), currency: plant.currency.clone() })
    }

    /// The bill of a row.
    pub(super) fn read(&self, form: &Form, cells: &[&str]) -> Result<SupplierBill, Refusal> {
        let row = self.columns.row(form, cells);
        let (from, to) = row.days("the bill")?;
        if (to - from).num_days() >= LONGEST {
            return Err(row.refuse("to", format!("a day less than {LONGEST} days after {from}")));
        }
        if row.cell("currency") != self.currency {
            let expected = format!("{}: Inkwatt never converts money", self.currency);
            return Err(row.refuse("currency", expected));
        }
        let missing = |name: &str, what: &str| row.refuse(name, what);
        Ok(SupplierBill {
            id: row.text("id")?,
            meter: self.meter(&row)?,
            from,
            to,
            energy: not_below_zero(&row, "kwh")?
                .map(Energy::from_mwh)
                .ok_or_else(|| missing("kwh", "the kWh billed"))?,
            peak_kw: not_below_zero(&row, "peak_kw")?,
            peak_kva: not_below_zero(&row, "peak_kva")?,
            amount: millionths(&row, "amount", "an amount of money")?
                .map(Money::from_micros)
                .ok_or_else(|| missing("amount", "what is to be paid"))?,
            estimated: match row.cell("reading") {
                "" | "actual" => false,
                "estimated" => true,
                _ => return Err(row.refuse("reading", "actual or estimated")),
            },
        })
    }

    /// The meters of a bill. It is of this plant where it bills all of its fiscal meters and no other.
    fn meter(&self, row: &Row<'_>) -> Result<String, Refusal> {
        if self.serials.is_empty() {
            return Err(row.refuse("meter", "a fiscal meter in config/plant.toml, with this serial number"));
        }
        let named: Vec<&str> = row.cell("meter").split('+').map(str::trim).collect();
        let is_ours = named.iter().all(|serial| self.serials.iter().any(|of| of.contains(*serial)));
        let is_all = self.serials.iter().all(|of| named.iter().any(|serial| of.contains(*serial)));
        if is_ours && is_all {
            return Ok(named.join("+"));
        }
        let of = |serials: &BTreeSet<String>| serials.iter().cloned().collect::<Vec<_>>().join(" or ");
        let known = self.serials.iter().map(of).collect::<Vec<_>>().join(" + ");
        Err(row.refuse(
            "meter",
            format!("{known}, the serial numbers of the fiscal meters; is it a bill of another site?"),
        ))
    }
}

fn not_below_zero(row: &Row<'_>, name: &str) -> Result<Option<i64>, Refusal> {
    let expected = "a number of 0 or more";
    match millionths(row, name, expected)? {
        Some(below) if below < 0 => Err(row.refuse(name, expected)),
        number => Ok(number),
    }
}

fn millionths(row: &Row<'_>, name: &str, expected: &str) -> Result<Option<i64>, Refusal> {
    let number = row.number(name, expected)?;
    number.map(|number| number.scale(1_000_000, 1, 1).ok_or_else(|| row.refuse(name, expected))).transpose()
}
