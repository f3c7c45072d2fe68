//! Monthly bills in the place of a meter.

use crate::cli::{Failure, unopened};
use crate::time::Month;
use crate::units::{Decimal, Energy};
use crate::verify::{Aside, Day};
use anyhow::{Context, anyhow, ensure};
use chrono::NaiveDate;
use std::collections::BTreeMap;
use std::fs::File;
use std::path::Path;

/// What was billed, by month.
pub struct Bills {
    file: String,
    months: BTreeMap<Month, Energy>,
}

impl Bills {
    /// Reads a CSV file with the columns month and kwh.
    pub fn read(file: Option<&Path>) -> Result<Self, Failure> {
        let file =
            file.ok_or_else(|| Failure::unusable(anyhow!("--bills is missing: a CSV file with month and kwh")))?;
        let opened = File::open(file).map_err(|error| unopened(file, &error))?;
        let file = file.display().to_string();
        Ok(Self { months: months(&file, opened).map_err(Failure::Unusable)?, file })
    }

    /// The first and the last day billed, up to a conversion that began on a day.
    pub fn extent(&self, began: Option<NaiveDate>) -> Result<(NaiveDate, NaiveDate), Failure> {
        let last = |month: &Month| month.last();
        let mut whole = self.months.keys().filter(|month| began.is_none_or(|began| last(month) < began));
        let first = whole.next().ok_or_else(|| {
            let before = began.map_or(String::new(), |began| format!(" before the conversion, which began on {began}"));
            Failure::unusable(anyhow!("{} has no month{before}", self.file))
        })?;
        Ok((first.first(), last(whole.next_back().unwrap_or(first))))
    }

    /// The days of billed months with the bill's energy shared evenly over them.
    pub fn days(&self, days: &[Day]) -> Vec<Day> {
        let mut all = Vec::new();
        for month in days.chunk_by(|a, b| Month::of(a.date) == Month::of(b.date)) {
            let whole = month.len() == Month::of(month[0].date).days().count();
            let Some(energy) = self.months.get(&Month::of(month[0].date)).filter(|_| whole) else { continue };
            let parts = energy.split(&vec![1; month.len()]).unwrap_or_default();
            all.extend(month.iter().zip(parts).map(|(day, energy)| {
                let aside = day.aside.filter(|aside| *aside != Aside::Lost);
                Day { energy, aside, ..day.clone() }
            }));
        }
        all
    }
}

fn months(shown: &str, opened: File) -> anyhow::Result<BTreeMap<Month, Energy>> {
    let mut reader = csv::Reader::from_reader(opened);
    let mut bills = BTreeMap::new();
    for (line, row) in (2..).zip(reader.records()) {
        let row = row.with_context(|| shown.to_owned())?;
        let month = row.get(0).and_then(|text| Month::parse(text.trim()));
        let kwh = row.get(1).and_then(|text| Decimal::parse(text.trim())?.scale(1_000_000, 1, 1));
        let (month, mwh) = month.zip(kwh).ok_or_else(|| {
            anyhow!(
                "{shown}, line {line}: expected a month such as 2025-01 and its kWh, found {:?}",
                row.iter().collect::<Vec<_>>().join(",")
            )
        })?;
        let is_new = bills.insert(month, Energy::from_mwh(mwh)).is_none();
        ensure!(is_new, "{shown}, line {line}: {month} stands twice; add up what was billed in a month");
    }
    Ok(bills)
}
