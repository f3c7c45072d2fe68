//! `inkwatt export`: readings or slices in open formats.

use super::{Ended, Failure, Outcome, configuration, in_order};
use crate::acquire::Clock;
use crate::agent::Books;
use crate::attribute::Slice;
use crate::config::{Configuration, Use};
use crate::names::MeterId;
use crate::plant::LampKind;
use crate::readings::{Reading, Series, Subject};
use crate::report::{self, words};
use crate::store::{Access, Store};
use crate::time::{self, At, Period, Zone};
use anyhow::anyhow;
use chrono::{NaiveDate, SecondsFormat};
use clap::ValueEnum;
use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

/// Arguments of the command.
#[derive(clap::Args)]
#[command(after_help = "Examples:
  inkwatt export readings --from 2026-03-01 --to 2026-03-31 > march.csv
  inkwatt export slices --from 2026-03-01 --to 2026-03-31 --meter p1-s3 --out slices.csv
Both days are included: these are March, whole. CSV follows RFC 4180: UTF-8, a header row, a point for decimals. Instants are ISO 8601 with the plant's offset.
Readings are raw counts of their devices, as they are in force; remarks about them go to stderr.")]
pub struct Arguments {
    /// What is written.
    what: What,
    /// The first local day.
    #[arg(long, value_name = "YYYY-MM-DD")]
    from: NaiveDate,
    /// The last local day, included.
    #[arg(long, value_name = "YYYY-MM-DD")]
    to: NaiveDate,
    /// One measuring point only.
    #[arg(long, value_name = "METER")]
    meter: Option<String>,
    /// How it is written.
    #[arg(long, value_enum, default_value_t = Format::Csv)]
    format: Format,
    /// The file, instead of standard output.
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
}

/// What can be exported.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum What {
    /// Readings in force, as raw counts.
    Readings,
    /// Energy with its owners.
    Slices,
}

/// The formats.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Format {
    /// RFC 4180.
    Csv,
}

/// Runs the command on a plant folder.
pub fn run(plant: &Path, arguments: Arguments) -> Ended {
    let configuration = configuration(plant, Use::Metering)?;
    in_order(arguments.from, arguments.to)?;
    let meter = arguments.meter.as_deref().map(MeterId::from);
    if let Some(unknown) = meter.as_ref().filter(|id| configuration.plant.meter(id).is_none()) {
        let known: Vec<&str> = configuration.plant.meters.iter().map(|m| m.id.as_str()).collect();
        return Err(Failure::unusable(anyhow!(
            "no meter is named {:?}; there are {}",
            unknown.as_str(),
            known.join(", ")
        )));
    }
    let out: Box<dyn Write> = match &arguments.out {
        Some(path) => {
            let file = File::create(path).map_err(|e| Failure::unreachable(anyhow!("{}: {e}", path.display())))?;
            Box::new(BufWriter::new(file))
        }
        None => Box::new(BufWriter::new(io::stdout().lock())),
    };
    // RFC 4180, section 2: lines end in CR LF.
    let out = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(out);
    let Format::Csv = arguments.format;
    let days = time::days(arguments.from, arguments.to).collect::<Vec<_>>();
    let ended = match arguments.what {
        What::Readings => readings(plant, &configuration, &days, meter.as_ref(), out),
        What::Slices => slices(plant, &configuration, &days, meter.as_ref(), out),
    };
    match ended {
        Ok(0) => say_nothing(plant, &configuration, &arguments, meter.as_ref())?,
        Err(Failure::Unreachable(error)) if is_closed_pipe(&error) => {}
        ended => {
            ended?;
        }
    }
    Ok(Outcome::Done)
}

/// Says on stderr that nothing lies in the period that was asked for, and where something does.
fn say_nothing(
    plant: &Path,
    configuration: &Configuration,
    arguments: &Arguments,
    meter: Option<&MeterId>,
) -> Result<(), Failure> {
    let zone = configuration.plant.zone;
    let store = Store::open(plant, zone, Access::Read).map_err(Failure::unreachable)?;
    let mut held: Option<(At, At)> = None;
    for series in wanted(&store, meter)? {
        if let Some((first, last)) = store.extent(&series).map_err(Failure::unreachable)? {
            held = Some(held.map_or((first, last), |(from, to)| (from.min(first), to.max(last))));
        }
    }
    let of = meter.map_or(String::new(), |meter| format!(" of meter {meter}"));
    let held = match held {
        Some((first, last)) => format!("its readings{of} are from {} to {}", zone.date(first), zone.date(last)),
        None => format!("it holds no readings{of} yet"),
    };
    let what = match arguments.what {
        What::Readings => "no readings",
        What::Slices => "no slice with known energy",
    };
    eprintln!("the store has {what}{of} from {} to {}; {held}", arguments.from, arguments.to);
    Ok(())
}

