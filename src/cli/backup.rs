//! `inkwatt backup`: a consistent copy of the store.

use super::{Ended, Failure, Outcome, configuration};
use crate::config::Use;
use crate::store::{Access, Store};
use crate::units::counted;
use std::path::{Path, PathBuf};

/// Arguments of the command.
#[derive(clap::Args)]
#[command(after_help = "Example:
  inkwatt backup /mnt/backup/hall-1
The agent may go on running. A second backup into the same folder copies only the months that have changed. The
configuration is not copied as files; its texts are kept in the store. To put a backup back, stop the agent and copy
the folder's store/ into the plant folder.")]
pub struct Arguments {
    /// The folder for the copy; it is made if need be.
    #[arg(value_name = "DIR")]
    folder: PathBuf,
    /// Prints JSON.
    #[arg(long)]
    json: bool,
}

/// What is printed as JSON.
#[derive(serde::Serialize)]
struct Summary {
    months_copied: usize,
    months_unchanged: usize,
}

/// Runs the command on a plant folder.
pub fn run(plant: &Path, arguments: Arguments) -> Ended {
    let configuration = configuration(plant, Use::Metering)?;
    let store = Store::open(plant, configuration.plant.zone, Access::Read).map_err(Failure::unreachable)?;
    let copied = store.backup(&arguments.folder).map_err(Failure::unreachable)?;
    if arguments.json {
        let summary = Summary { months_copied: copied.months, months_unchanged: copied.unchanged };
        println!("{}", serde_json::to_string_pretty(&summary).map_err(Failure::unusable)?);
    } else {
        println!(
            "copied the facts and {} of packed readings to {}; {} had not changed",
            counted(copied.months, "month"),
            arguments.folder.display(),
            counted(copied.unchanged, "month")
        );
    }
    Ok(Outcome::Done)
}
