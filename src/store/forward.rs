//! What was forwarded to the database: `store/forward.db`, beside the facts and none of them. A part is what stands for itself on a local
//! day: a series, the quarter hours, or a finding. What is due is worked out from it and from the facts, so that a crash between sending
//! and writing sends some lines once more, which replace themselves.

use super::Store;
use super::book::Book;
use super::error::{On, StoreError};
use crate::time::At;
use chrono::NaiveDate;
use rusqlite::{OptionalExtension, params};
use std::collections::BTreeMap;
use std::path::Path;

/// Refused lines that are kept; beyond them they are only counted.
const KEPT: i64 = 1_000;

/// Its file below `store/`.
const FILE: &str = "forward.db";

const TABLES: &str = "
CREATE TABLE IF NOT EXISTS target (one INTEGER PRIMARY KEY CHECK (one = 1), name TEXT NOT NULL, seen INTEGER NOT NULL) STRICT;
CREATE TABLE IF NOT EXISTS sent (
  day TEXT NOT NULL, part TEXT NOT NULL, revision INTEGER NOT NULL, until INTEGER NOT NULL, hash BLOB NOT NULL,
  PRIMARY KEY (day, part)) STRICT, WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS refused (
  day TEXT NOT NULL, part TEXT NOT NULL, at INTEGER NOT NULL, lines INTEGER NOT NULL, line TEXT NOT NULL, reason TEXT NOT NULL) STRICT;
CREATE INDEX IF NOT EXISTS refused_by_part ON refused (day, part);
CREATE TABLE IF NOT EXISTS standing (
  one INTEGER PRIMARY KEY CHECK (one = 1), taken INTEGER, fault TEXT, since INTEGER) STRICT;
";

/// How far a part was sent.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Sent {
    /// The revision of the facts.
    pub revision: i64,
    /// The instant up to which it was sent.
    pub until: At,
    /// What it was, by a hash of the sender's.
    pub hash: Vec<u8>,
}

/// A line that the database refused for good, with those that it stands for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RefusedLine {
    /// The part that it is of.
    pub part: String,
    /// The line.
    pub line: String,
    /// What the database said.
    pub reason: String,
    /// How many lines it stands for, itself among them.
    pub lines: i64,
}

/// How forwarding stands.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Standing {
    /// When lines were taken last.
    pub taken: Option<At>,
    /// What keeps them from being taken, and since when; `None` while they are.
    pub fault: Option<(String, At)>,
    /// Lines that were refused for good and not sent anew since.
    pub refused: i64,
    /// The last of them.
    pub example: Option<RefusedLine>,
}

/// The book of what was forwarded.
#[derive(Debug)]
pub struct ForwardBook(Book);

impl ForwardBook {
    /// Opens the book of a plant folder to write in it; it is made if need be.
    ///
    /// # Errors
    /// Where the file cannot be written or is damaged.
    pub fn open(plant: &Path) -> Result<Self, StoreError> {
        let book = Book::open(plant, FILE, TABLES)?;
        book.file.pragma_update(None, "synchronous", "NORMAL").on(&book.path)?;
        Ok(Self(book))
    }

    /// Opens the book to read; `None` where nothing was ever forwarded.
    ///
    /// # Errors
    /// Where the file cannot be read.
    pub fn look(plant: &Path) -> Result<Option<Self>, StoreError> {
        Ok(Book::look(plant, FILE)?.map(Self))
    }

    /// Says what is forwarded to. Another one than before is sent everything.
    ///
    /// # Errors
    /// Where the file cannot be written.
    pub fn begin(&mut self, target: &str) -> Result<(), StoreError> {
        let all = self.0.file.transaction().on(&self.0.path)?;
        let before: Option<String> =
            all.query_row("SELECT name FROM target", [], |row| row.get(0)).optional().on(&self.0.path)?;
        if before.as_deref() != Some(target) {
            all.execute_batch("DELETE FROM sent; DELETE FROM refused; DELETE FROM standing; DELETE FROM target;")
                .on(&self.0.path)?;
            all.execute("INSERT INTO target VALUES (1, ?1, 0)", [target]).on(&self.0.path)?;
        }
        all.commit().on(&self.0.path)
    }

