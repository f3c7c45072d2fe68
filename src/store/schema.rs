//! The tables of `facts.db` and how an earlier format becomes the present one.

use super::error::{On, StoreError};
use rusqlite::{Connection, Transaction, TransactionBehavior};
use std::path::Path;

/// The format that this program writes.
pub(super) const FORMAT: i64 = 3;

/// Format 1: readings of the agent alone, no documents. Kept as it was, for the files that have it.
const FORMAT_1: &str = include_str!("format-1.sql");

/// What brings format 1 to format 2.
const FORMAT_2: &str = include_str!("format-2.sql");

/// What brings format 2 to format 3.
const FORMAT_3: &str = include_str!("format-3.sql");

/// Creates or brings up to date the tables, if that is needed and allowed. The steps are taken in one transaction: the
/// file has the old format or the new one, never something between.
pub(super) fn prepare(facts: &Connection, path: &Path, may_migrate: bool) -> Result<(), StoreError> {
    let found = format(facts).on(path)?;
    if found == FORMAT {
        return Ok(());
    }
    if found > FORMAT {
        return Err(StoreError::Newer { path: path.to_path_buf(), found, known: FORMAT });
    }
    if !may_migrate {
        return Err(StoreError::Older { path: path.to_path_buf(), found, known: FORMAT });
    }
    migrate(facts).on(path)
}

fn format(facts: &Connection) -> rusqlite::Result<i64> {
    facts.pragma_query_value(None, "user_version", |row| row.get(0))
}

fn migrate(facts: &Connection) -> rusqlite::Result<()> {
    let all = Transaction::new_unchecked(facts, TransactionBehavior::Immediate)?;
    for (k, step) in [FORMAT_1, FORMAT_2, FORMAT_3].into_iter().enumerate() {
        if format(&all)? == k as i64 {
            all.execute_batch(step)?;
            all.pragma_update(None, "user_version", k as i64 + 1)?;
        }
    }
    all.commit()
}
