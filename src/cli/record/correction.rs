//! A reading that was wrong: the right value is stated beside it and is in force from then on.

use super::{Ground, Told};
use crate::cli::Failure;
use crate::config::amount;
use crate::names::{MeterId, PressId, StationId};
use crate::plant::Ratio;
use crate::readings::{Quantity, Rank, Reading, Series, Subject};
use crate::store::Store;
use crate::time::{At, Period};
use crate::units::divide_rounded;
use anyhow::{Context, anyhow, bail};
use clap::Args;

/// The reading and its right value.
#[derive(Args)]
#[command(after_help = "Example:
  inkwatt record correction p1-main import --at 2026-03-02T10:15:00 --value \"84118.2 kWh\" --why \"digit misread\" --by anna
A corrected value is put right by a further correction of the same instant.")]
pub struct Correction {
    /// Whose reading: a meter, a press, or a station as press/station.
    about: String,
    /// What of it, such as import, power or speed.
    quantity: String,
    /// The instant of the reading, to the second or finer.
    #[arg(long, value_name = "INSTANT")]
    at: String,
    /// The right value with its unit, such as "84118.2 kWh", as the display showed it.
    #[arg(long, value_name = "VALUE")]
    value: String,
    /// States a reading where there is none yet.
    #[arg(long)]
    add: bool,
    #[command(flatten)]
    told: Told,
}

/// A correction that was checked.
pub struct Checked {
    series: Series,
    reading: Reading,
    count_size: Ratio,
    add: bool,
    value: String,
    note: String,
}

impl Correction {
    pub(super) fn check(self, ground: &Ground) -> anyhow::Result<Checked> {
        let words: Vec<String> = Quantity::all().map(|quantity| quantity.to_string()).collect();
        ground.known("quantity", &self.quantity, words.iter().map(String::as_str))?;
        let quantity = Quantity::parse(&self.quantity).context("the quantity is among those known")?;
        let at = ground.instant("--at", &self.at)?;
        let subject = subject(ground, &self.about, quantity)?;
        let count_size = match &subject {
            Subject::Meter(meter) => ground
                .configuration
                .count_size(meter, quantity, at)
                .with_context(|| format!("meter \"{meter}\" had no device yet at {}", self.at))?,
            _ => Ratio::ONE,
        };
        let value = amount(&self.value, quantity).map_err(|help| {
            anyhow!("--value must be an amount of {quantity}, found \"{}\"\nhelp: {help}", self.value)
        })?;
        Ok(Checked {
            series: Series::new(subject, quantity),
            reading: Reading { at, count: counts(value, count_size).context("--value is too large")? },
            count_size,
            add: self.add,
            value: self.value,
            note: self.told.note()?,
        })
    }
}

/// An amount in counts, the nearest whole one.
fn counts(value: Ratio, size: Ratio) -> Option<i64> {
    let above = i128::from(value.num) * i128::from(size.den);
    let below = i128::from(value.den) * i128::from(size.num);
    divide_rounded(above, below).try_into().ok()
}

/// The thing that a quantity is of.
fn subject(ground: &Ground, about: &str, quantity: Quantity) -> anyhow::Result<Subject> {
    let plant = &ground.configuration.plant;
    if quantity == Quantity::Temperature {
        bail!("outdoor temperature cannot be corrected by hand; import the right values");
    }
    if quantity.of_meter() {
        ground.known("meter", about, plant.meters.iter().map(|meter| meter.id.as_str()))?;
        return Ok(Subject::Meter(MeterId::from(about)));
    }
    if quantity.of_press() {
        ground.known("press", about, plant.presses.iter().map(|press| press.id.as_str()))?;
        return Ok(Subject::Press(PressId::from(about)));
    }
    let stations = plant.presses.iter().flat_map(|press| &press.stations).map(|station| station.id.as_str());
    ground.known("station", about, stations)?;
    Ok(Subject::Station(StationId::from(about)))
}

impl Checked {
    /// Writes it down and tells what it replaced.
    pub(super) fn write(self, store: &mut Store, ground: &Ground) -> Result<String, Failure> {
        let at = self.reading.at;
        let around = store.readings(&self.series, Period::new(at, at + 1), true).map_err(Failure::unreachable)?.value;
        let before = around.iter().find(|reading| reading.at == at);
        if before.is_none() && !self.add {
            return Err(Failure::Unusable(self.not_there(ground, &around)));
        }
        let statement = (self.series.clone(), self.reading);
        let counts = store
            .commit("record", Rank::Correction, &[statement], &[], Some(&self.note))
            .map_err(Failure::unreachable)?;
        let line = format!("{} at {}: {}", self.series, ground.zone().stamp(at), self.value);
        let was = match before {
            _ if counts.same > 0 => ", which is recorded already".into(),
            Some(reading) => {
                let old = reading.count as f64 * self.count_size.to_f64() / self.unit();
                format!(" in place of {old} {}", self.unit_word())
            }
            None => ", where none was in force".into(),
        };
        Ok(format!("{line}{was} ({})", self.note))
    }

    /// That there is no reading to correct, with the nearest ones.
    fn not_there(&self, ground: &Ground, around: &[Reading]) -> anyhow::Error {
        let stamp = |at: At| {
            let local = ground.zone().local(at);
            local.to_rfc3339_opts(chrono::SecondsFormat::AutoSi, false)
        };
        let near: Vec<String> = around.iter().map(|reading| stamp(reading.at)).collect();
        let near = match near.as_slice() {
            [] => "there are no readings of it yet".into(),
            near => format!("the nearest readings are at {}", near.join(" and ")),
        };
        let at = stamp(self.reading.at);
        anyhow!("no reading of {} in force at {at}\nhelp: {near}; --add states one where there is none", self.series)
    }

    /// The unit in which the value was given, for telling the former one likewise.
    fn unit_word(&self) -> &str {
        self.value.split_once(' ').map_or("", |(_, unit)| unit.trim())
    }

    fn unit(&self) -> f64 {
        let word = if self.unit_word().is_empty() { "1" } else { self.unit_word() };
        amount(word, self.series.quantity).map_or(1.0, Ratio::to_f64)
    }
}
