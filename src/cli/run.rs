//! `inkwatt run`: the agent, until it is told to stop; told to reload (SIGHUP), an agent by the changed configuration.

use super::supervisor::Supervisor;
use super::{Ended, Failure, Outcome, left_out, loaded, logging};
use crate::acquire::Clock;
use crate::agent::{self, Agent};
use crate::board::{self, Showing, Shown};
use crate::config::{Configuration, Use};
use anyhow::anyhow;
use std::future::pending;
use std::io::{self, ErrorKind};
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;
use tokio::net::TcpListener;
use tokio::runtime::Runtime;
use tokio::signal::unix::{Signal, SignalKind, signal};
use tokio::time::timeout;
use tracing::{error, info, warn};

/// How long a page that is being sent is waited for at the end.
const FAREWELL: Duration = Duration::from_millis(500);

/// Arguments of the command.
#[derive(clap::Args)]
#[command(after_help = "Example:\n  inkwatt --plant /var/lib/inkwatt run")]
pub struct Arguments {}

/// Runs the command on a plant folder.
pub fn run(plant: &Path, _arguments: Arguments) -> Ended {
    logging("info");
    let configuration = usable(plant)?;
    let runtime = Runtime::new().map_err(Failure::unreachable)?;
    let ended = runtime.block_on(agents(plant, configuration));
    // A day that is still being computed is not waited for: everything that was read is committed by now.
    runtime.shutdown_background();
    ended
}

/// The configuration as it stands now, where an agent can run by it.
fn usable(plant: &Path) -> Result<Configuration, Failure> {
    let configuration = loaded(plant, Use::Metering)?;
    configuration.board.tls.as_ref().map(board::terms).transpose().map_err(Failure::unusable)?;
    configuration.broker.as_ref().map(agent::endpoint).transpose().map_err(Failure::unusable)?;
    left_out(&configuration).for_each(|line| warn!("{line}"));
    Ok(configuration)
}

/// One agent after the other: the next begins where a changed configuration is to be read and can be used.
async fn agents(plant: &Path, mut configuration: Configuration) -> Ended {
    let supervisor = Arc::new(Supervisor::of_environment());
    let mut ending = Ending::listen().map_err(Failure::unreachable)?;
    let mut hangup = signal(SignalKind::hangup()).map_err(Failure::unreachable)?;
    let mut started = start(plant, &configuration).await?;
    supervisor.ready();
    loop {
        let (listener, agent) = started;
        let (watched, intake) = (supervisor.clone(), agent.intake.clone());
        let signs = tokio::spawn(async move { watched.live(intake).await });
        let mut next = None;
        let end = async {
            tokio::select! {
                () = ending.told() => supervisor.stopping(),
                usable = changed(plant, &mut hangup) => next = Some(usable),
            }
        };
        let ended = serve_until(plant, configuration.clone(), agent, listener, end).await;
        signs.abort();
        let (outcome, wanted) = (ended?, next);
        let Some(wanted) = wanted else { return Ok(outcome) };
        started = match start(plant, &wanted).await {
            Ok(started) => {
                info!("the changed configuration is in force");
                configuration = wanted;
                started
            }
            Err(fault) => {
                error!("{fault}; the configuration before it stays in force");
                start(plant, &configuration).await?
            }
        };
    }
}

/// Binds the page and starts an agent.
async fn start(plant: &Path, configuration: &Configuration) -> Result<(TcpListener, Agent), Failure> {
    let listener = listen(configuration).await?;
    let agent = Agent::start(plant, configuration, Clock::start(0)).map_err(Failure::unreachable)?;
    Ok((listener, agent))
}

/// Waits until the configuration is to be read again (SIGHUP) and can be used. One that cannot leaves the agent alone.
async fn changed(plant: &Path, hangup: &mut Signal) -> Configuration {
    loop {
        if hangup.recv().await.is_none() {
            return pending().await;
        }
        match usable(plant) {
            Ok(configuration) => return configuration,
            Err(fault) => {
                error!("{fault}\nthe configuration that was read before stays in force; mend it and reload again")
            }
        }
    }
}

/// The listener of the page.
pub(super) async fn listen(configuration: &Configuration) -> Result<TcpListener, Failure> {
    TcpListener::bind(configuration.board.listen).await.map_err(|error| {
        let listen = configuration.board.listen;
        let what = match error.kind() {
            ErrorKind::AddrInUse => {
                "another program has this port, perhaps another agent: stop it, or name another port"
            }
            _ => "name an address of this machine",
        };
        let help = format!("{what} under [board] listen in config/plant.toml");
        Failure::unreachable(anyhow!("cannot serve the page on {listen}: {error}\nhelp: {help}"))
    })
}

/// Serves the page of a running agent until `end`, then stops the agent with everything committed.
pub(super) async fn serve_until(
    plant: &Path,
    configuration: Configuration,
    agent: Agent,
    listener: TcpListener,
    end: impl Future<Output = ()>,
) -> Ended {
    let listen = configuration.board.listen;
    let terms = match configuration.board.tls.as_ref().map(board::terms).transpose() {
        Ok(terms) => terms,
        Err(fault) => {
            agent.stop().await;
            return Err(Failure::unusable(fault));
        }
    };
    let scheme = if terms.is_some() { "https" } else { "http" };
    let showing = Showing {
        live: agent.live.clone(),
        sources: agent.sources.clone(),
        clock: agent.clock.clone(),
        folder: plant.to_path_buf(),
        configuration,
        intake: agent.intake.clone(),
        listen,
    };
    let shown = match Shown::new(showing) {
        Ok(shown) => Arc::new(shown),
        Err(fault) => {
            agent.stop().await;
            return Err(Failure::unreachable(fault));
        }
    };
    info!("the board is on {scheme}://{listen}");
    let mut page = tokio::spawn(board::serve(listener, terms, shown, agent.stopped()));
    let mut stopped = agent.stopped();
    let ended = tokio::select! {
        () = end => Ok(Outcome::Done),
        _ = stopped.wait_for(|stop| *stop) => {
            Err(Failure::unreachable(anyhow!("the agent cannot write any more; its log says why")))
        }
    };
    agent.stop().await;
    // Whoever is slow to take a page does not keep the agent, nor its port.
    match timeout(FAREWELL, &mut page).await {
        Ok(page) => page.map_err(Failure::unreachable)?.map_err(Failure::unreachable)?,
        Err(_) => page.abort(),
    }
    ended
}

/// What ends the program. It listens from when it is made, so that nothing is missed between two agents.
pub(super) struct Ending {
    terminate: Signal,
    interrupt: Signal,
}

impl Ending {
    /// Listens.
    pub(super) fn listen() -> io::Result<Self> {
        Ok(Self { terminate: signal(SignalKind::terminate())?, interrupt: signal(SignalKind::interrupt())? })
    }

    /// Waits for an interrupt or a request to terminate.
    pub(super) async fn told(&mut self) {
        tokio::select! {
            _ = self.terminate.recv() => {}
            _ = self.interrupt.recv() => {}
        }
    }
}
