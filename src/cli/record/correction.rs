//! A reading that was wrong: the right value is stated beside it and is in force from then on.

use super::{Ground, Told};
use crate::attribute;
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
A corrected value is put right by a further correction of the same instant. Where sources contradict each other, so that
no value is used, a correction decides.")]
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
        let rivals = store.contested(&self.series, Period::new(at, at + 1)).map_err(Failure::unreachable)?;
        if before.is_none() && rivals.is_empty() && !self.add {
            return Err(Failure::Unusable(self.not_there(ground, &around)));
        }
        let statement = (self.series.clone(), self.reading);
        let counts = store
            .commit("record", Rank::Correction, &[statement], &[], Some(&self.note))
            .map_err(Failure::unreachable)?;
        let line = format!("{} at {}: {}", self.series, ground.zone().stamp(at), self.value);
        let display = |reading| ground.configuration.display(&self.series, reading);
        let was = match (before, rivals.first()) {
            _ if counts.same > 0 => ", which is recorded already".into(),
            (Some(reading), _) => format!(" in place of {}", display(*reading)),
            (None, Some((at, rivals))) => {
                let rivals: Vec<String> =
                    rivals.iter().map(|count| display(Reading { at: *at, count: *count })).collect();
                format!(" decides between {}", rivals.join(" and "))
            }
            (None, None) => ", where none was in force".into(),
        };
        let doubt = self.doubt(ground, &around).map_or(String::new(), |doubt| format!("\n{doubt}"));
        Ok(format!("{line}{was} ({}){doubt}", self.note))
    }

    /// That the stated value is beyond what the load can draw. It may be right and the one beside it wrong, so that it is
    /// no error.
    fn doubt(&self, ground: &Ground, around: &[Reading]) -> Option<String> {
        let Subject::Meter(meter) = &self.series.subject else { return None };
        let meter = ground.configuration.plant.meter(meter)?;
        attribute::is_beyond(meter, self.series.quantity, self.reading, around).then(|| {
            format!(
                "but this is more than the max_kw of {} of meter {} allows; reports set such a reading aside: correct it \
                 again, or the readings beside it too",
                meter.max_watts as f64 / 1e3,
                meter.id
            )
        })
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
}
