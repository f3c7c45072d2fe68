//! Where the store lies: whether it can be written there, and whether there is room for what will be read.

use super::{Checked, user};
use crate::config::Configuration;
use crate::plant::Plant;
use crate::sources::TopicTarget;
use crate::store::refuse_network;
use crate::units::{counted, grouped};
use nix::sys::statvfs::statvfs;
use nix::unistd::{AccessFlags, Uid, eaccess};
use std::fs;
use std::path::{Path, PathBuf};

/// Readings are kept for ever; there should be room for those of as many years (own judgement), of 365 days.
const YEARS: u64 = 10;
/// These years, in milliseconds.
const AHEAD: u64 = YEARS * 365 * 24 * 3_600 * 1_000;
/// The most that a stored value takes with its time, in tenths of a byte: the aim that `cargo bench --bench store` is held to.
const TENTHS_A_VALUE: u128 = 13;
/// A value that messages carry is taken to come as often as this, in milliseconds; how often is not known before (own judgement).
const MESSAGE: u64 = 1_000;
/// For what is not packed yet, computed days and reports, in bytes (own judgement).
const BESIDES: u128 = 500_000_000;

/// The store, or the folder that it will be made in.
fn store(plant: &Path) -> PathBuf {
    let store = plant.join("store");
    if store.exists() { store } else { plant.to_path_buf() }
}

/// Whether the agent can write its store: the folder, each file in it, and on a disk of this machine.
pub(super) fn writable(plant: &Path) -> Vec<Checked> {
    let folder = store(plant);
    let mut all = Vec::new();
    if let Err(fault) = refuse_network(&folder) {
        all.push(Checked::lacking("store", fault.to_string(), "move the plant folder to a local disk"));
    }
    // Such as one that root has made by a command.
    let files = fs::read_dir(plant.join("store")).into_iter().flatten().flatten().map(|entry| entry.path());
    let denied = |path: PathBuf, flags| eaccess(&path, flags).err().map(|fault| (path, fault));
    let first = denied(folder.clone(), AccessFlags::W_OK | AccessFlags::X_OK);
    all.push(match first.or_else(|| files.filter_map(|file| denied(file, AccessFlags::W_OK)).next()) {
        None => Checked::ok("store", format!("{} can be written", folder.display())),
        Some((path, fault)) => {
            let this = user::name(Uid::effective());
            Checked::lacking(
                "store",
                format!("{} cannot be written by {this}: {}", path.display(), fault.desc()),
                format!(
                    "sudo chown -R {this}: {}; on a disk mounted read-only, mount it to be written",
                    folder.display()
                ),
            )
        }
    });
    all
}

/// Whether there is room for the readings of ten years.
pub(super) fn room(plant: &Path, configuration: &Configuration) -> Checked {
    let folder = store(plant);
    match statvfs(&folder) {
        Ok(disk) => {
            judged(u128::from(disk.blocks_available()) * u128::from(disk.fragment_size()), &Need::of(configuration))
        }
        Err(fault) => Checked::unknown(
            "room",
            format!("{}: free space cannot be told: {}", folder.display(), fault.desc()),
            format!("df -h {}", folder.display()),
        ),
    }
}

/// What the readings of ten years need.
struct Need {
    meters: usize,
    /// How many values messages carry.
    carried: usize,
    values: u64,
}

impl Need {
    fn of(configuration: &Configuration) -> Self {
        let polled = || configuration.lines.iter().flat_map(|line| &line.meters);
        let topics = configuration.broker.iter().flat_map(|broker| &broker.topics);
        let carried = topics.map(|topic| carried(&topic.target, &configuration.plant)).sum();
        let of_meters: u64 = polled().map(|one| one.map.registers.len() as u64 * (AHEAD / one.interval)).sum();
        Self { meters: polled().count(), carried, values: of_meters + carried as u64 * (AHEAD / MESSAGE) }
    }

    fn bytes(&self) -> u128 {
        u128::from(self.values) * TENTHS_A_VALUE / 10 + BESIDES
    }

    /// For how many years as much room lasts.
    fn lasts(&self, free: u128) -> usize {
        let years = (free.saturating_sub(BESIDES) * u128::from(YEARS)).checked_div(self.bytes() - BESIDES);
        years.and_then(|years| years.try_into().ok()).unwrap_or_default()
    }
}

/// How many values the messages of a topic carry, at most: one for each meter, press or station that it can name.
fn carried(target: &TopicTarget, plant: &Plant) -> usize {
    match target {
        TopicTarget::Meter { meter: Some(_), .. } => 1,
        TopicTarget::Meter { meter: None, .. } => plant.meters.len(),
        TopicTarget::Press { .. } => plant.presses.len(),
        TopicTarget::Station { .. } => plant.presses.iter().map(|press| press.stations.len()).sum(),
        TopicTarget::Sparkplug { metrics } => metrics.len(),
        TopicTarget::Job => 0,
    }
}

fn judged(free: u128, need: &Need) -> Checked {
    let megabytes = |bytes: u128| format!("{} MB", grouped(bytes / 1_000_000));
    let carried = match need.carried {
        0 => String::new(),
        count => format!(", by messages once a second: {count}"),
    };
    let found = format!(
        "{} free; {YEARS} years need {}: {} million values (polled meters: {}{carried}) of 1.3 bytes, and {} besides",
        megabytes(free),
        megabytes(need.bytes()),
        grouped(u128::from(need.values / 1_000_000)),
        need.meters,
        megabytes(BESIDES),
    );
    match free >= need.bytes() {
        true => Checked::ok("room", found),
        false => Checked::lacking(
            "room",
            found,
            format!(
                "it is full in about {}: make room, put the plant folder on a larger local disk, or poll less often",
                counted(need.lasts(free), "year")
            ),
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::super::Standing;
    use super::*;

    /// 40 meters of 6 values every 10 s: 40 x 6 x 31,536,000 = 7,568,640,000 values, x 1.3 = 9,839.2 MB, + 500 MB.
    #[test]
    fn room_is_held_against_the_readings_of_ten_years() {
        let need = Need { meters: 40, carried: 0, values: 7_568_640_000 };
        let enough = judged(10_339_232_000, &need);
        assert_eq!(enough.standing, Standing::Ok);
        let text = "10,339 MB free; 10 years need 10,339 MB: 7,568 million values (polled meters: 40) of 1.3 bytes, and 500 MB besides";
        assert_eq!(enough.found, text);
        assert_eq!(judged(10_339_231_999, &need).standing, Standing::Lacking);
        // (2,500 MB - 500 MB) / 983.9 MB a year.
        let short = judged(2_500_000_000, &need).remedy;
        assert!(short.is_some_and(|remedy| remedy.starts_with("it is full in about 2 years: ")));
    }
}
