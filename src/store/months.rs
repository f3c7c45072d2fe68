//! The files of packed readings, one a UTC month.

use super::error::{On, StoreError};
use super::segment::{self, Values};
use super::settle;
use crate::readings::Series;
use crate::time::{At, Month};
use rusqlite::{Connection, OpenFlags, OptionalExtension, Transaction, TransactionBehavior, params};
use std::cell::RefCell;
use std::collections::BTreeMap;
use std::collections::btree_map::Entry;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Milliseconds in a UTC day; no block of readings crosses its end.
pub(super) const DAY: i64 = 86_400_000;

/// The format of the files.
const FORMAT: i64 = 1;

/// Instants of clocks that are kept unpacked: six quantities of a meter are read one after the other.
const KEPT: usize = 1_000_000;

/// The state's token is new after each change, so that a backup knows an unchanged month. Blobs stand in a table with
/// row numbers, where they share pages; a clock's number is never used again.
const TABLES: &str = "
CREATE TABLE clock (id INTEGER PRIMARY KEY AUTOINCREMENT, blob BLOB NOT NULL) STRICT;
CREATE TABLE segment (
  id INTEGER PRIMARY KEY,
  series INTEGER NOT NULL,
  start INTEGER NOT NULL,
  last INTEGER NOT NULL,
  n INTEGER NOT NULL,
  clock INTEGER NOT NULL REFERENCES clock (id),
  blob BLOB NOT NULL
) STRICT;
CREATE UNIQUE INDEX segment_key ON segment (series, start);
CREATE TABLE state (only INTEGER PRIMARY KEY CHECK (only = 1), token BLOB NOT NULL) STRICT;
INSERT INTO state VALUES (1, randomblob(16));
";

/// First and last instant of what a file holds of each series.
type Spans = BTreeMap<i64, (i64, i64)>;

/// One file.
#[derive(Debug)]
struct File {
    path: PathBuf,
    connection: Connection,
    spans: Option<(i64, Arc<Spans>)>,
}

/// A block as it was packed: the instants of its clock, and its values.
#[derive(Debug)]
pub(super) struct Block {
    pub clock: Arc<[i64]>,
    pub values: Values,
}

/// Clocks that are kept unpacked, and how many instants they have together.
#[derive(Debug, Default)]
struct Clocks {
    total: usize,
    kept: BTreeMap<(Month, i64), Arc<[i64]>>,
}

/// The files of a store.
#[derive(Debug)]
pub(super) struct Months {
    folder: PathBuf,
    open: RefCell<BTreeMap<Month, File>>,
    clocks: RefCell<Clocks>,
    listed: RefCell<Option<Vec<Month>>>,
    joined: RefCell<BTreeMap<Month, (i64, Vec<u8>)>>,
}

/// The UTC month of an instant.
pub(super) fn month_of(t: i64) -> Month {
    Month::of(At(t).utc().date_naive())
}

impl Months {
    pub(super) fn new(folder: &Path) -> Self {
        Self {
            folder: folder.to_path_buf(),
            open: RefCell::default(),
            clocks: RefCell::default(),
            listed: RefCell::default(),
            joined: RefCell::default(),
        }
    }

    /// The file of a month.
    pub(super) fn path(&self, month: Month) -> PathBuf {
        self.folder.join(format!("segments-{month}.db"))
    }

    /// The months that have a file, in order.
    pub(super) fn all(&self) -> Result<Vec<Month>, StoreError> {
        if let Some(months) = &*self.listed.borrow() {
            return Ok(months.clone());
        }
        let mut months = Vec::new();
        for entry in fs::read_dir(&self.folder).on(&self.folder)? {
            let name = entry.on(&self.folder)?.file_name();
            let month = name.to_str().and_then(|name| name.strip_prefix("segments-")?.strip_suffix(".db"));
            months.extend(month.and_then(Month::parse));
        }
        months.sort_unstable();
        *self.listed.borrow_mut() = Some(months.clone());
        Ok(months)
    }

    /// Another process may have added a file.
    pub(super) fn forget(&self) {
        *self.listed.borrow_mut() = None;
    }

