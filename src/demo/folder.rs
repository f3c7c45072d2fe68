//! The plant folder of the demo: its configuration, its truth file, and the file that comes late.

use super::dates::ZONE;
use super::hall::SITE;
use super::register::wh_per_count;
use super::truth::Truth;
use crate::units::decimal;
use std::fmt::Write;
use std::fs;
use std::io;
use std::net::SocketAddr;
use std::path::Path;

/// The file that marks a folder as made by the demo.
const MARK: &str = "made-by-inkwatt-demo";
/// What an earlier demo left in its folder.
const MADE: [&str; 5] = ["config", "store", "reports", "late", "truth.json"];
/// The lines of the plant, in the order of the gateways.
const LINES: [&str; super::live::GATEWAYS] = ["gateway-1", "gateway-2", "gateway-3", "services"];

/// The configuration with its places for addresses.
const PLANT: &str = include_str!("../../demo-data/plant.toml");
/// The certificates that the plant bought.
const CERTIFICATES: &str = include_str!("../../demo-data/certificates.csv");
/// The files of the configuration that need no filling in.
const FILES: [(&str, &str); 5] = [
    ("promise.toml", include_str!("../../demo-data/promise.toml")),
    ("registers/lamp-meter.toml", include_str!("../../demo-data/registers/lamp-meter.toml")),
    ("registers/press-main.toml", include_str!("../../demo-data/registers/press-main.toml")),
    ("registers/three-phase.toml", include_str!("../../demo-data/registers/three-phase.toml")),
    ("tariffs/supply.toml", include_str!("../../demo-data/tariffs/supply.toml")),
];

/// Why a folder cannot be made the demo's.
#[derive(Debug, thiserror::Error)]
pub enum Unfit {
    /// It holds something that the demo did not make.
    #[error("{0} is not empty and was not made by the demo; name another folder with --plant, or an empty one")]
    NotOurs(String),
    /// It cannot be written.
    #[error("{0}: {1}")]
    Unwritable(String, #[source] io::Error),
}

/// Whether an earlier demo made the folder.
pub fn is_made(folder: &Path) -> bool {
    folder.join(MARK).exists()
}

/// Makes the folder, or empties one that an earlier demo made.
///
/// # Errors
/// [`Unfit`].
pub fn prepare(folder: &Path) -> Result<(), Unfit> {
    let unwritable = |error| Unfit::Unwritable(folder.display().to_string(), error);
    fs::create_dir_all(folder).map_err(unwritable)?;
    if !is_made(folder) && fs::read_dir(folder).map_err(unwritable)?.next().is_some() {
        return Err(Unfit::NotOurs(folder.display().to_string()));
    }
    fs::write(folder.join(MARK), "Made by `inkwatt demo`, which makes it anew each time.\n").map_err(unwritable)?;
    for made in MADE.map(|name| folder.join(name)) {
        let gone = if made.is_dir() { fs::remove_dir_all(&made) } else { fs::remove_file(&made) };
        match gone {
            Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(unwritable(error)),
            _ => {}
        }
    }
    Ok(())
}

/// Writes the configuration, with the addresses of the peers and of the page.
///
/// # Errors
/// A file cannot be written.
pub fn configure(folder: &Path, gateways: &[SocketAddr], broker: SocketAddr, board: SocketAddr) -> io::Result<()> {
    let mut plant = PLANT
        .replace("board.invalid:8420", &board.to_string())
        .replace("broker.invalid", &broker.ip().to_string())
        .replace("port = 1883", &format!("port = {}", broker.port()));
    for (line, gateway) in LINES.into_iter().zip(gateways) {
        plant = plant.replace(&format!("{line}.invalid:502"), &gateway.to_string());
    }
    let config = folder.join("config");
    for (name, text) in FILES.into_iter().chain([("plant.toml", plant.as_str())]) {
        let path = config.join(name);
        fs::create_dir_all(path.parent().unwrap_or(&config))?;
        fs::write(path, text)?;
    }
    Ok(())
}

/// Writes the truth file, the supplier's late file and the registry's certificates.
///
/// # Errors
/// A file cannot be written.
pub fn tell_truth(folder: &Path, truth: &Truth) -> io::Result<()> {
    fs::write(folder.join("truth.json"), truth.json())?;
    fs::create_dir_all(folder.join("late"))?;
    fs::write(folder.join("late/certificates.csv"), CERTIFICATES)?;
    fs::write(folder.join("late/supply.csv"), late(truth))
}

/// The half hours that were held back, as a supplier writes them: by the local clock, stamped at the end.
fn late(truth: &Truth) -> String {
    let mut csv = String::from("Period end,kWh\n");
    for reading in &truth.late {
        let end = ZONE.local(reading.at).format("%d/%m/%Y %H:%M");
        let kwh = decimal(reading.count * wh_per_count(SITE), 3);
        // Writing to a text cannot fail.
        let _ = writeln!(csv, "{end},{kwh}");
    }
    csv
}
