//! What the pages are made of.

use super::access::{Access, Key};
use super::assets::Assets;
use super::coded::Jobs;
use super::history::Histories;
use super::live::Pulse;
use super::page::Pages;
use crate::acquire::{Batch, Clock};
use crate::agent::{Live, Sources};
use crate::config::Configuration;
use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::Arc;
use tokio::sync::{mpsc, watch};

/// What it takes to show a plant.
pub struct Showing {
    /// What the agent knows right now.
    pub live: Arc<Live>,
    /// How the sources fare.
    pub sources: Sources,
    /// The agent's clock.
    pub clock: Clock,
    /// The plant folder.
    pub folder: PathBuf,
    /// The configuration.
    pub configuration: Configuration,
    /// Where answers of people go to be kept.
    pub intake: mpsc::WeakSender<Batch>,
    /// Where it listens.
    pub listen: SocketAddr,
}

/// A plant with the pages that show it.
pub struct Shown {
    pub(super) of: Showing,
    /// Who may see and do what.
    pub(super) access: Access,
    /// How jobs are called.
    pub(super) jobs: Jobs,
    pub(super) pages: Pages,
    /// What was computed for somebody else a moment ago.
    pub(super) histories: Histories,
    pub(super) assets: Assets,
    /// What changes while a page is open.
    pub(super) pulse: watch::Sender<Arc<Pulse>>,
}

impl Shown {
    /// Prepares the pages.
    ///
    /// # Errors
    /// Where the system gives no random numbers, or a template cannot be read.
    pub fn new(of: Showing) -> Result<Self, BoardError> {
        let board = &of.configuration.board;
        let key = Key::of(&of.folder)?;
        let (jobs, access) = (Jobs::new(board.are_jobs_coded, &key), Access::new(board, key));
        let own = of.folder.join("templates/board");
        let (pages, assets) = (Pages::new(&own)?, Assets::new(&own)?);
        Ok(Self { access, jobs, pages, histories: Histories::default(), assets, pulse: watch::Sender::default(), of })
    }
}

/// Why the board cannot be shown.
#[derive(Debug, thiserror::Error)]
pub enum BoardError {
    /// A template is damaged.
    #[error("a template of the board cannot be used")]
    Template(#[from] tera::Error),
    /// No random numbers.
    #[error("the system gives no random numbers: {0}")]
    Random(String),
    /// A file of the plant, such as its key, cannot be read or made.
    #[error("{0}: {1}")]
    File(PathBuf, std::io::Error),
}