    /// What a month's file holds of each series; nothing where there is no file.
    pub(super) fn spans(&self, month: Month) -> Result<Arc<Spans>, StoreError> {
        let spans = self.with(month, |file| {
            let version = file.version()?;
            if let Some((at, spans)) = &file.spans
                && *at == version
            {
                return Ok(Arc::clone(spans));
            }
            let spans = Arc::new(file.read_spans().on(&file.path)?);
            file.spans = Some((version, Arc::clone(&spans)));
            Ok(spans)
        })?;
        Ok(spans.unwrap_or_default())
    }

    /// The blocks of a series in the file of a month that begin within a time, in order.
    pub(super) fn blocks(
        &self,
        series: &Series,
        id: i64,
        month: Month,
        (from, to): (i64, i64),
    ) -> Result<Vec<Block>, StoreError> {
        let blocks = self.with(month, |file| {
            let mut query = file
                .connection
                .prepare_cached("SELECT start, clock, blob FROM segment WHERE series = ?1 AND start >= ?2 AND start < ?3 ORDER BY start")
                .on(&file.path)?;
            let mut rows = query.query([id, from, to]).on(&file.path)?;
            let mut blocks = Vec::new();
            while let Some(row) = rows.next().on(&file.path)? {
                let (start, clock): (i64, i64) = (row.get(0).on(&file.path)?, row.get(1).on(&file.path)?);
                let breach = |breach| StoreError::Segment {
                    path: file.path.clone(),
                    series: Box::new(series.clone()),
                    day: At(start).utc().date_naive(),
                    breach,
                };
                let clock = self.clock(file, month, clock)?.map_err(breach)?;
                let blob = row.get_ref(2).and_then(|blob| blob.as_blob().map_err(Into::into)).on(&file.path)?;
                let values = segment::unpack_values(blob, clock.len()).map_err(breach)?;
                blocks.push(Block { clock, values });
            }
            Ok(blocks)
        })?;
        Ok(blocks.unwrap_or_default())
    }

    /// The instants of a clock, kept for the next series that shares it.
    fn clock(&self, file: &File, month: Month, id: i64) -> Result<Result<Arc<[i64]>, super::Breach>, StoreError> {
        let clocks = &mut *self.clocks.borrow_mut();
        if let Some(clock) = clocks.kept.get(&(month, id)) {
            return Ok(Ok(Arc::clone(clock)));
        }
        let bytes: Option<Vec<u8>> = file
            .connection
            .prepare_cached("SELECT blob FROM clock WHERE id = ?1")
            .and_then(|mut query| query.query_row([id], |row| row.get(0)).optional())
            .on(&file.path)?;
        let unpacked = bytes.ok_or(super::Breach::Parts).and_then(|bytes| segment::unpack_clock(&bytes));
        Ok(unpacked.map(|times| {
            let clock: Arc<[i64]> = times.into();
            if clocks.total + clock.len() > KEPT {
                *clocks = Clocks::default();
            }
            clocks.total += clock.len();
            clocks.kept.insert((month, id), Arc::clone(&clock));
            clock
        }))
    }

    /// Changes a month's file in one transaction, which is on disk on return. The file is created if need be.
    pub(super) fn change<T>(
        &self,
        month: Month,
        change: impl FnOnce(&Connection) -> rusqlite::Result<T>,
    ) -> Result<T, StoreError> {
        let path = self.path(month);
        if !path.try_exists().on(&path)? {
            File::create(&path)?;
            self.forget();
        }
        let done = self.with(month, |file| {
            file.spans = None;
            let all = Transaction::new_unchecked(&file.connection, TransactionBehavior::Immediate).on(&file.path)?;
            let done = change(&all)
                .and_then(|done| all.execute("UPDATE state SET token = randomblob(16)", []).map(|_| done))
                .on(&file.path)?;
            all.commit().on(&file.path)?;
            Ok(done)
        })?;
        done.ok_or_else(|| StoreError::Missing { path })
    }

    /// Does something with a month's file; `None` where there is none.
    pub(super) fn read<T>(
        &self,
        month: Month,
        read: impl FnOnce(&Connection) -> rusqlite::Result<T>,
    ) -> Result<Option<T>, StoreError> {
        self.with(month, |file| read(&file.connection).on(&file.path))
    }

