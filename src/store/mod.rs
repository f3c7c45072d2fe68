//! Facts, segments and the derived cache on disk.
//!
//! A plant folder's `store/` holds `facts.db` (every statement, as it came), `segments-YYYY-MM.db` (readings packed by
//! the day) and `derived.db` (computed days, disposable). Whoever writes anything holds the write lock of `facts.db`;
//! readers take what is in `facts.db` first and the segments after, so that a row on its way from one to the other is
//! seen at least once, and unite both by key.

mod bulk;
mod bytes;
mod commit;
mod derived;
mod document;
mod error;
mod ledger;
mod months;
mod names;
mod pack;
mod place;
mod read;
mod said;
mod schema;
mod seal;
mod segment;
mod stamp;
mod touched;

pub use commit::Counts;
pub use error::{Breach, StoreError};
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
    known: RefCell<read::Known>,
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
    if !path.exists() {
        return Err(StoreError::Missing { path: path.to_path_buf() });
    }
    let facts = Connection::open_with_flags(path, OpenFlags::SQLITE_OPEN_READ_ONLY).on(path)?;
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
