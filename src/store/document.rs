//! Texts that figures rest on: configuration, tariffs, factor sets. Kept by the hash of their bytes.

use super::Store;
use super::error::{On, StoreError};
use crate::closing::sha256;
use rusqlite::{OptionalExtension, params};

impl Store {
    /// Keeps a text and notes that it is in force under its path from now on; gives its SHA-256 in hexadecimal. A text
    /// that is in force already changes nothing.
    ///
    /// # Errors
    /// Where the store cannot be written.
    pub fn keep_document(&mut self, kind: &str, path: &str, text: &str) -> Result<String, StoreError> {
        let hash = sha256(text.as_bytes());
        if self.document_in_force(kind, path)?.as_ref() == Some(&hash) {
            return Ok(hash);
        }
        let all = self.begin()?;
        let revision = self.next_revision()?;
        all.execute("INSERT INTO document (hash, text) VALUES (?1, ?2) ON CONFLICT DO NOTHING", [&hash, text])
            .and_then(|_| {
                all.execute(
                    "INSERT INTO in_force (kind, path, revision, hash) VALUES (?1, ?2, ?3, ?4)",
                    params![kind, path, revision, hash],
                )
            })
            .on(&self.path)?;
        all.commit().on(&self.path)?;
        Ok(hash)
    }

    /// The hash of the text in force under a path.
    ///
    /// # Errors
    /// Where the store cannot be read.
    pub fn document_in_force(&self, kind: &str, path: &str) -> Result<Option<String>, StoreError> {
        self.facts
            .query_row(
                "SELECT hash FROM in_force WHERE kind = ?1 AND path = ?2 ORDER BY revision DESC LIMIT 1",
                [kind, path],
                |row| row.get(0),
            )
            .optional()
            .on(&self.path)
    }

    /// The text of a hash.
    ///
    /// # Errors
    /// Where the store cannot be read.
    pub fn document(&self, hash: &str) -> Result<Option<String>, StoreError> {
        self.facts
            .query_row("SELECT text FROM document WHERE hash = ?1", [hash], |row| row.get(0))
            .optional()
            .on(&self.path)
    }

    /// The texts of a kind that are in force, with their paths, in the order of these.
    ///
    /// # Errors
    /// Where the store cannot be read.
    pub fn documents(&self, kind: &str) -> Result<Vec<(String, String)>, StoreError> {
        let sql = "SELECT path, text FROM in_force JOIN document USING (hash) WHERE kind = ?1 AND revision = \
                   (SELECT max(revision) FROM in_force AS newer WHERE newer.kind = in_force.kind AND newer.path = in_force.path) \
                   ORDER BY path";
        let mut query = self.facts.prepare_cached(sql).on(&self.path)?;
        query.query_map([kind], |row| Ok((row.get(0)?, row.get(1)?))).and_then(Iterator::collect).on(&self.path)
    }
}
