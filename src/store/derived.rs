//! Computed days, kept so that they need not be computed again. The file may be deleted at any time: that loses time only.

use super::error::{On, StoreError};
use super::stamp::Stamp;
use super::{PATIENCE, Store, ledger, observed, settle, sums, watched};
use crate::attribute::{DayLedger, DaySums};
use crate::found::Found;
use crate::{verify, watch};
use chrono::NaiveDate;
use rusqlite::{Connection, OptionalExtension, Row, ToSql, params};
use std::fs;
use std::path::{Path, PathBuf};
use std::thread;
use std::time::{Duration, Instant};
use tracing::{debug, warn};

/// Sums stand before the slices, so that these need not be read for those.
const TABLES: &str = "
CREATE TABLE day (date TEXT PRIMARY KEY, stamp BLOB NOT NULL, sums BLOB NOT NULL, ledger BLOB NOT NULL) STRICT;
CREATE TABLE observed (scope TEXT NOT NULL, date TEXT NOT NULL, stamp BLOB NOT NULL, day BLOB NOT NULL,
    PRIMARY KEY (scope, date)) STRICT, WITHOUT ROWID;
";

/// Changes with every change of the tables, of the bytes of a ledger or of sums, or of the lists in them.
const FORMAT: i64 = 7;

/// The scope under which the watch keeps its days; no press or load has such a key.
const WATCH: &str = "the watch";

/// How long to wait before a cache that another handle is making is tried again.
const PAUSE: Duration = Duration::from_millis(5);

/// The cache of a store. It is opened when it is first needed; where it cannot be used, days are computed.
#[derive(Debug)]
pub(super) struct Derived {
    path: PathBuf,
    file: File,
}

#[derive(Debug)]
enum File {
    Unopened,
    Open(Connection),
    Unusable,
}

impl Derived {
    pub(super) fn new(folder: &Path) -> Self {
        Self { path: folder.join("derived.db"), file: File::Unopened }
    }

    /// Does something with the cache. What fails counts as not cached; a damaged cache begins anew.
    fn with<T>(&mut self, act: impl Fn(&Connection) -> rusqlite::Result<Option<T>>) -> Option<T> {
        if matches!(self.file, File::Unopened) {
            self.file = open(&self.path).map_or_else(
                |fault| {
                    warn!("computed days are not kept: {fault}");
                    File::Unusable
                },
                File::Open,
            );
        }
        let File::Open(connection) = &self.file else { return None };
        match act(connection).on(&self.path) {
            Ok(done) => done,
            Err(StoreError::Damaged { detail, .. }) => {
                warn!("{}: is damaged ({detail}); computed days are kept anew", self.path.display());
                self.file = File::Unopened;
                if remove(&self.path).is_err() {
                    self.file = File::Unusable;
                }
                None
            }
            Err(fault) => {
                debug!("a computed day is not kept: {fault}");
                None
            }
        }
    }
}

impl Store {
    /// A day as it was computed from the facts of that stamp, with what it adds up to; `None` where it must be computed.
    pub fn cached_day(&self, date: NaiveDate, stamp: &Stamp) -> Option<(Found<DayLedger>, DaySums)> {
        let sql = "SELECT ledger, sums FROM day WHERE date = ?1 AND stamp = ?2";
        self.cached(sql, params![date.to_string(), stamp.0], date, |row| {
            let ledger = ledger::read(row.get_ref(0)?.as_blob()?).ok().filter(|found| found.value.date == date);
            Ok(ledger.zip(sums_of(row.get_ref(1)?.as_blob()?, date)))
        })
    }

    /// What that day adds up to alone.
    pub fn cached_sums(&self, date: NaiveDate, stamp: &Stamp) -> Option<DaySums> {
        let sql = "SELECT sums FROM day WHERE date = ?1 AND stamp = ?2";
        self.cached(sql, params![date.to_string(), stamp.0], date, |row| Ok(sums_of(row.get_ref(0)?.as_blob()?, date)))
    }