    /// The revision of the facts up to which all readings were sent.
    ///
    /// # Errors
    /// Where the file cannot be read.
    pub fn seen(&self) -> Result<i64, StoreError> {
        self.0.file.query_row("SELECT coalesce(max(seen), 0) FROM target", [], |row| row.get(0)).on(&self.0.path)
    }

    /// Notes the revision up to which all readings were sent.
    ///
    /// # Errors
    /// Where the file cannot be written.
    pub fn see(&self, revision: i64) -> Result<(), StoreError> {
        self.0.file.execute("UPDATE target SET seen = ?1", [revision]).on(&self.0.path).map(drop)
    }

    /// How far each part of a day was sent.
    ///
    /// # Errors
    /// Where the file cannot be read.
    pub fn sent(&self, day: &str) -> Result<BTreeMap<String, Sent>, StoreError> {
        let mut query = self
            .0
            .file
            .prepare_cached("SELECT part, revision, until, hash FROM sent WHERE day = ?1")
            .on(&self.0.path)?;
        query
            .query_map([day], |row| {
                Ok((row.get(0)?, Sent { revision: row.get(1)?, until: At(row.get(2)?), hash: row.get(3)? }))
            })
            .and_then(Iterator::collect)
            .on(&self.0.path)
    }

    /// Notes how far parts of a day were sent, all or none.
    ///
    /// # Errors
    /// Where the file cannot be written.
    pub fn mark(&mut self, day: &str, parts: &[(String, Sent)]) -> Result<(), StoreError> {
        let all = self.0.file.transaction().on(&self.0.path)?;
        for (part, sent) in parts {
            all.prepare_cached("INSERT OR REPLACE INTO sent VALUES (?1, ?2, ?3, ?4, ?5)")
                .and_then(|mut put| put.execute(params![day, part, sent.revision, sent.until.0, sent.hash]))
                .on(&self.0.path)?;
        }
        all.commit().on(&self.0.path)
    }

    /// Forgets what was refused of a part, as it is sent anew.
    ///
    /// # Errors
    /// Where the file cannot be written.
    pub fn anew(&self, day: &str, part: &str) -> Result<(), StoreError> {
        self.0.file.execute("DELETE FROM refused WHERE day = ?1 AND part = ?2", [day, part]).on(&self.0.path).map(drop)
    }

    /// Keeps a line that was refused for good.
    ///
    /// # Errors
    /// Where the file cannot be written.
    pub fn refuse(&self, day: &str, refused: &RefusedLine, at: At) -> Result<(), StoreError> {
        let RefusedLine { part, line, reason, lines } = refused;
        let kept: i64 = self.0.file.query_row("SELECT count(*) FROM refused", [], |row| row.get(0)).on(&self.0.path)?;
        let line = if kept < KEPT { line } else { "" };
        let insert = "INSERT INTO refused VALUES (?1, ?2, ?3, ?4, ?5, ?6)";
        self.0.file.execute(insert, params![day, part, at.0, lines, line, reason]).on(&self.0.path).map(drop)
    }

    /// Notes that the database answers, and when it took lines where it did.
    ///
    /// # Errors
    /// Where the file cannot be written.
    pub fn reached(&self, taken: Option<At>) -> Result<(), StoreError> {
        let put = "INSERT INTO standing VALUES (1, ?1, NULL, NULL) \
                   ON CONFLICT DO UPDATE SET taken = coalesce(excluded.taken, taken), fault = NULL, since = NULL";
        self.0.file.execute(put, [taken.map(|at| at.0)]).on(&self.0.path).map(drop)
    }

    /// Notes what keeps lines from being taken.
    ///
    /// # Errors
    /// Where the file cannot be written.
    pub fn failed(&self, fault: &str, since: At) -> Result<(), StoreError> {
        let put = "INSERT INTO standing VALUES (1, NULL, ?1, ?2) \
                   ON CONFLICT DO UPDATE SET fault = excluded.fault, since = coalesce(since, excluded.since)";
        self.0.file.execute(put, params![fault, since.0]).on(&self.0.path).map(drop)
    }

