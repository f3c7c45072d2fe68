//! `inkwatt demo`: the whole job on the invented plant.

use super::report::write_month;
use super::run::{Ending, serve_until};
use super::{Ended, Failure, Outcome, configuration, import, logging};
use crate::acquire::Clock;
use crate::agent::Agent;
use crate::config::{Configuration, Use};
use crate::demo::{Bound, END, History, Model, ZONE, configure, is_made, prepare, tell_truth};
use crate::readings::{Event, Quantity, Rank, Reading, Series, Subject};
use crate::store::{Access, Store, StoreError};
use crate::time::{HOUR, Month};
use crate::units::counted;
use anyhow::Context;
use chrono::NaiveDate;
use std::collections::BTreeMap;
use std::io::{self, IsTerminal};
use std::net::Ipv4Addr;
use std::path::Path;
use std::sync::mpsc::{SyncSender, sync_channel};
use std::thread;
use std::time::{Duration, Instant};
use tokio::net::TcpListener;
use tokio::runtime::Runtime;

/// The page's port where nobody names one; any other where it is taken.
const PORT: u16 = 8420;
/// Days of the history that are written at once: few for little memory, enough for few transactions.
const DAYS: usize = 10;
/// The source of the history, as batches name it.
const SOURCE: &str = "demo";

/// The last complete months of the history.
const REPORTED: [Month; 2] = [Month { year: 2026, month: 5 }, Month { year: 2026, month: 6 }];

/// How long before the end of the history the agent's clock starts, in milliseconds: the first poll falls on the end.
const LEAD: i64 = 1_000;
/// How often, and with which pause, it is looked whether the meters have answered: 15 seconds at most.
const LOOKS: u32 = 150;
const LOOK: Duration = Duration::from_millis(100);

/// Arguments of the command.
#[derive(clap::Args)]
#[command(after_help = "Examples:
  inkwatt demo                      in the folder inkwatt-demo, until stopped by Ctrl-C
  inkwatt --plant /tmp/d demo --once
A folder that an earlier demo made is made anew; any other that is not empty is refused.")]
pub struct Arguments {
    /// Ends when the reports are written, instead of serving the page.
    #[arg(long)]
    once: bool,
    /// The port of the page on 127.0.0.1; 8420, or a free one where that is taken.
    #[arg(long, value_name = "N")]
    port: Option<u16>,
}

/// Runs the command; in the folder `inkwatt-demo` where none is named.
pub fn run(plant: Option<&Path>, arguments: Arguments) -> Ended {
    // The broker calls every connection that ends an error.
    logging("warn,rumqttd=off");
    let folder = plant.unwrap_or(Path::new("inkwatt-demo"));
    unused(folder)?;
    prepare(folder).map_err(Failure::unusable)?;
    let runtime = Runtime::new().map_err(Failure::unreachable)?;
    let ended = runtime.block_on(demonstrate(folder, arguments));
    // What the watch is still looking through is not waited for: everything that was read is committed by now.
    runtime.shutdown_background();
    ended
}

/// Refuses the folder of a demo that still runs: its store would be taken away from under it.
fn unused(folder: &Path) -> Result<(), Failure> {
    if !is_made(folder) || !folder.join("store").exists() {
        return Ok(());
    }
    match Store::open(folder, ZONE, Access::Agent) {
        Err(held @ StoreError::Held { .. }) => Err(Failure::unreachable(held)),
        // Whatever else is wrong with it: it is made anew.
        _ => Ok(()),
    }
}

/// History, reports, peers, agent, page.
async fn demonstrate(folder: &Path, arguments: Arguments) -> Ended {
    let begun = Instant::now();
    let page = listen(arguments.port).await?;
    let bound = Bound::bind().await.map_err(Failure::unreachable)?;
    let addresses = bound.gateways().and_then(|gateways| Ok((gateways, page.local_addr()?)));
    let (gateways, board) = addresses.map_err(Failure::unreachable)?;
    configure(folder, &gateways, bound.broker(), board).map_err(Failure::unreachable)?;
    let configuration = configuration(folder, Use::Promise)?;

    let (model, values) = tokio::task::block_in_place(|| history(folder, &configuration))?;
    println!(
        "{}: {values} values of 18 months in {}, ending {}",
        configuration.plant.name,
        folder.join("store").display(),
        configuration.plant.zone.stamp(END)
    );
    import::run(folder, import::Arguments::readings(folder.join("late/supply.csv"), "supplier"))?;
    import::run(folder, import::Arguments::certificates(folder.join("late/certificates.csv")))?;

    for month in REPORTED {
        progress(&format!("attributing {month} and the same month a year before"));
        let written = tokio::task::block_in_place(|| write_month(folder, &configuration, month, END, false))?;
        progress("");
        println!("{written}");
    }

    let clock = Clock::starting_at(END - LEAD);
    let now = clock.clone();
    let _peers = bound.serve(model, move || now.now()).await.map_err(Failure::unreachable)?;
    let agent = Agent::start(folder, &configuration, clock).map_err(Failure::unreachable)?;
    let (answered, meters) = joined(&agent, &configuration).await;
    println!(
        "{answered} of {} answer over Modbus TCP; what was planted stands in {}; all of it took {:.0} s",
        counted(meters, "meter"),
        folder.join("truth.json").display(),
        begun.elapsed().as_secs_f64()
    );
    if arguments.once {
        agent.stop().await;
        return Ok(Outcome::Done);
    }
    println!("http://{board}/ shows the plant live, and its reports; Ctrl-C stops");
    let mut ending = Ending::listen().map_err(Failure::unreachable)?;
    serve_until(folder, configuration, agent, page, ending.told()).await
}

