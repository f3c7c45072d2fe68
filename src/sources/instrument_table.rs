//! Tables of certificates and contracts: one instrument a row.

use crate::plant::Ratio;
use crate::readings::{Fate, Instrument, InstrumentKind};
use crate::sources::csv_table::Form;
use crate::sources::fixed_table::{FixedTable, Row};
use crate::sources::{CsvMapping, CsvRows, Number, Refusal};
use crate::units::{Decimal, Energy};

/// The columns of a table of instruments. Those after `fate` may be left out.
pub const INSTRUMENT_COLUMNS: [&str; 15] = [
    "id",
    "mwh",
    "from",
    "to",
    "market",
    "source",
    "fate",
    "kind",
    "kg_per_kwh",
    "cancelled_on",
    "beneficiary",
    "own_site",
    "bundled",
    "carries_rate",
    "only_claim",
];

impl CsvMapping {
    /// The mapping of a table of instruments, whose columns are the same everywhere.
    pub fn instruments(separator: u8) -> Self {
        Self::fixed("certificates", separator, CsvRows::Instruments)
    }
}

/// A table of instruments.
#[derive(Clone, Debug)]
pub(super) struct InstrumentTable(FixedTable);

/// Columns that every table has.
const NEEDED: usize = 7;

impl InstrumentTable {
    pub(super) fn new(header: &[&str]) -> Result<Self, Refusal> {
        FixedTable::new(&INSTRUMENT_COLUMNS, NEEDED, header).map(Self)
    }

    /// The instrument of a row.
    pub(super) fn read(&self, form: &Form, cells: &[&str]) -> Result<Instrument, Refusal> {
        let row = self.0.row(form, cells);
        let (from, to) = row.days("generation")?;
        Ok(Instrument {
            id: row.text("id")?,
            kind: match row.cell("kind") {
                "" | "certificate" => InstrumentKind::Certificate,
                "contract" => InstrumentKind::Contract,
                _ => return Err(row.refuse("kind", "certificate or contract")),
            },
            energy: row.energy()?,
            from,
            to,
            market: row.text("market")?,
            source: row.text("source")?,
            factor: row.factor()?,
            fate: row.fate()?,
            own_site: row.flag("own_site")?.unwrap_or(false),
            bundled: row.flag("bundled")?,
            carries_rate: row.flag("carries_rate")?,
            only_claim: row.flag("only_claim")?,
        })
    }
}

impl Row<'_> {
    /// MWh are a thousand million milliwatt-hours each.
    fn energy(&self) -> Result<Energy, Refusal> {
        const MILLIWATT_HOURS: Ratio = Ratio { num: 1_000_000_000, den: 1 };
        let count = |text: &str| {
            let number = Number::parse(text).and_then(|number| number.count(MILLIWATT_HOURS));
            number.filter(|mwh| *mwh > 0).ok_or_else(|| "MWh above 0".to_owned())
        };
        let column = self.column("mwh").ok_or_else(|| self.refuse("mwh", "a column"))?;
        let mwh = self.form.count(column, self.cells, count)?;
        mwh.map(Energy::from_mwh).ok_or_else(|| self.refuse("mwh", "MWh above 0"))
    }

    /// What most certificates are bought for is nothing emitted; another rate has to be said.
    fn factor(&self) -> Result<Decimal, Refusal> {
        const MOST: f64 = 3.0;
        let text = self.cell("kg_per_kwh");
        if text.is_empty() {
            return Ok(Decimal::whole(0));
        }
        let expected = "kg for a kWh, 0 to 3; is it in g/kWh or lb/MWh?";
        let number = self.form.exact(text).filter(|factor| (0.0..=MOST).contains(&factor.to_f64()));
        number.ok_or_else(|| self.refuse("kg_per_kwh", expected))
    }

    fn fate(&self) -> Result<Fate, Refusal> {
        match self.cell("fate") {
            "held" => Ok(Fate::Held),
            "sold" => Ok(Fate::Sold),
            "cancelled" => {
                let on =
                    self.day("cancelled_on")?.ok_or_else(|| self.refuse("cancelled_on", "the day of cancellation"))?;
                Ok(Fate::Cancelled { on, beneficiary: self.cell("beneficiary").to_owned() })
            }
            _ => Err(self.refuse("fate", "cancelled, held or sold")),
        }
    }
}
