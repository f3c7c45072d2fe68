//! Series by the numbers that the tables use.

use super::error::{On, StoreError};
use crate::readings::{Quantity, Series, Subject};
use rusqlite::{Connection, params};
use std::collections::BTreeMap;
use std::path::Path;

/// The series of a store. Numbers are only ever added.
#[derive(Debug, Default)]
pub(super) struct Names {
    numbers: BTreeMap<Series, i64>,
    series: BTreeMap<i64, Series>,
    last: i64,
}

impl Names {
    /// Reads the series that were added since the last time.
    pub(super) fn refresh(&mut self, facts: &Connection, path: &Path) -> Result<(), StoreError> {
        let mut query =
            facts.prepare_cached("SELECT id, subject, quantity FROM series WHERE id > ?1 ORDER BY id").on(path)?;
        let mut rows = query.query([self.last]).on(path)?;
        while let Some(row) = rows.next().on(path)? {
            let (id, subject, quantity) = <(i64, String, String)>::try_from(row).on(path)?;
            let (Some(subject), Some(quantity)) = (parse_subject(&subject), Quantity::parse(&quantity)) else {
                let what = format!("the series {quantity:?} of {subject:?} is of no known kind");
                return Err(StoreError::Strange { path: path.to_path_buf(), what });
            };
            let series = Series { subject, quantity };
            self.series.insert(id, series.clone());
            self.numbers.insert(series, id);
            self.last = id;
        }
        Ok(())
    }

    /// The number of a series; `None` where nothing was ever stored of it.
    pub(super) fn number(&self, series: &Series) -> Option<i64> {
        self.numbers.get(series).copied()
    }

    /// The number of a series, which is added if it is new. To be called in a transaction that holds the write lock.
    pub(super) fn add(&mut self, facts: &Connection, path: &Path, series: &Series) -> Result<i64, StoreError> {
        if let Some(id) = self.number(series) {
            return Ok(id);
        }
        self.refresh(facts, path)?;
        if let Some(id) = self.number(series) {
            return Ok(id);
        }
        facts
            .prepare_cached("INSERT INTO series (subject, quantity) VALUES (?1, ?2)")
            .and_then(|mut add| add.insert(params![series.subject.to_string(), series.quantity.to_string()]))
            .on(path)?;
        self.refresh(facts, path)?;
        Ok(self.last)
    }

    /// Forgets what was added: the transaction was given up.
    pub(super) fn forget(&mut self) {
        *self = Self::default();
    }

    /// All series, in order.
    pub(super) fn all(&self) -> impl Iterator<Item = (&Series, i64)> {
        self.numbers.iter().map(|(series, id)| (series, *id))
    }

    /// The numbers of a subject's series.
    pub(super) fn of(&self, subject: &Subject) -> Vec<i64> {
        self.numbers.iter().filter(|(series, _)| series.subject == *subject).map(|(_, id)| *id).collect()
    }

    /// The series of a number.
    pub(super) fn series(&self, number: i64) -> Option<&Series> {
        self.series.get(&number)
    }
}

/// Reads what `Subject` prints: `meter m1`, `press p1`, `station p1/s3`, `site`.
fn parse_subject(text: &str) -> Option<Subject> {
    let (kind, name) = text.split_once(' ').unwrap_or((text, ""));
    match (kind, name) {
        ("site", "") => Some(Subject::Site),
        (_, "") => None,
        ("meter", name) => Some(Subject::Meter(name.into())),
        ("press", name) => Some(Subject::Press(name.into())),
        ("station", name) => Some(Subject::Station(name.into())),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_subject_is_read_back_from_its_words() {
        let all = [
            Subject::Meter("m-1".into()),
            Subject::Press("p1".into()),
            Subject::Station("p1/s3".into()),
            Subject::Site,
        ];
        for subject in all {
            assert_eq!(parse_subject(&subject.to_string()), Some(subject));
        }
        for strange in ["", "meter", "lamp l1", "site x"] {
            assert_eq!(parse_subject(strange), None, "{strange:?}");
        }
    }
}
