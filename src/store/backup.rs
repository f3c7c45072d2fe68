//! A copy of the store that is consistent in itself, also while the agent runs.

use super::error::{On, StoreError};
use super::months::token;
use super::{Store, settle};
use rusqlite::backup::{Backup, StepResult};
use rusqlite::{Connection, OpenFlags};
use std::fs;
use std::path::{Path, PathBuf};

/// What a backup did.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Copied {
    /// Months of packed readings that were copied.
    pub months: usize,
    /// Months that had not changed since the backup before.
    pub unchanged: usize,
}

impl Store {
    /// Copies the store into the folder `to`, whose `store/` then is that of a plant folder. A folder that holds an
    /// earlier backup is brought up to date: months that have not changed are left as they are. Computed days are not
    /// copied.
    ///
    /// `facts.db` is copied first: readings that are packed in the meantime are then in both places, where they count
    /// once. Should a series be added in the meantime, it begins again, so that no block belongs to a series that the
    /// copy does not know. A copy gets its name when it is complete.
    ///
    /// # Errors
    /// Where the store cannot be read or the folder cannot be written; the files that were there before are still whole.
    pub fn backup(&self, to: &Path) -> Result<Copied, StoreError> {
        let into = to.join("store");
        fs::create_dir_all(&into).on(&into)?;
        let own = self.path.parent().map(Path::to_path_buf).unwrap_or_default();
        if into.canonicalize().on(&into)? == own.canonicalize().on(&own)? {
            return Err(StoreError::OntoItself { path: to.to_path_buf() });
        }
        loop {
            let known = self.series()?.len();
            copy(&self.facts, &self.path, &into.join("facts.db"))?;
            let copied = self.copy_months(&into)?;
            if self.series()?.len() == known {
                return Ok(copied);
            }
        }
    }

    fn copy_months(&self, into: &Path) -> Result<Copied, StoreError> {
        let mut copied = Copied::default();
        self.months.forget();
        for month in self.months.all()? {
            let path = self.months.path(month);
            let target = into.join(path.file_name().unwrap_or_default());
            if self.months.read(month, token)?.is_some_and(|now| token_of(&target).as_ref() == Some(&now)) {
                copied.unchanged += 1;
                continue;
            }
            self.months.read_file(month, |connection| copy(connection, &path, &target))?;
            copied.months += 1;
        }
        Ok(copied)
    }
}

/// The token of a month that was copied before; `None` where there is none that can be read.
fn token_of(path: &Path) -> Option<Vec<u8>> {
    let copy = Connection::open_with_flags(path, OpenFlags::SQLITE_OPEN_READ_ONLY).ok()?;
    token(&copy).ok()
}

/// Copies a file in one step: a copy in several would begin again at every commit of another program.
fn copy(from: &Connection, path: &Path, to: &Path) -> Result<(), StoreError> {
    let draft = to.with_extension("draft");
    if draft.exists() {
        fs::remove_file(&draft).on(&draft)?;
    }
    let mut target = Connection::open(&draft).on(&draft)?;
    settle(&target).on(&draft)?;
    let step = Backup::new(from, &mut target).and_then(|backup| backup.step(-1)).on(&draft)?;
    if !matches!(step, StepResult::Done) {
        return Err(StoreError::Busy { path: path.to_path_buf() });
    }
    target.close().map_err(|(_, fault)| fault).on(&draft)?;
    remove_log(to)?;
    fs::rename(&draft, to).on(to)
}

/// A log beside an earlier copy, left by whoever opened it, does not belong to the new one.
fn remove_log(copy: &Path) -> Result<(), StoreError> {
    for end in ["-wal", "-shm"] {
        let mut name = copy.as_os_str().to_owned();
        name.push(end);
        let log = PathBuf::from(name);
        if log.exists() {
            fs::remove_file(&log).on(&log)?;
        }
    }
    Ok(())
}
