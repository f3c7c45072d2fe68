//! `inkwatt new`: begins a plant, up to the first reading of a meter.

mod questions;

use super::scan::{Reached, Sections};
use super::{Ended, Failure, Outcome, check_poll, loaded, say};
use crate::acquire::modbus::{Answered, look_at_connection, scan};
use crate::config::Use;
use crate::sources::Line;
use crate::sources::sunspec::Nameplate;
use anyhow::anyhow;
use questions::Questions;
use serde_json::json;
use std::fmt::Write as _;
use std::fs;
use std::io::{ErrorKind, Write as _};
use std::path::Path;

/// How long an answer of the meter may take.
const TIMEOUT: &str = "1s";
/// The line of the first meter.
const LINE: &str = "hall";

/// Arguments of the command.
#[derive(clap::Args)]
#[command(after_help = "Examples:
  inkwatt --plant /var/lib/inkwatt new          asks what it needs to know
  inkwatt new --name \"Hall 1\" --zone Europe/London --currency GBP --grid GB --line 192.168.10.20:502 --unit 3
  inkwatt new --name \"Hall 1\" --zone Europe/London --currency GBP --grid GB --line /dev/ttyUSB0 --unit 1 --registers energy-float --serial M-1
Writes config/plant.toml with one press and, where a line is named, the meter of its supply, and reads it once. Where a line is named and
no meter answers, nothing is written. Only begins a plant: presses, lamps and further meters are entered in config/plant.toml, which
`inkwatt check --example` explains.")]
pub struct Arguments {
    /// Name of the plant.
    #[arg(long)]
    name: Option<String>,
    /// Its IANA time zone, such as Europe/London.
    #[arg(long)]
    zone: Option<String>,
    /// Its currency (ISO 4217), such as GBP.
    #[arg(long)]
    currency: Option<String>,
    /// Region of its grid, as the factor sets name it, such as GB.
    #[arg(long)]
    grid: Option<String>,
    /// Name of the first press; \"Press 1\" if absent.
    #[arg(long)]
    press: Option<String>,
    /// Its stations, in web direction; 8 if absent.
    #[arg(long)]
    stations: Option<String>,
    /// What the meter of the press is reached by: host:port or the device of a serial line; none if absent.
    #[arg(long)]
    line: Option<String>,
    #[command(flatten)]
    reached: Reached,
    /// Unit id of the meter; 1 if absent.
    #[arg(long)]
    unit: Option<String>,
    /// Register map of the meter, own or shipped; not needed where it states a SunSpec model.
    #[arg(long)]
    registers: Option<String>,
    /// Serial number as printed on the meter; not needed where it states one.
    #[arg(long)]
    serial: Option<String>,
    /// Current transformers as fitted, such as 200/5; none if absent.
    #[arg(long)]
    ct: Option<String>,
    /// The most that the press can draw, in kW; 100 if absent. A reading beyond it is set aside.
    #[arg(long)]
    max_kw: Option<String>,
}

/// Runs the command on a plant folder.
pub fn run(plant: &Path, arguments: &Arguments) -> Ended {
    let file = plant.join("config/plant.toml");
    if file.exists() {
        return Err(there_is(&file));
    }
    let questions = Questions::at_terminal();
    let mut text = begun(arguments, &questions)?;
    let wanted = questions.answer(
        arguments.line.as_ref(),
        "line",
        "meter of the press at host:port or a serial device; nothing for none yet",
        Some(""),
    )?;
    let maps = match wanted.as_str() {
        "" => None,
        endpoint => Some(metered(arguments, &questions, endpoint, &mut text)?),
    };
    if let Some(maps) = &maps {
        maps.write(plant).map_err(Failure::unreachable)?;
    }
    write(&file, &text)?;
    let configuration = loaded(plant, Use::Metering).inspect_err(|_| {
        // What cannot be used would only stand in the way of another attempt.
        let _ = fs::remove_file(&file);
    })?;
    say(&format!("{} is there; a plant of {}", file.display(), configuration.plant.name));
    if maps.is_none() {
        say(
            "no meter yet: enter lines and meters there, as `inkwatt check --example` shows, then `inkwatt check --poll`",
        );
        return Ok(Outcome::Done);
    }
    let told = check_poll::poll(plant, &configuration)?;
    say(&check_poll::Text(&told).to_string());
    say(&format!("next: `inkwatt run` polls it and serves http://{}", configuration.board.listen));
    check_poll::ended(&told)
}

fn there_is(file: &Path) -> Failure {
    Failure::unusable(anyhow!(
        "{} is there already, and a plant is begun once\nhelp: change it there, and read it with `inkwatt check`; `inkwatt scan LINE` \
         finds further meters",
        file.display()
    ))
}

