//! The report of a month of the demo: with no day computed before, and with every day kept.
//!
//! Figures of one run compare only with each other: the last line is the ratio.

use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};
use tempfile::TempDir;

/// How often each is measured; the fastest counts, since whatever else the machine does only adds.
const ROUNDS: usize = 5;

fn main() {
    let folder = TempDir::new().expect("a folder");
    let plant = folder.path().join("plant");
    inkwatt(&plant, &["demo", "--once"]);
    let cold = fastest(|| {
        fs::remove_file(plant.join("store/derived.db")).expect("computed days are disposable");
        report(&plant)
    });
    let cached = fastest(|| report(&plant));
    println!("report of 2026-06 and of the year before it, 33 meters at one minute");
    println!("no day computed before: {:.2} s", cold.as_secs_f64());
    println!("every day kept:         {:.2} s", cached.as_secs_f64());
    println!("kept over computed:     {:.2}", cached.as_secs_f64() / cold.as_secs_f64());
}

fn fastest(run: impl Fn() -> Duration) -> Duration {
    (0..ROUNDS).map(|_| run()).min().unwrap_or_default()
}

/// How long the command takes as a user waits for it.
fn report(plant: &Path) -> Duration {
    let begun = Instant::now();
    inkwatt(plant, &["report", "2026-06"]);
    begun.elapsed()
}

fn inkwatt(plant: &Path, arguments: &[&str]) {
    let mut command = Command::new(env!("CARGO_BIN_EXE_inkwatt"));
    command.arg("--plant").arg(plant).args(arguments).stdout(Stdio::null()).stderr(Stdio::null());
    assert!(command.status().expect("the program runs").success(), "inkwatt {arguments:?}");
}
