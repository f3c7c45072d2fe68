//! Facts, segments and the derived cache on disk.
//!
//! A plant folder's `store/` holds `facts.db` (every statement, as it came), `segments-YYYY-MM.db` (readings packed by
//! the day) and `derived.db` (computed days, disposable). Whoever writes anything holds the write lock of `facts.db`;
//! readers take what is in `facts.db` first and the segments after, so that a row on its way from one to the other is
//! seen at least once, and unite both by key.

mod alerts;
mod backup;
mod bill_paper;
mod block;
mod book;
mod bulk;
mod bytes;
mod closed;
mod commit;
mod corrections;
mod derived;
mod document;
mod error;
mod events;
mod forward;
mod finding_paper;
mod known;
mod heard;
mod ledger;
mod months;
mod observed;
mod names;
mod nearest;
mod pack;
mod place;
mod read;
mod paper;
mod said;
mod schema;
mod seal;
mod segment;
mod stamp;
mod sums;
mod touched;
mod watched;

pub use alerts::AlertBook;
pub use backup::Copied;
pub use closed::acting;
pub use commit::Counts;
pub use corrections::Corrected;
pub use error::{Breach, StoreError};
pub use forward::{ForwardBook, RefusedLine, Sent, Standing};
pub use place::refuse_network;
pub use read::Contested;
pub use stamp::Stamp;

use crate::readings::Series;
use crate::time::Zone;
use error::On;
use names::Names;
use rusqlite::{Connection, OpenFlags};
use std::cell::RefCell;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// How long a writer waits for another.
const PATIENCE: Duration = Duration::from_secs(5);

/// What a store is opened for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Access {
    /// By the agent: writes, packs and migrates; there is one at a time.
    Agent,
    /// By a command that writes a little, in small transactions, beside the agent.
    Command,
    /// To read only. The disposable cache may still be written.
    Read,
}

/// The store of one plant folder.
///
/// Errors name the file and say what to do; where a call fails that writes, nothing of its last transaction is stored.
#[derive(Debug)]
pub struct Store {
    path: PathBuf,
    facts: Connection,
    zone: Zone,
    access: Access,
    names: RefCell<Names>,
    known: RefCell<known::Known>,
    months: months::Months,
    derived: RefCell<derived::Derived>,
    _lock: Option<place::Lock>,
}

impl Store {
    /// Opens the store of a plant folder whose days are those of `zone`; for writing, it is created if need be.
    ///
    /// # Errors
    /// A folder that another agent holds or that lies on a network, a file of a newer format, a disk that cannot be
    /// written, a damaged file.
    pub fn open(plant: &Path, zone: Zone, access: Access) -> Result<Self, StoreError> {
        let folder = plant.join("store");
        let path = folder.join("facts.db");
        let (lock, facts) = match access {
            Access::Read => (None, open_to_read(&path)?),
            Access::Agent | Access::Command => open_to_write(&folder, &path, access)?,
        };
        let store = Self {
            months: months::Months::new(&folder),
            derived: RefCell::new(derived::Derived::new(&folder)),
            names: RefCell::default(),
            known: RefCell::default(),
            path,
            facts,
            zone,
            access,
            _lock: lock,
        };
        store.names.borrow_mut().refresh(&store.facts, &store.path)?;
        Ok(store)
    }

    /// Every series of which something is stored, in order.
    ///
    /// # Errors
    /// Where the store cannot be read.
    pub fn series(&self) -> Result<Vec<Series>, StoreError> {
        let mut names = self.names.borrow_mut();
        names.refresh(&self.facts, &self.path)?;
        Ok(names.all().map(|(series, _)| series.clone()).collect())
    }

    /// A number that changes whenever another process or handle has written facts.
    ///
    /// # Errors
    /// Where the store cannot be read.
    pub fn data_version(&self) -> Result<i64, StoreError> {
        let mut query = self.facts.prepare_cached("PRAGMA data_version").on(&self.path)?;
        query.query_row([], |row| row.get(0)).on(&self.path)
    }

    /// The plant's zone, by whose days changes are kept.
    pub const fn zone(&self) -> Zone {
        self.zone
    }
}

