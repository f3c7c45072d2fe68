//! The dated facts that are events and stand for themselves: devices, adjustments, static factors.

use super::list::kwh;
use super::{Checked, Ground, Told, identity};
use crate::config::{display, ratio};
use crate::names::{Judged, MeterId};
use crate::plant::Ratio;
use crate::readings::Happening;
use crate::units::Decimal;
use anyhow::{Context, anyhow, bail};
use clap::{ArgGroup, Args};

/// A device exchanged, or its transformers corrected.
#[derive(Args)]
#[command(after_help = "Examples:
  inkwatt record meter p1-main --serial M-18 --end-kwh 84120.6 --start-kwh 0 --since 2026-03-02T10:20 --why \"display failed\" --by anna
  inkwatt record meter p1-main --ct 250/5 --ct-programmed 200/5 --since 2026-03-01 --why \"read off the transformers\" --by anna
Cabinets and current transformers are work for licensed electricians under the local code.")]
#[command(group(ArgGroup::new("fact").required(true).args(["serial", "ct"])))]
pub struct Meter {
    /// The measuring point.
    meter: String,
    /// The device was exchanged for one of the same kind with this serial number. One of another kind, or with other
    /// transformers, is entered under `device` in config/plant.toml.
    #[arg(long, value_name = "SERIAL")]
    serial: Option<String>,
    /// With --serial: the last display of the old device, in kWh.
    #[arg(long, value_name = "KWH", requires = "serial")]
    end_kwh: Option<String>,
    /// With --serial: the display of the new device when it was put in, in kWh.
    #[arg(long, value_name = "KWH", requires = "serial")]
    start_kwh: Option<String>,
    /// The current transformers are in truth these, such as 250/5.
    #[arg(long, value_name = "RATIO")]
    ct: Option<String>,
    /// With --ct: the ratio set in the device; leave out where it shows secondary values.
    #[arg(long, value_name = "RATIO", requires = "ct")]
    ct_programmed: Option<String>,
    /// With --ct: voltage transformers, where there are any.
    #[arg(long, value_name = "RATIO", requires = "ct")]
    vt: Option<String>,
    /// With --vt: the ratio set in the device.
    #[arg(long, value_name = "RATIO", requires = "vt")]
    vt_programmed: Option<String>,
    /// Since when.
    #[arg(long, value_name = "INSTANT")]
    since: String,
    #[command(flatten)]
    told: Told,
}

impl Meter {
    pub(super) fn check(self, ground: &Ground) -> anyhow::Result<Checked> {
        let plant = &ground.configuration.plant;
        ground.known("meter", &self.meter, plant.meters.iter().map(|meter| meter.id.as_str()))?;
        let at = ground.instant("--since", &self.since)?;
        let meter = MeterId::from(self.meter.as_str());
        let stamp = plant.zone.stamp(at);
        let device = plant.meter(&meter).and_then(|known| known.device.at(at));
        let device = device.with_context(|| format!("meter \"{meter}\" had no device yet at {stamp}"))?;
        let (what, line) = match &self.serial {
            Some(serial) => {
                let count = |option: &str, kwh: &Option<String>| -> anyhow::Result<Option<i64>> {
                    kwh.as_ref().map(|kwh| counts(option, kwh, device.mwh_per_count)).transpose()
                };
                let what = Happening::DeviceExchanged {
                    meter: meter.clone(),
                    serial: serial.clone(),
                    end_count: count("--end-kwh", &self.end_kwh)?,
                    start_count: count("--start-kwh", &self.start_kwh)?,
                };
                (what, format!("meter {meter}: device {} exchanged for {serial} at {stamp}", device.serial))
            }
            None => {
                let total = self.transformers()?;
                let (was, is) = (device.transformers.to_f64(), total.to_f64());
                let what = Happening::RatioCorrected { meter: meter.clone(), num: total.num, den: total.den };
                (what, format!("meter {meter}: values count {is} times since {stamp}, not {was} times"))
            }
        };
        Ok(Checked { at, what: vec![(identity(&self.meter, at), what)], line, note: self.told.note()? })
    }

    /// Fitted over programmed, of current and voltage.
    fn transformers(&self) -> anyhow::Result<Ratio> {
        let read = |option: &str, text: &Option<String>| -> anyhow::Result<Ratio> {
            let Some(text) = text else { return Ok(Ratio::ONE) };
            ratio(text).ok_or_else(|| anyhow!("{option} must be a transformer ratio such as 200/5, found \"{text}\""))
        };
        let over = |fitted: Ratio, set: Ratio| fitted.times(Ratio { num: set.den, den: set.num });
        let current = over(read("--ct", &self.ct)?, read("--ct-programmed", &self.ct_programmed)?);
        let voltage = over(read("--vt", &self.vt)?, read("--vt-programmed", &self.vt_programmed)?);
        Ok(current.times(voltage))
    }
}

