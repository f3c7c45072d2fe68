//! `inkwatt check`.

use super::{Ended, Outcome};
use std::path::Path;

/// Arguments of the command.
#[derive(clap::Args)]
pub struct Arguments {}

/// Runs the command on a plant folder.
pub fn run(_plant: &Path, _arguments: Arguments) -> Ended {
    Ok(Outcome::Done)
}