fn open_to_read(path: &Path) -> Result<Connection, StoreError> {
    if !path.try_exists().on(path)? {
        return Err(StoreError::Missing { path: path.to_path_buf() });
    }
    // What nobody may read is told apart from what SQLite cannot open for want of its own files beside it.
    fs::File::open(path).on(path)?;
    let facts = Connection::open_with_flags(path, OpenFlags::SQLITE_OPEN_READ_ONLY).on(path)?;
    settle(&facts).on(path)?;
    match schema::prepare(&facts, path, false) {
        Err(StoreError::Denied { .. } | StoreError::ReadOnly { .. }) => open_at_rest(path),
        prepared => prepared.map(|()| facts),
    }
}

/// Opens the facts where their folder cannot be written, so that SQLite cannot make the files by which readers and
/// writers agree: it need not, as long as nobody writes (<https://sqlite.org/uri.html>, `immutable`). A writer, and one
/// that was killed, leaves a log.
fn open_at_rest(path: &Path) -> Result<Connection, StoreError> {
    let log = path.with_file_name("facts.db-wal");
    if fs::metadata(&log).is_ok_and(|log| log.len() > 0) {
        return Err(StoreError::Unsettled { path: path.to_path_buf() });
    }
    let name: String = path.as_os_str().as_encoded_bytes().iter().map(|byte| format!("%{byte:02x}")).collect();
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_URI;
    let facts = Connection::open_with_flags(format!("file:{name}?immutable=1"), flags).on(path)?;
    settle(&facts).on(path)?;
    schema::prepare(&facts, path, false)?;
    Ok(facts)
}

/// The agent keeps its lock. A command takes it for the moment of a migration only, where no agent runs.
fn open_to_write(folder: &Path, path: &Path, access: Access) -> Result<(Option<place::Lock>, Connection), StoreError> {
    fs::create_dir_all(folder).on(folder)?;
    place::refuse_network(folder)?;
    let lock = match access {
        Access::Agent => Some(place::lock(folder)?),
        _ => place::lock(folder).ok(),
    };
    let facts = Connection::open(path).on(path)?;
    settle(&facts).on(path)?;
    facts.pragma_update(None, "journal_mode", "wal").on(path)?;
    facts.pragma_update(None, "synchronous", "full").on(path)?;
    schema::prepare(&facts, path, lock.is_some())?;
    Ok((lock.filter(|_| access == Access::Agent), facts))
}