/// A non-routine adjustment.
#[derive(Args)]
#[command(after_help = "Example:
  inkwatt record adjustment p1 --from 2026-03-01 --until 2026-04-01 --kwh=-120 --why \"second chiller on hire\" --by anna")]
pub struct Adjustment {
    /// The press or the shared load.
    #[arg(value_name = "PRESS|LOAD")]
    judged: String,
    /// From when.
    #[arg(long, value_name = "INSTANT")]
    from: String,
    /// Until when.
    #[arg(long, value_name = "INSTANT")]
    until: String,
    /// Energy in kWh; below zero (--kwh=-120) where it drew more than it would have.
    #[arg(long, value_name = "KWH")]
    kwh: String,
    /// Its half-width in kWh at 90 % confidence.
    #[arg(long, value_name = "KWH")]
    uncertainty_kwh: Option<String>,
    #[command(flatten)]
    told: Told,
}

impl Adjustment {
    pub(super) fn check(self, ground: &Ground) -> anyhow::Result<Checked> {
        let plant = &ground.configuration.plant;
        let known =
            plant.presses.iter().map(|press| press.id.as_str()).chain(plant.loads.iter().map(|load| load.id.as_str()));
        let judged = Judged::named(plant, &self.judged)
            .ok_or_else(|| crate::cli::unknown("press or shared load", &self.judged, known))?;
        let (at, until) = (ground.instant("--from", &self.from)?, ground.instant("--until", &self.until)?);
        if until <= at {
            bail!("--until {} does not come after --from {}", self.until, self.from);
        }
        let mwh = milliwatt_hours("--kwh", &self.kwh)?;
        let half = self.uncertainty_kwh.as_ref().map(|kwh| milliwatt_hours("--uncertainty-kwh", kwh)).transpose()?;
        if half.is_some_and(|half| half < 0) {
            bail!("--uncertainty-kwh must be 0 or more");
        }
        let span = format!("from {} until {}", plant.zone.stamp(at), plant.zone.stamp(until));
        let line = format!("{judged}: adjusted by {} kWh {span}", kwh(mwh));
        let what =
            vec![(identity(&judged.key(), at), Happening::Adjustment { judged, until, mwh, uncertainty_mwh: half })];
        Ok(Checked { at, line, what, note: self.told.note()? })
    }
}

/// A static factor.
#[derive(Args)]
#[command(after_help = "Example:
  inkwatt record static \"shifts a week\" 15 --since 2026-03-01 --why \"night shift added\" --by anna")]
pub struct Static {
    /// Its name, such as "shifts a week".
    factor: String,
    /// Its value from now on.
    value: String,
    /// Since when.
    #[arg(long, value_name = "INSTANT")]
    since: String,
    /// Why frozen baselines hold all the same; until this or an adjustment that names the factor is recorded, verdicts wait.
    #[arg(long, value_name = "TEXT")]
    baseline_holds: Option<String>,
    #[command(flatten)]
    told: Told,
}

impl Static {
    pub(super) fn check(self, ground: &Ground) -> anyhow::Result<Checked> {
        if self.factor.trim().is_empty() || self.value.trim().is_empty() {
            bail!("a static factor needs a name and a value");
        }
        if self.baseline_holds.as_ref().is_some_and(|why| why.trim().is_empty()) {
            bail!("--baseline-holds is empty; say why the baseline holds, or leave it out");
        }
        let holds = self.baseline_holds.as_ref().map_or_else(String::new, |why| format!("; the baseline holds: {why}"));
        let at = ground.instant("--since", &self.since)?;
        Ok(Checked {
            at,
            line: format!("{} is {} since {}{holds}", self.factor, self.value, ground.zone().stamp(at)),
            what: vec![(
                identity(&self.factor, at),
                Happening::StaticFactor { factor: self.factor, value: self.value, holds: self.baseline_holds },
            )],
            note: self.told.note()?,
        })
    }
}

fn counts(option: &str, kwh: &str, mwh_per_count: Ratio) -> anyhow::Result<i64> {
    let number = number(option, kwh)?;
    display(number, mwh_per_count).with_context(|| {
        format!("{option} must be a whole number of counts, of {} Wh each, found {kwh}", mwh_per_count.to_f64() / 1e3)
    })
}

fn milliwatt_hours(option: &str, kwh: &str) -> anyhow::Result<i64> {
    number(option, kwh)?.scale(1_000_000, 1, 1).with_context(|| format!("{option} is too large, found {kwh}"))
}

fn number(option: &str, text: &str) -> anyhow::Result<Decimal> {
    Decimal::parse(text).with_context(|| format!("{option} must be a number of kWh such as 84120.6, found \"{text}\""))
}