/// Waits until every polled meter has given a live reading; gives how many have, and how many there are.
async fn joined(agent: &Agent, configuration: &Configuration) -> (usize, usize) {
    let polled = configuration.lines.iter().flat_map(|line| &line.meters);
    let series: Vec<Series> =
        polled.map(|polled| Series::new(Subject::Meter(polled.meter.clone()), Quantity::Import)).collect();
    let mut answered = 0;
    for _ in 0..LOOKS {
        let latest = agent.live.now().latest;
        answered = series.iter().filter(|series| latest.get(series).is_some_and(|reading| reading.at >= END)).count();
        if answered == series.len() {
            break;
        }
        tokio::time::sleep(LOOK).await;
    }
    (answered, series.len())
}

/// The listener of the page.
async fn listen(port: Option<u16>) -> Result<TcpListener, Failure> {
    let bind = |port| TcpListener::bind((Ipv4Addr::LOCALHOST, port));
    match port {
        Some(port) => bind(port).await.with_context(|| format!("cannot serve the page on port {port}")),
        None => match bind(PORT).await {
            Ok(listener) => Ok(listener),
            Err(_) => bind(0).await.context("cannot serve the page"),
        },
    }
    .map_err(Failure::Unreachable)
}

/// Writes the history and the truth file; gives the plant at its end and how many values were stored.
fn history(folder: &Path, configuration: &Configuration) -> Result<(Model, u64), Failure> {
    let mut store = Store::open(folder, configuration.plant.zone, Access::Agent).map_err(Failure::unreachable)?;
    let mut values = 0;
    // Some days are made while those before are packed, and wait until that is done: memory stays small.
    let made: Result<History, StoreError> = thread::scope(|scope| {
        let (out, made) = sync_channel::<Part>(0);
        let maker = scope.spawn(move || make(&out));
        for part in made {
            progress(&format!("making history: {}", Month::of(part.first)));
            store.commit(SOURCE, Rank::Live, &[], &part.events, None)?;
            values += store.write_sealed(SOURCE, Rank::Live, &part.readings, None)?.fresh;
        }
        Ok(maker.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)))
    });
    let history = made.map_err(Failure::unreachable)?;
    progress("");
    tell_truth(folder, history.truth()).map_err(Failure::unreachable)?;
    Ok((history.into_model(), values))
}

/// Some days of the history.
struct Part {
    first: NaiveDate,
    readings: Vec<(Series, Vec<Reading>)>,
    events: Vec<Event>,
}

/// Makes the history, some days at a time, until it ends or nobody takes it.
///
/// Local days may end within a UTC day, and the store packs UTC days: what lies in the one that is not over waits for
/// the next part, so that no day is packed twice.
fn make(out: &SyncSender<Part>) -> History {
    let mut history = History::default();
    let mut readings = BTreeMap::<Series, Vec<Reading>>::new();
    while let Some(first) = history.next() {
        let (date, mut events, mut until) = (first.date, Vec::new(), END);
        for day in [first].into_iter().chain(history.by_ref().take(DAYS - 1)) {
            events.extend(day.events);
            until = ZONE.day(day.date).end;
            for (series, of_day) in day.readings {
                readings.entry(series).or_default().extend(of_day);
            }
        }
        // The last day of the history ends before its midnight: nothing waits then.
        let end = if until > END { END } else { until.floor(24 * HOUR) };
        let split = |(series, all): (&Series, &mut Vec<Reading>)| {
            let rest = all.split_off(all.partition_point(|reading| reading.at < end));
            (series.clone(), std::mem::replace(all, rest))
        };
        let part = Part { first: date, readings: readings.iter_mut().map(split).collect(), events };
        if out.send(part).is_err() {
            break; // the store failed, and says so
        }
    }
    history
}

/// A line on stderr that replaces the one before; an empty one clears it. Nothing where nobody watches.
fn progress(text: &str) {
    if io::stderr().is_terminal() {
        eprint!("\r\x1b[K{text}");
    }
}