    fn cached<T>(
        &self,
        sql: &str,
        of: &[&dyn ToSql],
        date: NaiveDate,
        read: impl Fn(&Row<'_>) -> rusqlite::Result<Option<T>>,
    ) -> Option<T> {
        let kept = self
            .derived
            .borrow_mut()
            .with(|derived| derived.prepare_cached(sql)?.query_row(of, |row| read(row)).optional())?;
        if kept.is_none() {
            warn!("the computed day {date} is damaged in the cache; it is computed anew");
        }
        kept
    }

    /// Keeps the ledger of a day that was computed from the facts of a stamp, and what it adds up to, in the place of an
    /// earlier one.
    pub fn cache_day(&self, stamp: &Stamp, found: &Found<DayLedger>, sums: &DaySums) {
        let (ledger, sums) = (ledger::write(found), sums::write(sums));
        self.derived.borrow_mut().with(|derived| {
            derived
                .prepare_cached(
                    "INSERT INTO day (date, stamp, sums, ledger) VALUES (?1, ?2, ?3, ?4) \
                     ON CONFLICT DO UPDATE SET \
                     stamp = excluded.stamp, sums = excluded.sums, ledger = excluded.ledger",
                )?
                .execute(params![found.value.date.to_string(), stamp.0, sums, ledger])
                .map(Some)
        });
    }

    /// What a day said about a scope, as it was observed from the facts of that stamp; `None` where it must be observed.
    /// `scope` names the press and its stations.
    pub fn cached_observation(&self, scope: &str, date: NaiveDate, stamp: &Stamp) -> Option<verify::Day> {
        let sql = "SELECT day FROM observed WHERE scope = ?1 AND date = ?2 AND stamp = ?3";
        let of = params![scope, date.to_string(), stamp.0];
        self.cached(sql, of, date, |row| {
            Ok(observed::read(row.get_ref(0)?.as_blob()?).ok().filter(|day| day.date == date))
        })
    }

    /// What the watch took from a day, by the facts of that stamp; `None` where it must be taken anew.
    pub fn cached_watched(&self, date: NaiveDate, stamp: &Stamp) -> Option<watch::Day> {
        let sql = "SELECT day FROM observed WHERE scope = ?1 AND date = ?2 AND stamp = ?3";
        self.cached(sql, params![WATCH, date.to_string(), stamp.0], date, |row| {
            Ok(watched::read(row.get_ref(0)?.as_blob()?).ok().filter(|day| day.date == date))
        })
    }

    /// Keeps what the watch took from days.
    pub fn cache_watched(&self, days: &[(Stamp, watch::Day)]) {
        self.keep_observed(WATCH, days.iter().map(|(stamp, day)| (stamp, day.date, watched::write(day))).collect());
    }

    /// Keeps what days say about a scope, each observed from the facts of its stamp, in the place of earlier ones.
    pub fn cache_observations(&self, scope: &str, days: &[(Stamp, verify::Day)]) {
        self.keep_observed(scope, days.iter().map(|(stamp, day)| (stamp, day.date, observed::write(day))).collect());
    }

    fn keep_observed(&self, scope: &str, days: Vec<(&Stamp, NaiveDate, Vec<u8>)>) {
        self.derived.borrow_mut().with(|derived| {
            let all = derived.unchecked_transaction()?;
            for (stamp, date, bytes) in &days {
                let sql = "INSERT INTO observed (scope, date, stamp, day) VALUES (?1, ?2, ?3, ?4) \
                           ON CONFLICT DO UPDATE SET stamp = excluded.stamp, day = excluded.day";
                all.prepare_cached(sql)?.execute(params![scope, date.to_string(), stamp.0, bytes])?;
            }
            all.commit().map(Some)
        });
    }
}

fn sums_of(bytes: &[u8], date: NaiveDate) -> Option<DaySums> {
    sums::read(bytes).ok().filter(|sums| sums.date == date)
}

/// Opens the cache. One of another format, or one that is no such file, is thrown away.
fn open(path: &Path) -> Result<Connection, StoreError> {
    match prepare_in_turn(path) {
        Ok(Some(connection)) => Ok(connection),
        Ok(None) => {
            debug!("{}: is of another format; computed days are kept anew", path.display());
            renew(path)
        }
        Err(StoreError::Damaged { detail, .. }) => {
            warn!("{}: is damaged ({detail}); computed days are kept anew", path.display());
            renew(path)
        }
        Err(fault) => Err(fault),
    }
}

fn renew(path: &Path) -> Result<Connection, StoreError> {
    remove(path)?;
    prepare(path)?.ok_or_else(|| StoreError::Strange { path: path.to_path_buf(), what: "a new file is not new".into() })
}

/// As [`prepare`], as often as it takes: of handles that make the file at the same time SQLite refuses all but one at
/// once, since nobody can wait for a change of the journal's mode.
fn prepare_in_turn(path: &Path) -> Result<Option<Connection>, StoreError> {
    let begun = Instant::now();
    loop {
        match prepare(path) {
            Err(StoreError::Busy { .. }) if begun.elapsed() < PATIENCE => thread::sleep(PAUSE),
            prepared => return prepared,
        }
    }
}

/// The cache with its table; `None` where it has another format.
fn prepare(path: &Path) -> Result<Option<Connection>, StoreError> {
    let connection = Connection::open(path).on(path)?;
    settle(&connection).on(path)?;
    connection.pragma_update(None, "journal_mode", "wal").on(path)?;
    connection.pragma_update(None, "synchronous", "normal").on(path)?;
    let format = |c: &Connection| c.pragma_query_value(None, "user_version", |row| row.get::<_, i64>(0));
    if format(&connection).on(path)? == 0 {
        let all =
            rusqlite::Transaction::new_unchecked(&connection, rusqlite::TransactionBehavior::Immediate).on(path)?;
        // Another handle may have been first.
        if format(&all).on(path)? == 0 {
            all.execute_batch(TABLES).on(path)?;
            all.pragma_update(None, "user_version", FORMAT).on(path)?;
        }
        all.commit().on(path)?;
    }
    let found = format(&connection).on(path)?;
    Ok((found == FORMAT).then_some(connection))
}

fn remove(path: &Path) -> Result<(), StoreError> {
    for end in ["", "-wal", "-shm"] {
        let mut name = path.as_os_str().to_owned();
        name.push(end);
        match fs::remove_file(&name) {
            Err(fault) if fault.kind() != std::io::ErrorKind::NotFound => return Err(StoreError::files(path, fault)),
            _ => {}
        }
    }
    Ok(())
}