    /// As [`Months::read`], for what gives an error of its own.
    pub(super) fn read_file<T>(
        &self,
        month: Month,
        read: impl FnOnce(&Connection) -> Result<T, StoreError>,
    ) -> Result<Option<T>, StoreError> {
        self.with(month, |file| read(&file.connection))
    }

    /// The months with blocks from before an instant that may have to be joined.
    pub(super) fn unjoined(&self, ended: i64) -> Result<Vec<Month>, StoreError> {
        let mut months = Vec::new();
        for month in self.all()? {
            let now = (ended, self.read(month, token)?.unwrap_or_default());
            if self.joined.borrow().get(&month) != Some(&now) {
                months.push(month);
            }
        }
        Ok(months)
    }

    /// Notes that a month needs no joining as it is.
    pub(super) fn joined(&self, month: Month, ended: i64) -> Result<(), StoreError> {
        let token = self.read(month, token)?.unwrap_or_default();
        self.joined.borrow_mut().insert(month, (ended, token));
        Ok(())
    }

    fn with<T>(
        &self,
        month: Month,
        act: impl FnOnce(&mut File) -> Result<T, StoreError>,
    ) -> Result<Option<T>, StoreError> {
        let mut open = self.open.borrow_mut();
        let file = match open.entry(month) {
            Entry::Occupied(file) => file.into_mut(),
            Entry::Vacant(place) => {
                let path = self.path(month);
                if !path.try_exists().on(&path)? {
                    return Ok(None);
                }
                place.insert(File::open(&path)?)
            }
        };
        act(file).map(Some)
    }
}

impl File {
    /// For reading too it is opened to write if that is allowed: after a crash the first to come rolls back.
    fn open(path: &Path) -> Result<Self, StoreError> {
        let to_write = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let connection = Connection::open_with_flags(path, to_write).on(path)?;
        settle(&connection).on(path)?;
        connection.pragma_update(None, "synchronous", "full").on(path)?;
        let found: i64 = connection.pragma_query_value(None, "user_version", |row| row.get(0)).on(path)?;
        match found {
            FORMAT => Ok(Self { path: path.to_path_buf(), connection, spans: None }),
            found if found > FORMAT => Err(StoreError::Newer { path: path.to_path_buf(), found, known: FORMAT }),
            _ => Err(StoreError::Damaged { path: path.to_path_buf(), detail: "it was never completed".into() }),
        }
    }

    /// Creates the file under another name first, so that nobody ever meets half of it.
    fn create(path: &Path) -> Result<(), StoreError> {
        let draft = path.with_extension("draft");
        if draft.exists() {
            fs::remove_file(&draft).on(&draft)?;
        }
        let connection = Connection::open(&draft).on(&draft)?;
        connection.pragma_update(None, "page_size", 8_192).on(&draft)?;
        connection.execute_batch(TABLES).on(&draft)?;
        connection.pragma_update(None, "user_version", FORMAT).on(&draft)?;
        connection.close().map_err(|(_, e)| e).on(&draft)?;
        fs::rename(&draft, path).on(path)?;
        // The name too must outlive a power cut: what is packed is deleted from facts.db next.
        let folder = path.parent().unwrap_or(path);
        fs::File::open(folder).and_then(|folder| folder.sync_all()).on(folder)
    }

    fn version(&self) -> Result<i64, StoreError> {
        let mut query = self.connection.prepare_cached("PRAGMA data_version").on(&self.path)?;
        query.query_row([], |row| row.get(0)).on(&self.path)
    }

    fn read_spans(&self) -> rusqlite::Result<Spans> {
        self.connection
            .prepare_cached("SELECT series, min(start), max(last) FROM segment GROUP BY series")?
            .query_map([], |row| Ok((row.get(0)?, (row.get(1)?, row.get(2)?))))?
            .collect()
    }
}

/// The token of a file: another after each change.
pub(super) fn token(month: &Connection) -> rusqlite::Result<Vec<u8>> {
    month.query_row("SELECT token FROM state", [], |row| row.get(0))
}

