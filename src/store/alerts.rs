//! What each channel was told: `store/alerts.db`, beside the facts and none of them. What is due is worked out from it and from the
//! findings, so that a crash between sending and writing sends an alert once more, with the same name, and never loses one.

use super::book::Book;
use super::error::{On, StoreError};
use crate::time::{At, HOUR};
use crate::watch::{Outlook, Told, Trial};
use rusqlite::params;
use std::path::Path;

/// How long sent alerts are counted.
const COUNTED: i64 = 48 * HOUR;

/// Its file below `store/`.
const FILE: &str = "alerts.db";

const TABLES: &str = "
CREATE TABLE IF NOT EXISTS channel (name TEXT PRIMARY KEY, since INTEGER NOT NULL) STRICT;
CREATE TABLE IF NOT EXISTS told (
  channel TEXT NOT NULL, finding TEXT NOT NULL, revision INTEGER NOT NULL, at INTEGER NOT NULL,
  PRIMARY KEY (channel, finding)) STRICT;
CREATE TABLE IF NOT EXISTS failed (
  channel TEXT NOT NULL, finding TEXT NOT NULL, tries INTEGER NOT NULL, next INTEGER NOT NULL, fault TEXT NOT NULL,
  PRIMARY KEY (channel, finding)) STRICT;
CREATE TABLE IF NOT EXISTS sent (channel TEXT NOT NULL, at INTEGER NOT NULL) STRICT;
CREATE INDEX IF NOT EXISTS sent_by_time ON sent (channel, at);
";

/// The book of what was told to whom.
#[derive(Debug)]
pub struct AlertBook(Book);

impl AlertBook {
    /// Opens the book of a plant folder to write in it; it is made if need be.
    ///
    /// # Errors
    /// Where the file cannot be written or is damaged.
    pub fn open(plant: &Path) -> Result<Self, StoreError> {
        Book::open(plant, FILE, TABLES).map(Self)
    }

    /// Opens the book to read; `None` where nobody was ever told anything.
    ///
    /// # Errors
    /// Where the file cannot be read.
    pub fn look(plant: &Path) -> Result<Option<Self>, StoreError> {
        Ok(Book::look(plant, FILE)?.map(Self))
    }

    /// Notes since when a channel is one, where that is not known yet.
    ///
    /// # Errors
    /// Where the file cannot be written.
    pub fn begin(&self, channel: &str, now: At) -> Result<(), StoreError> {
        let insert = "INSERT INTO channel VALUES (?1, ?2) ON CONFLICT DO NOTHING";
        self.0.file.execute(insert, params![channel, now.0]).on(&self.0.path).map(drop)
    }

    /// What a channel was told. What it was sent counts from `midnight` on.
    ///
    /// # Errors
    /// Where the file cannot be read.
    pub fn outlook(&self, channel: &str, midnight: At) -> Result<Outlook, StoreError> {
        let since = "SELECT coalesce(max(since), 0) FROM channel WHERE name = ?1";
        let since = self.0.file.query_row(since, [channel], |row| row.get(0)).on(&self.0.path)?;
        let today = "SELECT count(*) FROM sent WHERE channel = ?1 AND at >= ?2";
        let today: i64 =
            self.0.file.query_row(today, params![channel, midnight.0], |row| row.get(0)).on(&self.0.path)?;
        let told = self.by_finding("SELECT finding, revision, at FROM told WHERE channel = ?1", channel, |row| {
            Ok(Told { revision: row.get(1)?, at: At(row.get(2)?) })
        })?;
        let failed =
            self.by_finding("SELECT finding, tries, next, fault FROM failed WHERE channel = ?1", channel, |row| {
                Ok(Trial { tries: row.get(1)?, next: At(row.get(2)?), fault: row.get(3)? })
            })?;
        Ok(Outlook { since: At(since), told, failed, today: today as usize })
    }

    fn by_finding<T>(
        &self,
        query: &str,
        channel: &str,
        read: impl Fn(&rusqlite::Row<'_>) -> rusqlite::Result<T>,
    ) -> Result<std::collections::BTreeMap<String, T>, StoreError> {
        let mut query = self.0.file.prepare_cached(query).on(&self.0.path)?;
        query.query_map([channel], |row| Ok((row.get(0)?, read(row)?))).and_then(Iterator::collect).on(&self.0.path)
    }

    /// Notes that a channel was told of a finding in a wording.
    ///
    /// # Errors
    /// Where the file cannot be written: then nothing of it is noted.
    pub fn told(&mut self, channel: &str, finding: &str, told: Told) -> Result<(), StoreError> {
        let all = self.0.file.transaction().on(&self.0.path)?;
        all.execute(
            "INSERT OR REPLACE INTO told VALUES (?1, ?2, ?3, ?4)",
            params![channel, finding, told.revision, told.at.0],
        )
        .on(&self.0.path)?;
        all.execute("DELETE FROM failed WHERE channel = ?1 AND finding = ?2", [channel, finding]).on(&self.0.path)?;
        all.execute("INSERT INTO sent VALUES (?1, ?2)", params![channel, told.at.0]).on(&self.0.path)?;
        all.execute("DELETE FROM sent WHERE at < ?1", [told.at.0 - COUNTED]).on(&self.0.path)?;
        all.commit().on(&self.0.path)
    }

    /// Notes that a channel could not be told of a finding.
    ///
    /// # Errors
    /// Where the file cannot be written.
    pub fn failed(&self, channel: &str, finding: &str, trial: &Trial) -> Result<(), StoreError> {
        let insert = "INSERT OR REPLACE INTO failed VALUES (?1, ?2, ?3, ?4, ?5)";
        self.0
            .file
            .execute(insert, params![channel, finding, trial.tries, trial.next.0, trial.fault])
            .on(&self.0.path)
            .map(drop)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_told_and_what_failed_is_known_after_a_restart() {
        let folder = tempfile::TempDir::new().expect("a folder");
        std::fs::create_dir(folder.path().join("store")).expect("a folder");
        assert!(AlertBook::look(folder.path()).expect("no book").is_none());
        let day = 24 * HOUR;
        let mut book = AlertBook::open(folder.path()).expect("a book");
        book.begin("a", At(5)).expect("begun");
        book.begin("a", At(9)).expect("begun already");
        let trial = Trial::after(None, At(day), "refused".into());
        book.failed("a", "x", &trial).expect("noted");
        book.failed("a", "y", &trial).expect("noted");
        book.told("a", "x", Told { revision: 2, at: At(3 * day) }).expect("noted");
        drop(book);
        let book = AlertBook::look(folder.path()).expect("a book").expect("one");
        let seen = book.outlook("a", At(3 * day)).expect("read");
        assert_eq!((seen.since, seen.today), (At(5), 1));
        assert_eq!(seen.told, [("x".into(), Told { revision: 2, at: At(3 * day) })].into());
        assert_eq!(seen.failed, [("y".into(), trial)].into());
        assert_eq!(book.outlook("a", At(4 * day)).expect("read").today, 0);
        assert_eq!(book.outlook("b", At(0)).expect("read"), Outlook::default());
    }
}
