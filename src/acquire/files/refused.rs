//! The lines of a file that were not taken, in a file of their own with the reason of each.

use super::Line;
use csv::ByteRecord;
use std::fs::File;
use std::path::PathBuf;

/// Columns that stand before those of the input.
pub(super) const ADDED: [&str; 2] = ["inkwatt_line", "inkwatt_reason"];

/// What parts the reasons of two refusals of a line.
const AT_FIRST: &str = "; at first: ";

/// What an import before has said about a line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Before {
    /// The line's number in the first file.
    pub number: String,
    /// Why it was refused.
    pub reason: String,
}

impl Before {
    /// The new reason with the first one, where that is another.
    fn beside(&self, reason: &str) -> String {
        let first = self.reason.rsplit(AT_FIRST).next().unwrap_or_default();
        if first.is_empty() || first == reason { reason.to_owned() } else { format!("{reason}{AT_FIRST}{first}") }
    }
}

/// A file of refused lines. It has two columns, line and reason, before those of the input, so that it can be put right
/// and imported by the same mapping. It comes into being with the first refused line.
pub struct Refused {
    path: PathBuf,
    separator: u8,
    header: ByteRecord,
    writer: Option<csv::Writer<File>>,
    count: u64,
}

impl Refused {
    /// A file at `path` for lines of a file with this separator and header.
    pub fn new(path: PathBuf, separator: u8, header: ByteRecord) -> Self {
        Self { path, separator, header, writer: None, count: 0 }
    }

    /// Writes a line down. One that an import before has refused keeps the number that it had in the first file, and
    /// its first reason beside the new one.
    ///
    /// # Errors
    /// Where the file cannot be written.
    pub fn add(&mut self, line: &Line, reason: &str) -> Result<(), csv::Error> {
        let writer = match &mut self.writer {
            Some(writer) => writer,
            none => {
                let mut form = csv::WriterBuilder::new();
                let mut writer = form.delimiter(self.separator).flexible(true).from_path(&self.path)?;
                writer.write_record(ADDED.map(str::as_bytes).into_iter().chain(&self.header))?;
                none.insert(writer)
            }
        };
        self.count += 1;
        let (number, reason) = match &line.before {
            Some(before) => (before.number.clone(), before.beside(reason)),
            None => (line.number.to_string(), reason.to_owned()),
        };
        let added = [number.as_bytes(), reason.as_bytes()];
        writer.write_record(added.into_iter().chain(&line.cells))
    }

    /// Ends the file; how many lines it holds and where it is.
    ///
    /// # Errors
    /// Where the file cannot be written.
    pub fn close(mut self) -> Result<(u64, PathBuf), csv::Error> {
        if let Some(writer) = &mut self.writer {
            writer.flush()?;
        }
        Ok((self.count, self.path))
    }
}