/// A series and a day that has ended, whose readings lie in more blocks than they need.
pub(super) fn scattered(month: &Connection, ended: i64) -> rusqlite::Result<Option<(i64, i64)>> {
    let most = segment::MOST as i64;
    month
        .prepare_cached(
            "SELECT series, start / ?2 * ?2 AS day FROM segment WHERE start < ?1 GROUP BY series, day \
             HAVING count(*) > (sum(n) + ?3 - 1) / ?3 LIMIT 1",
        )?
        .query_row([ended, DAY, most], |row| Ok((row.get(0)?, row.get(1)?)))
        .optional()
}

/// Whether a block of some series, begun on a day, reaches across an end of a time in that day.
pub(super) fn reach_across(
    month: &Connection,
    series: &[i64],
    day: (i64, i64),
    time: (i64, i64),
) -> rusqlite::Result<bool> {
    let mut query = month.prepare_cached(
        "SELECT EXISTS (SELECT 1 FROM segment WHERE series = ?1 AND start >= ?2 AND start < ?3 \
         AND (start < ?4 AND last >= ?4 OR start < ?5 AND last >= ?5))",
    )?;
    for id in series {
        if query.query_row([*id, day.0, day.1, time.0, time.1], |row| row.get(0))? {
            return Ok(true);
        }
    }
    Ok(false)
}

/// The beginning of the last block of a series that begins before an instant.
pub(super) fn last_begun(month: &Connection, series: i64, before: i64) -> rusqlite::Result<Option<i64>> {
    month
        .prepare_cached("SELECT max(start) FROM segment WHERE series = ?1 AND start < ?2")?
        .query_row([series, before], |row| row.get(0))
}

/// The beginning of the first block of a series that ends at or after an instant.
pub(super) fn first_ending(month: &Connection, series: i64, at: i64) -> rusqlite::Result<Option<i64>> {
    month
        .prepare_cached(
            "SELECT start FROM segment WHERE series = ?1 AND start >= ?2 AND last >= ?3 ORDER BY start LIMIT 1",
        )?
        .query_row([series, At(at).floor(DAY).0, at], |row| row.get(0))
        .optional()
}

/// How many readings of each series lie in blocks that begin within a time.
pub(super) fn heard(month: &Connection, from: i64, to: i64) -> rusqlite::Result<Vec<(i64, i64)>> {
    month
        .prepare_cached("SELECT series, sum(n) FROM segment WHERE start >= ?1 AND start < ?2 GROUP BY series")?
        .query_map([from, to], |row| row.try_into())?
        .collect()
}

/// Writes a clock; gives its number.
pub(super) fn insert_clock(month: &Connection, blob: &[u8]) -> rusqlite::Result<i64> {
    month.prepare_cached("INSERT INTO clock (blob) VALUES (?1)")?.insert([blob])
}

/// Writes a block of a series.
pub(super) fn insert_block(
    month: &Connection,
    series: i64,
    span: (i64, i64),
    n: usize,
    clock: i64,
    blob: &[u8],
) -> rusqlite::Result<()> {
    month
        .prepare_cached("INSERT INTO segment (series, start, last, n, clock, blob) VALUES (?1, ?2, ?3, ?4, ?5, ?6)")?
        .execute(params![series, span.0, span.1, n as i64, clock, blob])
        .map(drop)
}

/// Removes the blocks of some series that begin within a time, and the clocks that only they used.
pub(super) fn remove_blocks(month: &Connection, series: &[i64], from: i64, to: i64) -> rusqlite::Result<()> {
    let mut clocks = Vec::new();
    for id in series {
        let mut remove = month
            .prepare_cached("DELETE FROM segment WHERE series = ?1 AND start >= ?2 AND start < ?3 RETURNING clock")?;
        let removed = remove.query_map([*id, from, to], |row| row.get(0))?;
        clocks.extend(removed.collect::<rusqlite::Result<Vec<i64>>>()?);
    }
    clocks.sort_unstable();
    clocks.dedup();
    for clock in clocks {
        month.prepare_cached("DELETE FROM clock WHERE id = ?1")?.execute([clock])?;
    }
    Ok(())
}
