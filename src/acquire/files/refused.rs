//! The lines of a file that were not taken, in a file of their own with the reason of each.

use super::Line;
use csv::ByteRecord;
use std::fs::File;
use std::path::PathBuf;

/// Columns that stand before those of the input.
const ADDED: [&str; 2] = ["inkwatt_line", "inkwatt_reason"];

/// A file of refused lines. It has two columns, line and reason, before those of the input, so that it can be put right
/// and imported by the same mapping. It comes into being with the first refused line.
pub struct Refused {
    path: PathBuf,
    separator: u8,
    header: ByteRecord,
    /// Columns of the input that an import before has added.
    skipped: usize,
    writer: Option<csv::Writer<File>>,
    count: u64,
}

impl Refused {
    /// A file at `path` for lines of a file with this separator and header.
    pub fn new(path: PathBuf, separator: u8, header: ByteRecord) -> Self {
        let again = header.iter().take(ADDED.len()).eq(ADDED.map(str::as_bytes));
        Self { path, separator, header, skipped: if again { ADDED.len() } else { 0 }, writer: None, count: 0 }
    }

    /// Writes a line down.
    ///
    /// # Errors
    /// Where the file cannot be written.
    pub fn add(&mut self, line: &Line, reason: &str) -> Result<(), csv::Error> {
        let writer = match &mut self.writer {
            Some(writer) => writer,
            none => {
                let mut form = csv::WriterBuilder::new();
                let mut writer = form.delimiter(self.separator).flexible(true).from_path(&self.path)?;
                let header = self.header.iter().skip(self.skipped);
                writer.write_record(ADDED.map(str::as_bytes).into_iter().chain(header))?;
                none.insert(writer)
            }
        };
        self.count += 1;
        let number = line.number.to_string();
        let added = [number.as_bytes(), reason.as_bytes()];
        writer.write_record(added.into_iter().chain(line.cells.iter().skip(self.skipped)))
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
