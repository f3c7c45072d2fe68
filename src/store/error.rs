//! What can go wrong with a store, each in one sentence that says where, what, and what to do.

use crate::readings::Series;
use chrono::NaiveDate;
use rusqlite::ErrorCode;
use std::io;
use std::path::{Path, PathBuf};
use thiserror::Error;

/// Why a store could not be opened, read or written. Where writing failed, nothing of that call was stored.
#[derive(Debug, Error)]
pub enum StoreError {
    /// Nothing is there to be read.
    #[error("{}: there is no store here yet; `inkwatt run` or `inkwatt import` begins one", path.display())]
    Missing {
        /// Where it would be.
        path: PathBuf,
    },
    /// Another agent holds the folder.
    #[error("{}: another agent runs on this plant folder; stop it first", path.display())]
    Held {
        /// The lock file.
        path: PathBuf,
    },
    /// Locks and syncs cannot be relied on there.
    #[error("{}: lies on a network file system ({kind}), where a power cut or a second program can damage the store; keep the plant folder on a local disk", path.display())]
    NetworkDrive {
        /// The folder.
        path: PathBuf,
        /// The kind of file system.
        kind: String,
    },
    /// A newer program wrote it.
    #[error("{}: has format {found}, this program knows formats up to {known}; use the newer program that wrote it", path.display())]
    Newer {
        /// The file.
        path: PathBuf,
        /// Its format.
        found: i64,
        /// The newest known format.
        known: i64,
    },
    /// An older program wrote it, and it cannot be brought up to date now.
    #[error("{}: has format {found} and must be brought to format {known}, which only the agent or an import does while no other agent runs", path.display())]
    Older {
        /// The file.
        path: PathBuf,
        /// Its format.
        found: i64,
        /// The format that is needed.
        known: i64,
    },
    /// The user that runs this may not open it.
    #[error(
        "{}: this user may not open it: give the user that runs inkwatt the right to read it, and to write it for run, \
         import and record",
        path.display()
    )]
    Denied {
        /// The file or folder.
        path: PathBuf,
    },
    /// The last writer left a log that only who may write the folder can read in.
    #[error(
        "{}: what was written last still stands in its log, which only a user who may write the folder can read in; run \
         this as the user of the agent",
        path.display()
    )]
    Unsettled {
        /// The file.
        path: PathBuf,
    },
    /// The disk or file cannot be written.
    #[error("{}: cannot be written, the disk or the file is read-only; nothing was stored", path.display())]
    ReadOnly {
        /// The file.
        path: PathBuf,
    },
    /// No room is left.
    #[error("{}: the disk is full; nothing was stored; make room, then try again", path.display())]
    Full {
        /// The file.
        path: PathBuf,
    },
    /// The file is not what was written.
    #[error("{}: is damaged ({detail}); put back this file from the last backup and delete derived.db", path.display())]
    Damaged {
        /// The file.
        path: PathBuf,
        /// What SQLite found.
        detail: String,
    },
    /// A packed day of a series is not what was written.
    #[error("{}: {series} on {day}: {breach}; put back this file from the last backup and delete derived.db", path.display())]
    Segment {
        /// The file of the month.
        path: PathBuf,
        /// The series.
        series: Box<Series>,
        /// The UTC day.
        day: NaiveDate,
        /// What is wrong with it.
        breach: Breach,
    },
    /// Another program holds the file for too long.
    #[error("{}: another program has held it for longer than 5 s; try again", path.display())]
    Busy {
        /// The file.
        path: PathBuf,
    },
    /// A backup of the store into its own folder.
    #[error(
        "{}: this is the plant folder itself, and a copy of the store onto itself is none; name another folder, best on \
         another disk",
        path.display()
    )]
    OntoItself {
        /// The folder that was named.
        path: PathBuf,
    },
    /// An instant that no plant has seen.
    #[error(
        "{series}: the instant of a reading is {millis} ms since 1970, expected one between the years 1970 and 2200; nothing was stored"
    )]
    Instant {
        /// The series.
        series: Box<Series>,
        /// The instant.
        millis: i64,
    },
    /// What is stored is not understood.
    #[error("{}: {what}; was it changed by another program?", path.display())]
    Strange {
        /// The file.
        path: PathBuf,
        /// What was found.
        what: String,
    },
    /// The file system refused.
    #[error("{}: {source}", path.display())]
    Files {
        /// The file or folder.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// SQLite refused for a reason of its own.
    #[error("{}: {source}", path.display())]
    Sqlite {
        /// The file.
        path: PathBuf,
        /// Why.
        source: rusqlite::Error,
    },
}

/// What is wrong with a packed block of readings.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum Breach {
    /// It ends too soon.
    #[error("the block of readings ends too soon")]
    Short,
    /// Its first bytes are not those of a block.
    #[error("the bytes are not a block of readings")]
    Magic,
    /// A newer program packed it.
    #[error("the block of readings has version {0}, this program knows version 1")]
    Version(u8),
    /// The checksum differs.
    #[error("the checksum of the block of readings is wrong")]
    Checksum,
    /// More values than a block may hold.
    #[error("the block of readings claims {0} values, at most 131072 are allowed")]
    Count(u64),
    /// The parts contradict each other.
    #[error("the parts of the block of readings do not fit together")]
    Parts,
}

impl StoreError {
    /// What a failure of the file system means for a file.
    pub(super) fn files(path: &Path, source: io::Error) -> Self {
        let path = path.to_path_buf();
        match source.kind() {
            io::ErrorKind::ReadOnlyFilesystem => Self::ReadOnly { path },
            io::ErrorKind::PermissionDenied => Self::Denied { path },
            io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => Self::Full { path },
            _ => Self::Files { path, source },
        }
    }

    /// What a failure of SQLite means for a file.
    pub(super) fn sqlite(path: &Path, source: rusqlite::Error) -> Self {
        let path = path.to_path_buf();
        match source.sqlite_error_code() {
            Some(ErrorCode::ReadOnly) => Self::ReadOnly { path },
            // SQLite says no more than that it cannot open a file; whoever opens one has looked that it is there.
            Some(ErrorCode::PermissionDenied | ErrorCode::CannotOpen) => Self::Denied { path },
            Some(ErrorCode::DiskFull) => Self::Full { path },
            Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase) => {
                Self::Damaged { path, detail: source.to_string() }
            }
            Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => Self::Busy { path },
            _ => Self::Sqlite { path, source },
        }
    }
}

/// Names the file in an error of SQLite or of the file system.
pub(super) trait On<T> {
    /// The result, its error told of that file.
    fn on(self, path: &Path) -> Result<T, StoreError>;
}

impl<T> On<T> for rusqlite::Result<T> {
    fn on(self, path: &Path) -> Result<T, StoreError> {
        self.map_err(|source| StoreError::sqlite(path, source))
    }
}

impl<T> On<T> for io::Result<T> {
    fn on(self, path: &Path) -> Result<T, StoreError> {
        self.map_err(|source| StoreError::files(path, source))
    }
}