    /// How forwarding stands.
    ///
    /// # Errors
    /// Where the file cannot be read.
    pub fn standing(&self) -> Result<Standing, StoreError> {
        let row = |row: &rusqlite::Row<'_>| {
            let (taken, fault, since): (Option<i64>, Option<String>, Option<i64>) = row.try_into()?;
            Ok((taken.map(At), fault.zip(since.map(At))))
        };
        let seen =
            self.0.file.query_row("SELECT taken, fault, since FROM standing", [], row).optional().on(&self.0.path)?;
        let (taken, fault) = seen.unwrap_or_default();
        let refused = "SELECT coalesce(sum(lines), 0) FROM refused";
        let refused = self.0.file.query_row(refused, [], |row| row.get(0)).on(&self.0.path)?;
        let last = "SELECT part, line, reason, lines FROM refused WHERE line <> '' ORDER BY rowid DESC LIMIT 1";
        let example = self.0.file.query_row(last, [], |row| {
            Ok(RefusedLine { part: row.get(0)?, line: row.get(1)?, reason: row.get(2)?, lines: row.get(3)? })
        });
        Ok(Standing { taken, fault, refused, example: example.optional().on(&self.0.path)? })
    }
}

impl Store {
    /// The local days of subjects at which something changed after a revision, by day and subject, with the revision of their last
    /// change. Whatever is forwarded by it is read afterwards, so that nothing is missed.
    ///
    /// # Errors
    /// Where the store cannot be read.
    pub fn touched_since(&self, revision: i64) -> Result<Vec<(NaiveDate, String, i64)>, StoreError> {
        let mut query = self
            .facts
            .prepare_cached("SELECT day, subject, revision FROM touched WHERE revision > ?1 ORDER BY day, subject")
            .on(&self.path)?;
        let rows: Vec<(String, String, i64)> =
            query.query_map([revision], |row| row.try_into()).and_then(Iterator::collect).on(&self.path)?;
        Ok(rows.into_iter().filter_map(|(day, subject, last)| Some((day.parse().ok()?, subject, last))).collect())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_sent_and_what_was_refused_is_known_after_a_restart_and_another_target_begins_anew() {
        let folder = tempfile::TempDir::new().expect("a folder");
        std::fs::create_dir(folder.path().join("store")).expect("a folder");
        assert!(ForwardBook::look(folder.path()).expect("no book").is_none());
        let mut book = ForwardBook::open(folder.path()).expect("a book");
        book.begin("a").expect("begun");
        let sent = Sent { revision: 7, until: At(9), hash: vec![1, 2] };
        book.mark("2026-03-29", &[("import of meter m1".into(), sent.clone())]).expect("noted");
        book.see(7).expect("noted");
        let line = |part: &str| RefusedLine { part: part.into(), line: "x".into(), reason: "no".into(), lines: 2 };
        book.refuse("2026-03-29", &line("a"), At(1)).expect("noted");
        book.refuse("2026-03-29", &line("b"), At(2)).expect("noted");
        book.failed("away", At(3)).expect("noted");
        book.failed("still away", At(4)).expect("noted");
        drop(book);
        let mut book = ForwardBook::open(folder.path()).expect("a book");
        book.begin("a").expect("begun already");
        assert_eq!(book.sent("2026-03-29").expect("read"), [("import of meter m1".into(), sent)].into());
        assert_eq!(book.seen().expect("read"), 7);
        let standing = book.standing().expect("read");
        assert_eq!((standing.fault, standing.refused), (Some(("still away".into(), At(3))), 4));
        assert_eq!(standing.example, Some(line("b")));
        book.anew("2026-03-29", "b").expect("noted");
        book.reached(Some(At(5))).expect("noted");
        book.reached(None).expect("noted");
        let standing = ForwardBook::look(folder.path()).expect("a book").expect("one").standing().expect("read");
        assert_eq!((standing.taken, standing.fault, standing.refused), (Some(At(5)), None, 2));
        book.begin("b").expect("begun anew");
        assert_eq!((book.seen().expect("read"), book.sent("2026-03-29").expect("read").len()), (0, 0));
        assert_eq!(book.standing().expect("read"), Standing::default());
    }
}
