//! `inkwatt import`: history from CSV files.

use super::{Ended, Failure, Outcome, configuration, unopened};
use crate::acquire::files::{self, FileError, Line, Refused};
use crate::attribute::with_events;
use crate::config::{Configuration, Use};
use crate::names::RunId;
use crate::plant::Plant;
use crate::readings::{Event, Happening, Quantity, Rank, Reading, Run, Series, rank};
use crate::sources::{CsvMapping, CsvRows, RowSaid, Runs};
use crate::store::{Access, Counts, Store};
use crate::time::{At, Period};
use crate::units::counted;
use anyhow::{Context, anyhow};
use chrono::{NaiveDate, Utc};
use clap::ValueEnum;
use serde::Serialize;
use std::collections::{BTreeMap, HashMap};
use std::fmt;
use std::fs::File;
use std::io::{self, BufRead, BufReader, IsTerminal, Write};
use std::path::{Path, PathBuf};

/// Rows of one transaction, so that a running agent is not kept waiting.
const ROWS: usize = 5_000;
/// Contradictions that are named on a terminal; the others are counted.
const TOLD: usize = 10;
/// Lines between two signs of life.
const SIGN_OF_LIFE: u64 = 50_000;

/// Arguments of the command.
#[derive(clap::Args)]
#[command(after_help = "Examples:
  inkwatt import readings 2025-*.csv --mapping supplier   interval or register values
  inkwatt import jobs jobs.csv                            one job a row
  inkwatt import certificates 2026.csv                    guarantees of origin and contracts, one a row
  inkwatt import bills bills.csv                          bills of the supplier, one a row
Certificates need no mapping; their columns are id, mwh, from, to, market, source, fate (cancelled, held or sold), and
where they apply kind, kg_per_kwh, cancelled_on, beneficiary, own_site, bundled, carries_rate, only_claim.
Those of bills are id, meter (its serial number, of several parted by +), from, to, kwh, amount, currency, and where the bill
says so peak_kw, peak_kva and reading (actual or estimated). Semicolons come with decimal commas.
Importing a file again changes nothing. Lines that cannot be read are written to FILE.refused.csv with the reason
of each: put them right there and import that file.")]
pub struct Arguments {
    /// What the files hold.
    what: What,
    /// CSV files.
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// The mapping of the configuration by which the files are read; may be left out where one fits.
    #[arg(long, value_name = "NAME")]
    mapping: Option<String>,
    /// The folder for the refused lines, instead of that of each file.
    #[arg(long, value_name = "DIR")]
    refused: Option<PathBuf>,
    /// Prints JSON.
    #[arg(long)]
    json: bool,
}

impl Arguments {
    /// A file of readings, by a mapping.
    #[cfg(feature = "demo")]
    pub(super) fn readings(file: PathBuf, mapping: &str) -> Self {
        Self { what: What::Readings, files: vec![file], mapping: Some(mapping.into()), refused: None, json: false }
    }

    /// A file of certificates.
    #[cfg(feature = "demo")]
    pub(super) fn certificates(file: PathBuf) -> Self {
        Self { what: What::Certificates, files: vec![file], mapping: None, refused: None, json: false }
    }
}

/// What a file holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum What {
    /// Values of meters, of intervals or registers.
    Readings,
    /// Jobs, one a row.
    Jobs,
    /// Outdoor temperature of the site.
    Temperature,
    /// Certificates and contracts of the market-based method, one a row.
    Certificates,
    /// Bills of the supplier, one a row.
    Bills,
}

/// Runs the command on a plant folder.
pub fn run(plant: &Path, arguments: Arguments) -> Ended {
    let configuration = configuration(plant, Use::Metering)?;
    let chosen = match arguments.what {
        What::Certificates | What::Bills => None,
        what => Some(choose(&configuration.csv, what, arguments.mapping.as_deref())?),
    };
    let mut store = Store::open(plant, configuration.plant.zone, Access::Command).map_err(Failure::unreachable)?;
    let mut summaries = Vec::new();
    for file in &arguments.files {
        let refused = refused_path(file, arguments.refused.as_deref());
        let mapping = match chosen {
            Some(mapping) => mapping.clone(),
            None if arguments.what == What::Bills => CsvMapping::bills(separator(file)?),
            None => CsvMapping::instruments(separator(file)?),
        };
        let summary = Import::begin(&mut store, &configuration, &mapping)?.file(file, refused)?;
        if !arguments.json {
            print(&summary)?;
        }
        summaries.push(summary);
    }
    if arguments.json {
        let text = serde_json::to_string_pretty(&Summaries { files: &summaries }).map_err(Failure::unusable)?;
        print(&text)?;
    }
    let all_taken = summaries.iter().all(|summary| summary.refused == 0 && summary.contested == 0);
    Ok(if all_taken { Outcome::Done } else { Outcome::Finding })
}

