//! Tables of certificates and contracts: one instrument a row.

use crate::plant::Ratio;
use crate::readings::{Fate, Instrument, InstrumentKind};
use crate::sources::csv_table::{Column, Form};
use crate::sources::{CsvMapping, CsvRows, Number, Refusal};
use crate::units::{Decimal, Energy};
use chrono::NaiveDate;

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
        Self {
            name: "certificates".into(),
            separator,
            // Where a comma parts numbers, something else parts columns.
            decimal: if separator == b';' { ',' } else { '.' },
            time: "from".into(),
            format: "%Y-%m-%d".into(),
            clock: super::ClockRule::StandardTime,
            rows: CsvRows::Instruments,
        }
    }
}

/// The columns of a table, found in its header.
#[derive(Clone, Debug)]
pub(super) struct InstrumentTable([Option<Column>; INSTRUMENT_COLUMNS.len()]);

/// Columns that every table has.
const NEEDED: usize = 7;

impl InstrumentTable {
    pub(super) fn new(header: &[&str]) -> Result<Self, Refusal> {
        if let Some(unknown) = header.iter().find(|name| !INSTRUMENT_COLUMNS.contains(&name.trim())) {
            let expected = format!("columns of these names: {}", INSTRUMENT_COLUMNS.join(", "));
            return Err(Refusal::new("header", unknown, expected));
        }
        let mut columns = [const { None }; INSTRUMENT_COLUMNS.len()];
        for (k, name) in INSTRUMENT_COLUMNS.into_iter().enumerate() {
            if k < NEEDED || header.iter().any(|cell| cell.trim() == name) {
                columns[k] = Some(Column::find(header, name)?);
            }
        }
        Ok(Self(columns))
    }

    /// The instrument of a row.
    pub(super) fn read(&self, form: &Form, cells: &[&str]) -> Result<Instrument, Refusal> {
        let row = Row { columns: &self.0, form, cells };
        let [from, to] = [row.day("from")?, row.day("to")?];
        let from = from.ok_or_else(|| row.refuse("from", "the first day of generation, such as 2026-01-01"))?;
        let to = to.ok_or_else(|| row.refuse("to", "the last day of generation, such as 2026-12-31"))?;
        if to < from {
            return Err(row.refuse("to", format!("a day from {from} on")));
        }
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

/// A row of a table of instruments.
struct Row<'a> {
    columns: &'a [Option<Column>; INSTRUMENT_COLUMNS.len()],
    form: &'a Form,
    cells: &'a [&'a str],
}

impl<'a> Row<'a> {
    fn column(&self, name: &str) -> Option<&'a Column> {
        let place = INSTRUMENT_COLUMNS.iter().position(|other| *other == name)?;
        self.columns[place].as_ref()
    }

    fn cell(&self, name: &str) -> &'a str {
        self.column(name).map_or("", |column| column.cell(self.cells))
    }

    fn refuse(&self, name: &str, expected: impl Into<String>) -> Refusal {
        Refusal::new(name, self.cell(name), expected)
    }

    fn text(&self, name: &str) -> Result<String, Refusal> {
        match self.cell(name) {
            "" => Err(self.refuse(name, "a text")),
            text => Ok(text.to_owned()),
        }
    }

    fn day(&self, name: &str) -> Result<Option<NaiveDate>, Refusal> {
        match self.cell(name) {
            "" => Ok(None),
            text => text.parse().map(Some).map_err(|_| self.refuse(name, "a day, written 2026-03-31")),
        }
    }

    /// Unknown is not no.
    fn flag(&self, name: &str) -> Result<Option<bool>, Refusal> {
        match self.cell(name) {
            "" => Ok(None),
            "yes" => Ok(Some(true)),
            "no" => Ok(Some(false)),
            _ => Err(self.refuse(name, "yes, no, or nothing where it is not known")),
        }
    }

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