/// The series that are wanted: all, or those of a meter.
fn wanted(store: &Store, meter: Option<&MeterId>) -> Result<Vec<Series>, Failure> {
    let all = store.series().map_err(Failure::unreachable)?;
    let wanted = |series: &Series| meter.is_none_or(|id| series.subject == Subject::Meter(id.clone()));
    Ok(all.into_iter().filter(wanted).collect())
}

/// Whether nobody reads any more, as after `| head`.
fn is_closed_pipe(error: &anyhow::Error) -> bool {
    error.chain().filter_map(|cause| cause.downcast_ref::<io::Error>()).any(|e| e.kind() == io::ErrorKind::BrokenPipe)
}

/// An output that cannot be written.
fn unwritten(error: impl Into<io::Error>) -> Failure {
    Failure::unreachable(anyhow::Error::new(error.into()).context("the export cannot be written"))
}

/// Day by day, in each day by series and time; how many there were.
fn readings<W: Write>(
    plant: &Path,
    configuration: &Configuration,
    days: &[NaiveDate],
    meter: Option<&MeterId>,
    mut out: csv::Writer<W>,
) -> Result<u64, Failure> {
    let zone = configuration.plant.zone;
    let store = Store::open(plant, zone, Access::Read).map_err(Failure::unreachable)?;
    let all = wanted(&store, meter)?;
    let mut rows = 0;
    out.write_record(["time", "subject", "quantity", "count"]).map_err(unwritten)?;
    for day in days {
        let found = store.readings_of(&all, zone.day(*day), false).map_err(Failure::unreachable)?;
        for issue in &found.issues {
            eprintln!("{}: {}", issue.about, issue.text);
        }
        for (series, readings) in &found.value {
            let (subject, quantity) = (series.subject.to_string(), series.quantity.to_string());
            for Reading { at, count } in readings {
                let time = zone.local(*at).to_rfc3339_opts(SecondsFormat::AutoSi, false);
                out.write_record([&time, &subject, &quantity, &count.to_string()]).map_err(unwritten)?;
                rows += 1;
            }
        }
    }
    out.flush().map_err(unwritten)?;
    Ok(rows)
}

const SLICE_COLUMNS: [&str; 13] = [
    "start",
    "end",
    "meter",
    "press",
    "station",
    "lamp_kind",
    "press_state",
    "lamp_state",
    "run",
    "claim",
    "energy_kwh",
    "amount_known",
    "place_known",
];

/// Day by day, in each day as the ledger has them; of how many the energy is known.
fn slices<W: Write>(
    plant: &Path,
    configuration: &Configuration,
    days: &[NaiveDate],
    meter: Option<&MeterId>,
    mut out: csv::Writer<W>,
) -> Result<u64, Failure> {
    let now = Clock::start(0).now();
    let books = Books::open(plant, configuration, now).map_err(Failure::unreachable)?;
    out.write_record(SLICE_COLUMNS).map_err(unwritten)?;
    let mut known = 0;
    // A week at a time: all cores have work, and a year takes no more memory than a week.
    for week in days.chunks(7) {
        for day in books.ledgers(week).map_err(Failure::unreachable)? {
            let wanted = day.value.slices.iter().filter(|slice| meter.is_none_or(|id| slice.usage.meter == *id));
            for slice in wanted {
                out.write_record(row(slice, configuration.plant.zone)).map_err(unwritten)?;
                known += u64::from(slice.usage.energy.is_some());
            }
        }
    }
    out.flush().map_err(unwritten)?;
    Ok(known)
}

/// A slice as a row; what does not apply or is not known is empty.
fn row(slice: &Slice, zone: Zone) -> [String; 13] {
    let (usage, owner) = (&slice.usage, &slice.owner);
    let Period { start, end } = usage.period;
    let stamp = |at| zone.local(at).to_rfc3339_opts(SecondsFormat::AutoSi, false);
    let text = |text: Option<&str>| text.unwrap_or_default().to_owned();
    [
        stamp(start),
        stamp(end),
        usage.meter.to_string(),
        text(owner.press.as_ref().map(|id| id.as_str())),
        text(owner.station.as_ref().map(|id| id.as_str())),
        text(owner.lamp.map(LampKind::word)),
        text(owner.press_state.map(words::press_state)),
        text(owner.lamp_state.map(words::lamp_state)),
        report::tame(owner.run.as_ref().map(|id| id.as_str()).unwrap_or_default()).into_owned(),
        words::claim(owner.claim).to_owned(),
        usage.energy.map(|energy| energy.to_string()).unwrap_or_default(),
        words::amount(usage.amount).to_owned(),
        words::placed(usage.placed).to_owned(),
    ]
}
