//! Books beside the facts and none of them: what was told and sent to whom.

use super::error::{On, StoreError};
use rusqlite::{Connection, OpenFlags};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// How long one who writes waits for another.
const PATIENCE: Duration = Duration::from_secs(5);

/// The file of a book.
#[derive(Debug)]
pub(super) struct Book {
    pub(super) path: PathBuf,
    pub(super) file: Connection,
}

impl Book {
    /// Opens a book of a plant folder to write in it; it is made with these tables if need be.
    pub(super) fn open(plant: &Path, name: &str, tables: &str) -> Result<Self, StoreError> {
        let path = plant.join("store").join(name);
        let file = Connection::open(&path).on(&path)?;
        file.busy_timeout(PATIENCE).on(&path)?;
        file.pragma_update(None, "journal_mode", "WAL").on(&path)?;
        file.execute_batch(tables).on(&path)?;
        Ok(Self { path, file })
    }

    /// Opens a book to read; `None` where nothing was ever written in it.
    pub(super) fn look(plant: &Path, name: &str) -> Result<Option<Self>, StoreError> {
        let path = plant.join("store").join(name);
        if !path.exists() {
            return Ok(None);
        }
        let file = Connection::open_with_flags(&path, OpenFlags::SQLITE_OPEN_READ_ONLY).on(&path)?;
        file.busy_timeout(PATIENCE).on(&path)?;
        Ok(Some(Self { path, file }))
    }
}