/// The plant, its board and its first press.
fn begun(arguments: &Arguments, questions: &Questions) -> Result<String, Failure> {
    let name = questions.answer(arguments.name.as_ref(), "name", "name of the plant", None)?;
    let zone = questions.answer(arguments.zone.as_ref(), "zone", "time zone, such as Europe/London", None)?;
    let currency = questions.answer(arguments.currency.as_ref(), "currency", "currency, such as GBP", None)?;
    let grid = questions.answer(arguments.grid.as_ref(), "grid", "region of the grid, such as GB", None)?;
    let press = questions.answer(arguments.press.as_ref(), "press", "name of the first press", Some("Press 1"))?;
    let stations = questions.answer(arguments.stations.as_ref(), "stations", "its curing stations", Some("8"))?;
    let count =
        stations.parse::<u8>().ok().filter(|count| (1..=40).contains(count)).ok_or_else(|| {
            Failure::unusable(anyhow!("--stations must be a number from 1 to 40, found \"{stations}\""))
        })?;
    // A text of JSON is one of TOML.
    let mut text = format!(
        "# `inkwatt check --example` explains every key.\n\n[plant]\nname = {}\nzone = {}\ncurrency = {}\ngrid = {}\n\n\
         [board]\nlisten = \"127.0.0.1:8420\"\n\n\
         # Stations stand in web direction. Enter what each does (ink, white, varnish), and its lamp under [[lamps]].\n\
         [[press]]\nid = \"p1\"\nname = {}\nmoving_above = 3\nstations = [\n",
        json!(name),
        json!(zone),
        json!(currency),
        json!(grid),
        json!(press),
    );
    for number in 1..=count {
        // Writing to a text does not fail.
        let _ = writeln!(text, "    {{ id = \"s{number}\", does = \"ink\" }},");
    }
    text.push_str("]\n");
    Ok(text)
}

/// The line and the meter of the press, by what it states about itself; the register maps that go with it.
fn metered(
    arguments: &Arguments,
    questions: &Questions,
    endpoint: &str,
    text: &mut String,
) -> Result<Sections, Failure> {
    let line = arguments.reached.line(endpoint, TIMEOUT)?;
    let unit = questions.answer(arguments.unit.as_ref(), "unit", "unit id of the meter", Some("1"))?;
    let number = unit.parse::<u8>().ok().filter(|unit| matches!(unit, 1..=247 | 255));
    let number = number
        .ok_or_else(|| Failure::unusable(anyhow!("--unit must be a number from 1 to 247, or 255, found \"{unit}\"")))?;
    let answered = asked(&line, number)?;
    let maps = Sections::of(&line, &answered);
    let stated = answered.first().and_then(|one| Nameplate::of(&one.models).serial);
    let map = arguments.registers.as_ref().or(maps.first_map().map(str::to_owned).as_ref()).cloned();
    let what = "it states no SunSpec model; its register map, a file of config/registers/ without .toml, or shipped";
    let map = questions.answer(map.as_ref(), "registers", what, None)?;
    let serial = arguments.serial.clone().or(stated);
    let serial = questions.answer(serial.as_ref(), "serial", "serial number as printed on the meter", None)?;
    let ct = questions.answer(arguments.ct.as_ref(), "ct", "current transformers, such as 200/5", Some("none"))?;
    let max = questions.answer(
        arguments.max_kw.as_ref(),
        "max-kw",
        "the most that the press can draw, in kW",
        Some("100"),
    )?;
    let max: f64 = max
        .parse()
        .ok()
        .filter(|max: &f64| max.is_finite() && *max > 0.0)
        .ok_or_else(|| Failure::unusable(anyhow!("--max-kw must be a number of kW above 0, found \"{max}\"")))?;
    let ct = if ct == "none" { String::new() } else { format!(", ct = {}", json!(ct)) };
    let _ = write!(
        text,
        "\n[[line]]\nid = \"{LINE}\"\n{}\n[[meter]]\nid = \"p1-main\"\ncovers = {{ press = \"p1\" }}\n\
         boundary = {{ point = \"press-main\" }}\nmax_kw = {max}\ndevice = [{{ serial = {}{ct} }}]\n\
         [meter.modbus]\nline = \"{LINE}\"\nunit = {number}\nregisters = {}\npoll = \"10s\"\n",
        arguments.reached.keys(endpoint, TIMEOUT),
        json!(serial),
        json!(map),
    );
    Ok(maps)
}

/// What the unit says of itself; an error where it says nothing.
fn asked(line: &Line, unit: u8) -> Result<Vec<Answered>, Failure> {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().map_err(Failure::unusable)?;
    let look = look_at_connection(line.framing);
    let answered = runtime.block_on(scan(line, &[unit], |_| {})).map_err(|fault| {
        Failure::unreachable(anyhow!("{}: {fault}; nothing was written\nlook at: {look}", line.endpoint))
    })?;
    if answered.is_empty() {
        return Err(Failure::unreachable(anyhow!(
            "unit {unit} does not answer on {}; nothing was written\nlook at: framing, baud rate and parity; whether A and B of the bus \
             are exchanged; the unit id set at the device. Opening a cabinet is for licensed people.",
            line.endpoint
        )));
    }
    Ok(answered)
}

/// Writes the file, never over another.
fn write(file: &Path, text: &str) -> Result<(), Failure> {
    let written = file.parent().map_or(Ok(()), fs::create_dir_all).and_then(|()| fs::File::create_new(file));
    match written.and_then(|mut file| file.write_all(text.as_bytes())) {
        Ok(()) => Ok(()),
        Err(fault) if fault.kind() == ErrorKind::AlreadyExists => Err(there_is(file)),
        Err(fault) => Err(Failure::unreachable(anyhow!("{} cannot be written: {fault}", file.display()))),
    }
}
