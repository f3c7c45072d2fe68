//! Forwards to InfluxDB while the agent runs. One thread reads what is due and hands it on in steps, one task sends them in their order;
//! the book is written when lines were taken, so that whatever ends in between is sent once more and replaces itself.

mod quarters;
mod readings;
mod round;
mod sender;
mod worth;

use super::live::Live;
use crate::acquire::Clock;
use crate::config::{Configuration, Influx};
use crate::forward::influx::{Database, PATIENCE};
use crate::store::{ForwardBook, StoreError};
use round::{Carried, Ended, Round};
use sender::Sender;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::{mpsc, watch};
use tokio::time::sleep;
use tracing::warn;

/// How often it is looked whether anything is due.
const EVERY: Duration = Duration::from_secs(5);
/// In a plant of many fast meters looking takes long: the pause is at least so many times as long, so that the polls keep the processor.
const SHARE: u32 = 19;
/// Steps that are read ahead of what is sent.
const AHEAD: usize = 2;

/// What the task works on.
#[derive(Clone)]
pub(super) struct Forwarding {
    pub(super) folder: PathBuf,
    pub(super) configuration: Arc<Configuration>,
    pub(super) clock: Clock,
    pub(super) live: Arc<Live>,
}

/// Forwards until told to stop.
pub(super) async fn forward(forwarding: Forwarding, influx: Influx, mut stop: watch::Receiver<bool>) {
    tokio::select! {
        _ = stop.wait_for(|stop| *stop) => {}
        () = forwarding.on_and_on(&influx) => {}
    }
}

impl Forwarding {
    async fn on_and_on(&self, influx: &Influx) {
        let mut sender = match self.sender(influx) {
            Ok(sender) => sender,
            Err(told) => return warn!("nothing is forwarded to InfluxDB: {told}"),
        };
        let mut carried = Carried::default();
        loop {
            let (out, steps) = mpsc::channel(AHEAD);
            let (this, before) = (self.clone(), std::mem::take(&mut carried));
            let reading = tokio::task::spawn_blocking(move || this.read(before, out));
            let sent = sender.take(steps).await;
            // A panic was told where it happened; what it carried begins anew.
            let (read, busy) = reading.await.unwrap_or_else(|_| (Ok(Carried::default()), Duration::ZERO));
            match read {
                Ok(after) if sent.is_ok() => carried = after,
                Ok(_) | Err(Ended::Stopped) => {}
                Err(Ended::Store(fault)) => warn!("what is to be forwarded could not be read: {fault}"),
            }
            if let Err(fault) = sent {
                warn!("what was forwarded could not be noted: {fault}");
            }
            sleep(EVERY.max(SHARE * busy)).await;
        }
    }

    /// Reads what is due and hands it on; how long that took without the time for which nobody wanted it.
    fn read(&self, mut carried: Carried, out: mpsc::Sender<round::Step>) -> (Result<Carried, Ended>, Duration) {
        let mut round = match Round::new(self, out) {
            Ok(round) => round,
            Err(fault) => return (Err(Ended::Store(fault)), Duration::ZERO),
        };
        let done = round.run(&mut carried);
        (done.map(|()| carried), round.busy())
    }

    fn sender(&self, influx: &Influx) -> Result<Sender, String> {
        let told = |fault: StoreError| fault.to_string();
        let mut book = ForwardBook::open(&self.folder).map_err(told)?;
        let Influx { url, organisation, bucket, .. } = influx;
        book.begin(&[url, organisation, bucket, &*self.configuration.plant.name].join("\n")).map_err(told)?;
        let made = database(influx);
        if let Err(fault) = &made {
            book.failed(fault, self.clock.now()).map_err(told)?;
        }
        let standing = book.standing().map_err(told)?;
        self.live.forwarded(|forwarded| forwarded.standing = standing);
        Ok(Sender::new(made?, book, self.clock.clone(), self.live.clone()))
    }
}

/// The database of the configuration, ready to be written to.
fn database(influx: &Influx) -> Result<Database, String> {
    let token = influx.token.reveal().map_err(|told| told.to_string())?;
    let of = |path: &PathBuf, fault: &dyn std::fmt::Display| format!("{}: {fault}", path.display());
    let authority = match &influx.authority {
        Some(path) => Some(std::fs::read(path).map_err(|fault| of(path, &fault))?),
        None => None,
    };
    let made = Database::new(&influx.url, &influx.organisation, &influx.bucket, token, authority.as_deref(), PATIENCE);
    made.map_err(|fault| influx.authority.as_ref().map_or(fault.clone(), |path| of(path, &fault)))
}
