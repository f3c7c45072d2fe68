//! `inkwatt run`: the agent, until it is told to stop.

use super::{Ended, Failure, Outcome, configuration, logging};
use crate::acquire::Clock;
use crate::agent::Agent;
use crate::board::{self, Shown};
use crate::config::Configuration;
use anyhow::Context;
use std::path::Path;
use std::sync::Arc;
use tokio::net::TcpListener;
use tokio::runtime::Runtime;
use tokio::signal::unix::{SignalKind, signal};
use tracing::info;

/// Arguments of the command.
#[derive(clap::Args)]
#[command(after_help = "Example:\n  inkwatt --plant /var/lib/inkwatt run")]
pub struct Arguments {}

/// Runs the command on a plant folder.
pub fn run(plant: &Path, _arguments: Arguments) -> Ended {
    logging("info");
    let configuration = configuration(plant)?;
    let runtime = Runtime::new().map_err(Failure::unreachable)?;
    runtime.block_on(async {
        let listener = listen(&configuration).await?;
        let agent = Agent::start(plant, &configuration, Clock::start(0)).map_err(Failure::unreachable)?;
        serve_until(plant, configuration, agent, listener, told_to_stop()).await
    })
}

/// The listener of the page.
pub(super) async fn listen(configuration: &Configuration) -> Result<TcpListener, Failure> {
    let listener = TcpListener::bind(configuration.listen).await;
    let context = || format!("cannot serve the page on {}; is another agent running?", configuration.listen);
    listener.with_context(context).map_err(Failure::Unreachable)
}

/// Serves the page of a running agent until `end`, then stops the agent with everything committed.
pub(super) async fn serve_until(
    plant: &Path,
    configuration: Configuration,
    agent: Agent,
    listener: TcpListener,
    end: impl Future<Output = std::io::Result<()>>,
) -> Ended {
    let shown = Arc::new(Shown {
        plant: configuration.plant,
        live: agent.live.clone(),
        sources: agent.sources.clone(),
        clock: agent.clock.clone(),
        reports: plant.join("reports"),
    });
    info!("the page is on http://{}", configuration.listen);
    let page = tokio::spawn(board::serve(listener, shown, agent.stopped()));
    let ended = end.await.map_err(Failure::unreachable);
    agent.stop().await;
    page.await.map_err(Failure::unreachable)?.map_err(Failure::unreachable)?;
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
