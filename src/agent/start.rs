//! Starts every task of the agent, and ends them in the order in which values flow.

use super::alerting::{self, Alerting, alert};
use super::control::{self, Asked};
#[cfg(feature = "influx")]
use super::forwarding::{Forwarding, forward};
use super::keep_time::{epoch_event, keep_time};
use super::live::Live;
use super::reached::{Unreachable, endpoint};
use super::settle::{Settling, settle};
use super::writer;
use crate::acquire::modbus::{Ask, LineState, run_line};
use crate::acquire::mqtt::{self, BrokerState, Presence};
use crate::acquire::{Batch, Clock, TOLERANCE};
use crate::attribute;
use crate::broker::Endpoint;
use crate::config::Configuration;
use crate::readings::{Series, Subject};
use crate::sources::{Refusal, Router, Runs};
use crate::store::{Access, Store, StoreError};
use crate::time::Period;
use std::path::Path;
use std::sync::Arc;
use std::thread;
use tokio::runtime::Handle;
use tokio::sync::{mpsc, watch};
use tokio::task::JoinSet;
use tracing::{error, warn};

/// Batches between the sources and the writer.
const INTAKE: usize = 1_024;
/// Requests that a line may have waiting.
const ASKS: usize = 4;

/// Why the agent cannot start.
#[derive(Debug, thiserror::Error)]
pub enum StartError {
    /// The store cannot be opened for writing, or another agent has it.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The agent's socket cannot be made.
    #[error("the agent's socket in the store's folder cannot be made: {0}")]
    Socket(std::io::Error),
    /// A mapping of the broker's messages cannot be used.
    #[error("{}: found {}, expected {}", .0.place, .0.found, .0.expected)]
    Mapping(Refusal),
    /// The password of the broker or a file of its TLS is not at hand.
    #[error(transparent)]
    Broker(#[from] Unreachable),
}

/// How the sources fare.
#[derive(Clone, Debug)]
pub struct Sources {
    /// The state of each line.
    pub lines: Vec<watch::Receiver<LineState>>,
    /// The state of the broker's connection, where there is a broker.
    pub broker: Option<watch::Receiver<BrokerState>>,
}

/// A running agent.
pub struct Agent {
    /// What it knows right now.
    pub live: Arc<Live>,
    /// How its sources fare.
    pub sources: Sources,
    /// Its clock.
    pub clock: Clock,
    /// Where facts go to be kept, such as answers that people give; it ends with the agent.
    pub intake: mpsc::WeakSender<Batch>,
    stop: watch::Sender<bool>,
    tasks: JoinSet<()>,
    writer: thread::JoinHandle<()>,
}

impl Agent {
    /// Opens the store of a plant folder and starts polling, listening and writing.
    ///
    /// # Errors
    /// Where the store or a mapping cannot be used.
    pub fn start(folder: &Path, configuration: &Configuration, clock: Clock) -> Result<Self, StartError> {
        let mut store = Store::open(folder, configuration.plant.zone, Access::Agent)?;
        for text in &configuration.texts {
            store.keep_document("configuration", &text.path, &text.text)?;
        }
        let events = store.events()?.value;
        let live = Arc::new(Live::of(attribute::with_events(&configuration.plant, &events).value));
        live.committed(clock.now(), &[], &events);
        live.kept(&store.events_stated()?);
        let router = router(configuration, Runs::new(&events))?;
        let epochs = begin_epoch(&mut store, configuration, &clock)?;
        let (stop, stopped) = watch::channel(false);
        let (out, intake) = mpsc::channel(INTAKE);
        let mut tasks = JoinSet::new();
        let writer = {
            let (live, clock, runtime) = (live.clone(), clock.clone(), Handle::current());
            let last = Last(stop.clone());
            thread::spawn(move || {
                // Nothing is worth reading once nothing can be written: a writer that ends ends the agent.
                let _last = last;
                writer::write(store, intake, live, clock, runtime, epochs);
            })
        };
        tasks.spawn(keep_time(clock.clone(), out.clone(), stopped.clone()));
        let door = control::open(folder).map_err(StartError::Socket)?;
        let (lines, asks) = start_lines(configuration, &clock, &out, &stopped, &mut tasks);
        let asked = Asked { plant: configuration.plant.clone(), lines: configuration.lines.clone(), asks };
        tasks.spawn(control::serve(door, asked, stopped.clone()));
        let settling = Settling {
            folder: folder.to_path_buf(),
            configuration: configuration.clone(),
            clock: clock.clone(),
            live: live.clone(),
            out: out.downgrade(),
        };
        tasks.spawn(settle(settling, stopped.clone()));
        let alerting = Alerting {
            folder: folder.to_path_buf(),
            configuration: Arc::new(configuration.clone()),
            clock: clock.clone(),
            live: live.clone(),
        };
        for channel in alerting::start(configuration) {
            tasks.spawn(alert(alerting.clone(), channel, stopped.clone()));
        }
        #[cfg(feature = "influx")]
        if let Some(influx) = configuration.influx.clone() {
            let forwarding = Forwarding {
                folder: folder.to_path_buf(),
                configuration: Arc::new(configuration.clone()),
                clock: clock.clone(),
                live: live.clone(),
            };
            tasks.spawn(forward(forwarding, influx, stopped.clone()));
        }
        let intake = out.downgrade();
        let mut sources = Sources { lines, broker: None };
        if let Some((endpoint, router)) = router {
            let (state, seen) = watch::channel(BrokerState::unreached(clock.now()));
            tasks.spawn(mqtt::run(endpoint, presence(configuration), router, clock.clone(), out, state, stopped));
            sources.broker = Some(seen);
        }
        Ok(Self { live, sources, clock, intake, stop, tasks, writer })
    }

