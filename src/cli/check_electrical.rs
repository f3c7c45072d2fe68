//! `inkwatt check --electrical`: watches the meters for some minutes and keeps the commissioning record.

use super::{Ended, Failure, Outcome};
use crate::acquire::modbus::{LineState, run_line};
use crate::acquire::{Batch, Clock};
use crate::agent::is_running;
use crate::config::Configuration;
use crate::names::{MeterId, StationId};
use crate::plant::Plant;
use crate::readings::{Quantity, Subject};
use crate::sources::electrical::{CAUTION, Commissioning, Sample, Switched, Verdict, Watched, examine};
use crate::sources::{Line, Polled};
use crate::store::{Access, Store};
use crate::time::Period;
use anyhow::anyhow;
use std::collections::BTreeMap;
use std::path::Path;
use tokio::sync::{mpsc, watch};
use tokio::task::JoinSet;

/// Each meter is asked at least this often while it is watched, in milliseconds.
const INTERVAL: u64 = 2_000;

/// Said where an agent runs.
const BUSY: &str = "An agent is polling these meters too. A gateway that allows one connection refuses one of the two: \
where meters give no answer, stop the agent and watch again.";

/// How long to watch, and what is switched on meanwhile.
#[derive(clap::Args)]
pub struct Watching {
    /// With --electrical: for how many minutes the meters are watched.
    #[arg(long, value_name = "N", default_value_t = 5.0, requires = "electrical")]
    minutes: f64,
    /// With --electrical: asks you to switch this station on half way, and looks for it in the meters.
    #[arg(long, value_name = "STATION", requires = "electrical")]
    step: Option<String>,
}

/// Watches every polled meter and examines what it showed. Progress and the caution go to the standard error.
pub fn watch(folder: &Path, configuration: &Configuration, watching: &Watching) -> Result<Commissioning, Failure> {
    let plant = &configuration.plant;
    let station = watching.step.as_deref().map(|name| station(plant, name)).transpose()?;
    if !(watching.minutes > 0.0 && watching.minutes <= 24.0 * 60.0) {
        return Err(Failure::unusable(anyhow!("--minutes must lie between 0 and 1440, found {}", watching.minutes)));
    }
    if configuration.lines.iter().all(|line| line.meters.is_empty()) {
        return Err(Failure::unusable(anyhow!("no meter is polled: the configuration has no [meter.modbus]")));
    }
    eprintln!("{CAUTION}");
    if is_running(folder) {
        eprintln!("{BUSY}");
    }
    let runtime = tokio::runtime::Runtime::new().map_err(Failure::unusable)?;
    let (period, samples, switched) = runtime.block_on(collect(&configuration.lines, watching.minutes, station));
    let polled = configuration.lines.iter().flat_map(|line| &line.meters);
    let watched: Vec<Watched> = polled.filter_map(|polled| watched(plant, polled, &samples)).collect();
    Ok(examine(plant, period, &watched, switched.as_ref()))
}

/// Keeps the record in the store of the plant.
pub fn keep(folder: &Path, plant: &Plant, record: &Commissioning) -> Result<(), Failure> {
    let mut store = Store::open(folder, plant.zone, Access::Command).map_err(Failure::unreachable)?;
    let path = format!("commissioning/{}.json", record.period.start);
    let text = format!("{:#}\n", record.json());
    store.keep_document("commissioning", &path, &text).map_err(Failure::unreachable)?;
    eprintln!("kept in the store as {path}");
    Ok(())
}

/// How the command ends: 3 where a meter gave no samples, 1 where a test failed, else 0.
pub fn ended(record: &Commissioning) -> Ended {
    let silent: Vec<&str> = record.meters.iter().filter(|(_, n)| *n == 0).map(|(meter, _)| meter.id.as_str()).collect();
    match record.count(Verdict::Failed) {
        _ if !silent.is_empty() => {
            Err(Failure::unreachable(anyhow!("no values of {}; see inkwatt check --poll", silent.join(", "))))
        }
        0 => Ok(Outcome::Done),
        _ => Ok(Outcome::Finding),
    }
}