/// What parts the columns of a file: a semicolon where its header has one, as spreadsheets with decimal commas write it.
fn separator(file: &Path) -> Result<u8, Failure> {
    let mut header = Vec::new();
    let input = File::open(file).map_err(|error| unopened(file, &error))?;
    BufReader::new(input).read_until(b'\n', &mut header).map_err(Failure::unreachable)?;
    Ok(if header.contains(&b';') { b';' } else { b',' })
}

/// The mapping of that name, or the only one that fits.
fn choose<'a>(mappings: &'a [CsvMapping], what: What, name: Option<&str>) -> Result<&'a CsvMapping, Failure> {
    let fitting: Vec<&CsvMapping> = mappings.iter().filter(|mapping| what.fits(mapping)).collect();
    let names: Vec<&str> = fitting.iter().map(|mapping| mapping.name.as_str()).collect();
    let (what, known) = (what.word(), if names.is_empty() { "none".to_owned() } else { names.join(", ") });
    match (name, fitting.as_slice()) {
        (Some(name), _) => fitting.into_iter().find(|mapping| mapping.name == name).ok_or_else(|| {
            Failure::unusable(anyhow!("no mapping {name:?} for {what}; config/plant.toml has: {known}"))
        }),
        (None, [only]) => Ok(only),
        (None, []) => Err(Failure::unusable(anyhow!(
            "config/plant.toml has no mapping for {what}; add a [[csv]] section that says how the file is written, as \
             `inkwatt check --example` shows one"
        ))),
        (None, _) => Err(Failure::unusable(anyhow!("several mappings fit: say --mapping with one of {known}"))),
    }
}

impl What {
    const fn word(self) -> &'static str {
        match self {
            Self::Readings => "readings",
            Self::Jobs => "jobs",
            Self::Temperature => "temperature",
            Self::Certificates => "certificates",
            Self::Bills => "bills",
        }
    }

    fn fits(self, mapping: &CsvMapping) -> bool {
        match (self, &mapping.rows) {
            (Self::Readings, CsvRows::Readings { .. }) | (Self::Jobs, CsvRows::Jobs { .. }) => true,
            (Self::Temperature, CsvRows::Readings { columns, .. }) => {
                columns.iter().any(|column| column.series.quantity == Quantity::Temperature)
            }
            _ => false,
        }
    }
}

/// `FILE.refused.csv`, beside the file or in a folder.
fn refused_path(file: &Path, folder: Option<&Path>) -> PathBuf {
    let mut name = file.file_name().unwrap_or_default().to_owned();
    name.push(".refused.csv");
    folder.map_or_else(|| file.with_file_name(&name), |folder| folder.join(&name))
}

/// The import of one file.
struct Import<'a> {
    store: &'a mut Store,
    configuration: &'a Configuration,
    mapping: &'a CsvMapping,
    runs: Runs,
    /// The runs in force.
    known: HashMap<RunId, Run>,
    /// The certificates and bills in force by kind and id, each with its revision.
    papers: HashMap<(&'static str, String), (Happening, u32)>,
    /// The plant with recorded events, such as an exchanged meter.
    plant: Plant,
    readings: Vec<(Series, Reading)>,
    /// The line of each of them.
    lines: Vec<u64>,
    events: Vec<Event>,
    summary: Summary,
}

impl<'a> Import<'a> {
    fn begin(store: &'a mut Store, configuration: &'a Configuration, mapping: &'a CsvMapping) -> Result<Self, Failure> {
        let events = match mapping.rows {
            CsvRows::Jobs { .. } | CsvRows::Instruments | CsvRows::Bills => {
                store.events().map_err(Failure::unreachable)?.value
            }
            CsvRows::Readings { .. } => Vec::new(),
        };
        let runs = Runs::new(&events);
        let plant = with_events(&configuration.plant, &events).value;
        let (mut known, mut papers) = (HashMap::new(), HashMap::new());
        for event in events {
            let key = (rank::kind(&event), event.id.clone());
            match event.what {
                Happening::Run(run) => drop(known.insert(run.id.clone(), run)),
                what @ (Happening::Instrument(_) | Happening::SupplierBill(_)) => {
                    papers.insert(key, (what, event.revision));
                }
                _ => {}
            }
        }
        let (readings, lines, events, summary) = (Vec::new(), Vec::new(), Vec::new(), Summary::default());
        Ok(Self { store, configuration, mapping, runs, known, papers, plant, readings, lines, events, summary })
    }