    /// Turns true when the agent is to stop, or has ended because nothing can be written any more.
    pub fn stopped(&self) -> watch::Receiver<bool> {
        self.stop.subscribe()
    }

    /// Ends the sources, then commits everything that they delivered.
    pub async fn stop(self) {
        self.stop.send_replace(true);
        let mut tasks = self.tasks;
        while let Some(ended) = tasks.join_next().await {
            if let Err(fault) = ended {
                error!("a task of the agent ended before its time: {fault}");
            }
        }
        // The last sender of the intake went with the tasks, so the writer drains it and ends.
        if !matches!(tokio::task::spawn_blocking(move || self.writer.join()).await, Ok(Ok(()))) {
            error!("the writer ended by a panic");
        }
    }
}

/// Stops the agent when it goes.
struct Last(watch::Sender<bool>);

impl Drop for Last {
    fn drop(&mut self) {
        self.0.send_replace(true);
    }
}

/// Begins a new clock epoch where the clock stands before what was polled last, as it does when it was set back while no
/// agent ran. What is to be added to the clock's epochs for those of the store.
fn begin_epoch(store: &mut Store, configuration: &Configuration, clock: &Clock) -> Result<u32, StoreError> {
    let (now, epoch) = clock.stamp();
    let mut last = now;
    for polled in configuration.lines.iter().flat_map(|line| &line.meters) {
        for register in &polled.map.registers {
            let series = Series::new(Subject::Meter(polled.meter.clone()), register.quantity);
            let Some((_, stated)) = store.extent(&series)?.filter(|(_, stated)| *stated - now > TOLERANCE) else {
                continue;
            };
            // Of what an older epoch stated about the time ahead, nothing is in force.
            let ahead = store.readings(&series, Period::new(now + TOLERANCE, stated + 1), false)?;
            last = last.max(ahead.value.last().map_or(now, |reading| reading.at));
        }
    }
    if last > now {
        warn!("the clock stands {} ms before the last reading: a new epoch begins", last - now);
        store.commit_read("clock", 0, &[], &[epoch_event(now, now - last)])?;
    }
    Ok(store.newest_epoch()?.wrapping_sub(epoch))
}

/// Starts the task of each line that has meters.
fn start_lines(
    configuration: &Configuration,
    clock: &Clock,
    out: &mpsc::Sender<Batch>,
    stop: &watch::Receiver<bool>,
    tasks: &mut JoinSet<()>,
) -> (Vec<watch::Receiver<LineState>>, Vec<mpsc::Sender<Ask>>) {
    let (mut states, mut doors) = (Vec::new(), Vec::new());
    for line in configuration.lines.iter().filter(|line| !line.meters.is_empty()) {
        let (state, seen) = watch::channel(LineState::unasked(line, clock.now()));
        let (ask, asks) = mpsc::channel(ASKS);
        tasks.spawn(run_line(line.clone(), clock.clone(), out.clone(), asks, state, stop.clone()));
        states.push(seen);
        doors.push(ask);
    }
    (states, doors)
}

/// The broker and the routes of its messages, where there is a broker.
fn router(configuration: &Configuration, runs: Runs) -> Result<Option<(Endpoint, Router)>, StartError> {
    let Some(broker) = &configuration.broker else { return Ok(None) };
    let router = Router::new(&broker.topics, &configuration.plant, runs).map_err(StartError::Mapping)?;
    Ok(Some((endpoint(broker)?, router)))
}

/// Where the agent says at the broker whether it is there.
fn presence(configuration: &Configuration) -> Option<Presence> {
    let topic = configuration.broker.as_ref()?.presence.clone()?;
    Some(Presence { topic, zone: configuration.plant.zone })
}
