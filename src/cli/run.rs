//! `inkwatt run`: the agent, until it is told to stop.

use super::supervisor::Supervisor;
use super::{Ended, Failure, Outcome, left_out, loaded, logging};
use crate::acquire::Clock;
use crate::agent::Agent;
use crate::board::{self, Showing, Shown};
use crate::config::{Configuration, Use};
use anyhow::anyhow;
use std::io::ErrorKind;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;
use tokio::net::TcpListener;
use tokio::runtime::Runtime;
use tokio::signal::unix::{SignalKind, signal};
use tokio::time::timeout;
use tracing::{info, warn};

/// How long a page that is being sent is waited for at the end.
const FAREWELL: Duration = Duration::from_millis(500);

/// Arguments of the command.
#[derive(clap::Args)]
#[command(after_help = "Example:\n  inkwatt --plant /var/lib/inkwatt run")]
pub struct Arguments {}

/// Runs the command on a plant folder.
pub fn run(plant: &Path, _arguments: Arguments) -> Ended {
    logging("info");
    let configuration = loaded(plant, Use::Metering)?;
    left_out(&configuration).for_each(|line| warn!("{line}"));
    let runtime = Runtime::new().map_err(Failure::unreachable)?;
    let ended = runtime.block_on(async {
        let listener = listen(&configuration).await?;
        let agent = Agent::start(plant, &configuration, Clock::start(0)).map_err(Failure::unreachable)?;
        let supervisor = Arc::new(Supervisor::of_environment());
        let (watched, intake) = (supervisor.clone(), agent.intake.clone());
        tokio::spawn(async move { watched.live(intake).await });
        supervisor.ready();
        let end = async {
            let told = told_to_stop().await;
            supervisor.stopping();
            told
        };
        serve_until(plant, configuration, agent, listener, end).await
    });
    // A day that is still being computed is not waited for: everything that was read is committed by now.
    runtime.shutdown_background();
    ended
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
    end: impl Future<Output = std::io::Result<()>>,
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
    let page = tokio::spawn(board::serve(listener, terms, shown, agent.stopped()));
    let mut stopped = agent.stopped();
    let ended = tokio::select! {
        ended = end => ended.map_err(Failure::unreachable),
        _ = stopped.wait_for(|stop| *stop) => {
            Err(Failure::unreachable(anyhow!("the agent cannot write any more; its log says why")))
        }
    };
    agent.stop().await;
    // Whoever is slow to take a page does not keep the agent.
    if let Ok(page) = timeout(FAREWELL, page).await {
        page.map_err(Failure::unreachable)?.map_err(Failure::unreachable)?;
    }
    ended.map(|()| Outcome::Done)
}

/// Waits for an interrupt or a request to terminate.
pub(super) async fn told_to_stop() -> std::io::Result<()> {
    let mut terminate = signal(SignalKind::terminate())?;
    let mut interrupt = signal(SignalKind::interrupt())?;
    tokio::select! {
        _ = terminate.recv() => {}
        _ = interrupt.recv() => {}
    }
    Ok(())
}