/// The station of that name.
fn station(plant: &Plant, name: &str) -> Result<StationId, Failure> {
    let id = StationId::from(name);
    let all = || plant.presses.iter().flat_map(|press| &press.stations).map(|station| station.id.as_str());
    match plant.station(&id) {
        Some(_) => Ok(id),
        None => Err(Failure::unusable(anyhow!(
            "--step: expected a station such as p1/s3, found {name:?}; the plant has {}",
            all().collect::<Vec<_>>().join(", ")
        ))),
    }
}

/// What the meters showed, by meter.
type Samples = BTreeMap<MeterId, Vec<Sample>>;

/// Polls the lines for so many minutes; half way a person may be asked to switch a station on.
async fn collect(lines: &[Line], minutes: f64, station: Option<StationId>) -> (Period, Samples, Option<Switched>) {
    let clock = Clock::start(0);
    let (stop, stopped) = watch::channel(false);
    let (out, mut batches) = mpsc::channel(1_024);
    let mut tasks = JoinSet::new();
    for line in lines {
        let mut line = line.clone();
        line.meters.iter_mut().for_each(|polled| polled.interval = polled.interval.min(INTERVAL));
        let (state, _) = watch::channel(LineState::unasked(&line, clock.now()));
        // Nobody asks a line that is watched.
        let (_, asks) = mpsc::channel(1);
        tasks.spawn(run_line(line, clock.clone(), out.clone(), asks, state, stopped.clone()));
    }
    drop(out);
    let meters: usize = lines.iter().map(|line| line.meters.len()).sum();
    let lines = lines.to_vec();
    let samples = tokio::spawn(async move {
        let mut samples = Samples::new();
        while let Some(batch) = batches.recv().await {
            take(&lines, &batch, &mut samples);
        }
        samples
    });
    let start = clock.now();
    let whole = (minutes * 60_000.0) as i64;
    eprintln!("meters watched: {meters}, for {minutes} min");
    let mut switched = None;
    if let Some(station) = station {
        clock.until(start + whole / 2).await;
        eprintln!("Switch station {station} on now, guards closed and extraction running. Then press Enter.");
        // A closed input counts as the key: nobody is there to press it.
        let _ = tokio::task::spawn_blocking(|| std::io::stdin().read_line(&mut String::new())).await;
        switched = Some(Switched { station, at: clock.now() });
        clock.until(clock.now() + whole / 2).await;
    } else {
        clock.until(start + whole).await;
    }
    stop.send_replace(true);
    tasks.join_all().await;
    (Period::new(start, clock.now()), samples.await.unwrap_or_default(), switched)
}

/// Takes in what one poll brought.
fn take(lines: &[Line], batch: &Batch, samples: &mut Samples) {
    let Some((series, _)) = batch.readings.first() else { return };
    let Subject::Meter(meter) = &series.subject else { return };
    let polled = lines.iter().flat_map(|line| &line.meters).find(|polled| polled.meter == *meter);
    if let Some(sample) = polled.and_then(|polled| Sample::of(&polled.map, &batch.readings)) {
        samples.entry(meter.clone()).or_default().push(sample);
    }
}

/// A polled meter with its samples; `None` where the plant does not know it.
fn watched(plant: &Plant, polled: &Polled, samples: &Samples) -> Option<Watched> {
    let meter = plant.meter(&polled.meter)?.clone();
    let samples = samples.get(&polled.meter).cloned().unwrap_or_default();
    let counts = meter.device.iter().next_back().map_or(1, |(_, device)| device.step);
    let register = polled.map.registers.iter().find(|register| register.quantity == Quantity::Import);
    let step_wh = register.map_or(1.0, |register| register.step.to_f64() / 1e3 * counts as f64);
    Some(Watched { meter, samples, step_wh })
}
