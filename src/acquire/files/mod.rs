//! Files: CSV tables, read in one pass.

mod digest;
mod refused;

pub use digest::sha256;
use refused::ADDED;
pub use refused::{Before, Refused};

use crate::plant::Plant;
use crate::sources::{CsvMapping, CsvTable, Refusal, RowSaid, Ruling};
use crate::time::At;
use csv::ByteRecord;
use std::collections::{HashMap, VecDeque};
use std::io::Read;

/// Why a file cannot be read any further.
#[derive(Debug, thiserror::Error)]
pub enum FileError {
    /// The file breaks off, or is no table.
    #[error("{0}")]
    Csv(#[from] csv::Error),
    /// Nothing is in it.
    #[error("the file is empty; expected a header row that names its columns")]
    Empty,
    /// The header does not have what the mapping wants.
    #[error("{refusal}; the mapping says that {:?} parts the columns", char::from(*separator))]
    Header {
        /// What is missing.
        refusal: Refusal,
        /// The separator of the mapping: a wrong one makes one column of all.
        separator: u8,
    },
}

/// A line of a table and what it says.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// Its number in the file, the header being 1.
    pub number: u64,
    /// Its cells as they stand there, without those that an import before has added.
    pub cells: ByteRecord,
    /// What an import before has said about it, in a file of refused lines.
    pub before: Option<Before>,
    /// What it says, or why it is not taken.
    pub says: Result<RowSaid, Refusal>,
}

/// The lines of a CSV file, each as soon as its time is settled: lines of a repeated hour come a little later.
pub struct Lines<R> {
    reader: csv::Reader<R>,
    header: ByteRecord,
    table: CsvTable,
    /// Whether the file is one of refused lines, with columns added.
    refused: bool,
    waiting: HashMap<u64, (ByteRecord, Option<Before>)>,
    settled: VecDeque<Line>,
    ended: bool,
}

/// Reads a CSV file by its mapping. `now` is the instant of reading: what the file says is not of later.
///
/// # Errors
/// A file without a header that the mapping fits.
pub fn read_csv<R: Read>(input: R, mapping: &CsvMapping, plant: &Plant, now: At) -> Result<Lines<R>, FileError> {
    // A row of another length is refused with its reason, not an end to everything.
    let mut reader = csv::ReaderBuilder::new().delimiter(mapping.separator).flexible(true).from_reader(input);
    let mut header = reader.byte_headers()?.clone();
    if header.is_empty() {
        return Err(FileError::Empty);
    }
    let refused = header.iter().take(ADDED.len()).eq(ADDED.map(str::as_bytes));
    if refused {
        header = header.iter().skip(ADDED.len()).collect();
    }
    let names: Vec<String> = header.iter().map(|name| String::from_utf8_lossy(name).into_owned()).collect();
    let names: Vec<&str> = names.iter().map(String::as_str).collect();
    let table = CsvTable::new(mapping, &names, plant, now)
        .map_err(|refusal| FileError::Header { refusal, separator: mapping.separator })?;
    Ok(Lines { reader, header, table, refused, waiting: HashMap::new(), settled: VecDeque::new(), ended: false })
}

impl<R: Read> Lines<R> {
    /// The cells of the header.
    pub const fn header(&self) -> &ByteRecord {
        &self.header
    }

    /// Reads one line into the table; false at the end of the file.
    fn advance(&mut self) -> Result<bool, csv::Error> {
        let mut cells = ByteRecord::new();
        if !self.reader.read_byte_record(&mut cells)? {
            return Ok(false);
        }
        let number = cells.position().map_or(0, csv::Position::line);
        let mut before = None;
        if self.refused {
            let text = |k: usize| String::from_utf8_lossy(cells.get(k).unwrap_or_default()).into_owned();
            before = Some(Before { number: text(0), reason: text(1) });
            cells = cells.iter().skip(ADDED.len()).collect();
        }
        let texts: Vec<_> = cells.iter().map(String::from_utf8_lossy).collect();
        let texts: Vec<&str> = texts.iter().map(AsRef::as_ref).collect();
        let rulings = self.table.push(number, &texts);
        self.waiting.insert(number, (cells, before));
        self.settle(rulings);
        Ok(true)
    }

    fn settle(&mut self, rulings: Vec<Ruling>) {
        for (number, says) in rulings {
            let (cells, before) = self.waiting.remove(&number).unwrap_or_default();
            self.settled.push_back(Line { number, cells, before, says });
        }
    }
}

impl<R: Read> Iterator for Lines<R> {
    type Item = Result<Line, FileError>;

    fn next(&mut self) -> Option<Self::Item> {
        while self.settled.is_empty() && !self.ended {
            match self.advance() {
                Ok(true) => {}
                Ok(false) => {
                    self.ended = true;
                    let rulings = self.table.end();
                    self.settle(rulings);
                }
                Err(error) => {
                    self.ended = true;
                    return Some(Err(error.into()));
                }
            }
        }
        self.settled.pop_front().map(Ok)
    }
}