/// What every connection needs.
fn settle(connection: &Connection) -> rusqlite::Result<()> {
    connection.busy_timeout(PATIENCE)?;
    connection.set_prepared_statement_cache_capacity(64);
    connection.pragma_update(None, "foreign_keys", true)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::readings::{Quantity, Rank, Reading, Subject};
    use crate::time::{At, Period};
    use tempfile::TempDir;

    fn opened() -> (TempDir, Store) {
        let folder = TempDir::new().expect("a folder");
        let zone = Zone::parse("Europe/London").expect("a zone");
        let store = Store::open(folder.path(), zone, Access::Agent).expect("a store");
        (folder, store)
    }

    fn readings(from: i64, n: i64) -> Vec<(Series, Reading)> {
        let series = Series::new(Subject::Meter("m1".into()), Quantity::Import);
        (from..from + n).map(|k| (series.clone(), Reading { at: At(k * 1_000), count: k })).collect()
    }

    fn stored(store: &Store) -> usize {
        let period = Period::new(At(0), At(1_000_000_000));
        store.readings(&readings(0, 1)[0].0, period, false).expect("readings").value.len()
    }

    #[test]
    fn looking_for_something_to_pack_costs_no_pass_over_what_is_not() {
        let (_folder, mut store) = opened();
        store.commit("test", Rank::Live, &readings(0, 100), &[], None).expect("committed");
        let spans = store.known.borrow().clone();
        assert!(!store.seal(At(100_000)).expect("nothing is old enough"));
        assert_eq!(*store.known.borrow(), spans);
        assert!(store.seal(At(100_000_000)).expect("packed"));
        assert_ne!(*store.known.borrow(), spans);
        assert_eq!(stored(&store), 100);
    }

    /// The reader has listed the months, of which there was none, before the agent packs the first.
    #[test]
    fn a_reader_beside_the_agent_misses_nothing_when_the_first_file_of_a_month_is_made() {
        let (folder, mut store) = opened();
        store.commit("test", Rank::Live, &readings(0, 100), &[], None).expect("committed");
        let reader = Store::open(folder.path(), store.zone, Access::Read).expect("a reader");
        assert_eq!((stored(&reader), stored(&reader)), (100, 100));
        assert!(store.seal(At(100_000_000)).expect("packed"));
        assert_eq!(stored(&reader), 100);
    }

    #[test]
    fn a_full_disk_is_said_so_and_what_was_stored_stays() {
        let (_folder, mut store) = opened();
        store.commit("test", Rank::Live, &readings(0, 100), &[], None).expect("committed");
        // The seam: SQLite takes this many pages for all that the disk holds.
        store.facts.pragma_update(None, "max_page_count", 40).expect("set");
        let full = store.commit("test", Rank::Live, &readings(100, 100_000), &[], None).expect_err("full");
        assert_eq!(
            full.to_string(),
            format!("{}: the disk is full; nothing was stored; make room, then try again", store.path.display())
        );
        assert_eq!(stored(&store), 100);
        store.facts.pragma_update(None, "max_page_count", 100_000).expect("set");
        store.commit("test", Rank::Live, &readings(100, 1_000), &[], None).expect("committed");
        assert_eq!(stored(&store), 1_100);
    }

    /// Whoever runs the tests may be allowed everything, so that what the system answers is put in its place.
    #[test]
    fn what_may_not_be_opened_is_neither_absent_nor_a_disk_that_cannot_be_written() {
        let path = Path::new("store/facts.db");
        let told = "store/facts.db: this user may not open it: give the user that runs inkwatt the right to read it, and \
                    to write it for run, import and record";
        let system = StoreError::files(path, std::io::ErrorKind::PermissionDenied.into());
        let sqlite =
            |code| StoreError::sqlite(path, rusqlite::Error::SqliteFailure(rusqlite::ffi::Error::new(code), None));
        let opened = sqlite(rusqlite::ffi::SQLITE_CANTOPEN);
        assert_eq!((system.to_string().as_str(), opened.to_string().as_str()), (told, told));
        assert!(matches!(sqlite(rusqlite::ffi::SQLITE_READONLY), StoreError::ReadOnly { .. }));
    }

    #[test]
    fn a_store_in_a_folder_that_cannot_be_written_is_read_while_nobody_writes() {
        let (folder, mut store) = opened();
        store.commit("test", Rank::Live, &readings(0, 10), &[], None).expect("committed");
        let (path, zone) = (store.path.clone(), store.zone);
        assert!(matches!(open_at_rest(&path), Err(StoreError::Unsettled { .. })));
        drop(store);
        let mut store = Store::open(folder.path(), zone, Access::Read).expect("a store");
        store.facts = open_at_rest(&path).expect("at rest");
        assert_eq!(stored(&store), 10);
    }

    #[test]
    fn a_disk_that_is_read_only_is_said_so() {
        let (_folder, mut store) = opened();
        // The seam: SQLite answers as it does for a file on a read-only disk.
        store.facts.pragma_update(None, "query_only", true).expect("set");
        let refused = store.commit("test", Rank::Live, &readings(0, 1), &[], None).expect_err("refused");
        assert_eq!(
            refused.to_string(),
            format!(
                "{}: cannot be written, the disk or the file is read-only; nothing was stored",
                store.path.display()
            )
        );
        let told = StoreError::files(&store.path, std::io::ErrorKind::ReadOnlyFilesystem.into());
        assert_eq!(told.to_string(), refused.to_string());
    }

    #[test]
    fn a_writer_that_holds_the_file_too_long_is_said_so() {
        let (folder, mut store) = opened();
        let other = Store::open(folder.path(), store.zone, Access::Command).expect("a store");
        let held = other.begin().expect("the lock");
        store.facts.busy_timeout(Duration::from_millis(1)).expect("set");
        let refused = store.commit("test", Rank::Live, &readings(0, 1), &[], None).expect_err("refused");
        assert_eq!(
            refused.to_string(),
            format!("{}: another program has held it for longer than 5 s; try again", store.path.display())
        );
        drop(held);
        store.commit("test", Rank::Live, &readings(0, 1), &[], None).expect("committed");
    }
}