    fn file(mut self, file: &Path, refused: PathBuf) -> Result<Summary, Failure> {
        let shown = file.display();
        let open = || File::open(file).map(BufReader::new).map_err(|error| unopened(file, &error));
        let hash = files::sha256(open()?).map_err(Failure::unreachable)?;
        let note = format!("{shown}, SHA-256 {hash}, mapping {}", self.mapping.name);
        let now = At(Utc::now().timestamp_millis());
        let input = open()?;
        let lines = files::read_csv(input, self.mapping, &self.plant, now);
        let lines = lines.map_err(|error| failed(error, file))?;
        let mut refused = Refused::new(refused, self.mapping.separator, lines.header().clone());
        (self.summary.file, self.summary.mapping) = (shown.to_string(), self.mapping.name.clone());
        for line in lines {
            let line = line.map_err(|error| failed(error, file))?;
            self.line(line, &mut refused)?;
            if self.readings.len() + self.events.len() >= ROWS {
                self.commit(&note)?;
            }
        }
        self.commit(&note)?;
        let (count, path) = refused.close().map_err(Failure::unreachable)?;
        self.summary.refused_file = (count > 0).then(|| path.display().to_string());
        Ok(self.summary)
    }

    fn line(&mut self, line: Line, refused: &mut Refused) -> Result<(), Failure> {
        self.summary.lines += 1;
        if self.summary.lines.is_multiple_of(SIGN_OF_LIFE) && io::stderr().is_terminal() {
            eprintln!("{}: {} so far", self.summary.file, counted(self.summary.lines, "line"));
        }
        match line.says {
            Ok(RowSaid::Readings(readings)) => {
                self.readings.extend(readings);
                self.lines.resize(self.readings.len(), line.number);
            }
            Ok(RowSaid::Job(run, id)) => self.job(*run, id.as_deref()),
            Ok(RowSaid::Instrument(one)) => self.paper(one.id.clone(), one.from, Happening::Instrument(one)),
            Ok(RowSaid::Bill(bill)) => self.paper(bill.id.clone(), bill.from, Happening::SupplierBill(bill)),
            Err(ref refusal) => {
                let reason = refusal.to_string();
                self.summary.refused += 1;
                self.summary.first_refusal.get_or_insert_with(|| format!("line {}: {reason}", line.number));
                let told = || "the refused lines cannot be written; name another folder by --refused DIR";
                refused.add(&line, &reason).with_context(told).map_err(Failure::unusable)?;
            }
        }
        Ok(())
    }

    fn job(&mut self, run: Run, id: Option<&str>) {
        let event = self.runs.import(run, id);
        if let Happening::Run(run) = &event.what {
            let count = match self.known.insert(run.id.clone(), run.clone()) {
                None => &mut self.summary.new,
                Some(before) if before == *run => &mut self.summary.same,
                Some(_) => &mut self.summary.corrected,
            };
            *count += 1;
        }
        self.events.push(event);
    }

    /// Another text about the same certificate, such as its cancellation, or about the same bill takes the place of the
    /// former.
    fn paper(&mut self, id: String, from: NaiveDate, what: Happening) {
        let at = self.configuration.plant.zone.day(from).start;
        let mut event = Event { id, at, rank: Rank::Import, revision: 0, what, note: None };
        let key = (rank::kind(&event), event.id.clone());
        let before = self.papers.get(&key);
        event.revision = match before {
            Some((same, _)) if *same == event.what => {
                self.summary.same += 1;
                return;
            }
            Some((_, revision)) => revision + 1,
            None => 0,
        };
        *(if before.is_some() { &mut self.summary.corrected } else { &mut self.summary.new }) += 1;
        self.papers.insert(key, (event.what.clone(), event.revision));
        self.events.push(event);
    }

    /// Names the lines of which something else was said before, with what.
    fn contradictions(&mut self, rows: &[(Series, Reading)], lines: &[u64]) -> Result<(), Failure> {
        let mut spans: BTreeMap<&Series, Period> = BTreeMap::new();
        for (series, reading) in rows {
            let (start, end) = (reading.at, reading.at + 1);
            let span = spans.entry(series).or_insert(Period::new(start, end));
            *span = Period::new(span.start.min(start), span.end.max(end));
        }
        let mut rivals: BTreeMap<(&Series, At), Vec<i64>> = BTreeMap::new();
        for (series, span) in spans {
            let found = self.store.contested(series, span).map_err(Failure::unreachable)?;
            rivals.extend(found.into_iter().map(|(at, counts)| ((series, at), counts)));
        }
        for ((series, reading), line) in rows.iter().zip(lines) {
            let Some(counts) = rivals.get(&(series, reading.at)) else { continue };
            let shown = |count: &i64| self.configuration.display(series, Reading { at: reading.at, count: *count });
            self.summary.contradictions.push(Contradiction {
                line: *line,
                about: series.to_string(),
                at: self.configuration.plant.zone.stamp(reading.at),
                values: counts.iter().map(shown).collect(),
            });
        }
        Ok(())
    }

    fn commit(&mut self, note: &str) -> Result<(), Failure> {
        let (readings, events) = (std::mem::take(&mut self.readings), std::mem::take(&mut self.events));
        let lines = std::mem::take(&mut self.lines);
        for (rows, lines) in readings.chunks(ROWS).zip(lines.chunks(ROWS)) {
            let counts = self.store.commit("import", Rank::Import, rows, &[], Some(note));
            let counts = counts.map_err(Failure::unreachable)?;
            self.summary.count(counts);
            if counts.contested > 0 {
                self.contradictions(rows, lines)?;
            }
        }
        if !events.is_empty() {
            self.store.commit("import", Rank::Import, &[], &events, Some(note)).map_err(Failure::unreachable)?;
        }
        Ok(())
    }
}

/// A file that cannot be read any further.
fn failed(error: FileError, file: &Path) -> Failure {
    let reading = matches!(error, FileError::Csv(_));
    let error = anyhow!(error).context(file.display().to_string());
    if reading { Failure::unreachable(error) } else { Failure::unusable(error) }
}

/// What became of a file: readings, or runs, and lines.
#[derive(Debug, Default, Serialize)]
struct Summary {
    file: String,
    mapping: String,
    lines: u64,
    new: u64,
    same: u64,
    corrected: u64,
    kept: u64,
    contested: u64,
    contradictions: Vec<Contradiction>,
    refused: u64,
    first_refusal: Option<String>,
    refused_file: Option<String>,
}

/// A line that contradicts what was imported before it.
#[derive(Debug, Serialize)]
struct Contradiction {
    line: u64,
    about: String,
    at: String,
    values: Vec<String>,
}

#[derive(Serialize)]
struct Summaries<'a> {
    files: &'a [Summary],
}

impl Summary {
    fn count(&mut self, counts: Counts) {
        self.new += counts.fresh;
        self.same += counts.same;
        self.corrected += counts.corrected;
        self.kept += counts.kept;
        self.contested += counts.contested;
    }
}

impl fmt::Display for Summary {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { file, lines, new, same, corrected, refused, .. } = self;
        let (lines, refused) = (counted(*lines, "line"), counted(*refused, "line"));
        if self.lines == 0 {
            return write!(f, "{file}: a header and no line below it; there is nothing to take in");
        }
        write!(f, "{file}: {lines}; {new} new, {same} same, {corrected} corrected; {refused} refused")?;
        if self.kept > 0 {
            write!(f, "\n  {} kept beside a correction by hand, which stays in force", self.kept)?;
        }
        if self.contested > 0 {
            let help = "neither value is used until `inkwatt record correction` says which is right";
            write!(f, "\n  {} of what was imported before: {help}", counted(self.contested, "contradiction"))?;
            for Contradiction { line, about, at, values } in self.contradictions.iter().take(TOLD) {
                write!(f, "\n    line {line}: {about} at {at}: {}", values.join(" or "))?;
            }
            if let more @ 1.. = self.contradictions.len().saturating_sub(TOLD) {
                write!(f, "\n    and {}; --json names all", counted(more, "further line"))?;
            }
        }
        if let Some(first) = &self.first_refusal {
            write!(f, "\n  {first}")?;
        }
        if let Some(path) = &self.refused_file {
            write!(f, "\n  every refused line with its reason: {path}")?;
        }
        Ok(())
    }
}

/// Prints a line; a closed pipe is nobody left to read it.
fn print(text: &impl fmt::Display) -> Result<(), Failure> {
    match writeln!(io::stdout(), "{text}") {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => Err(Failure::unreachable(error)),
        _ => Ok(()),
    }
}
