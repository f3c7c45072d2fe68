//! A measured correction between two boundaries of a meter.

use super::list::factor;
use super::{Checked, Ground, Told, identity};
use crate::names::MeterId;
use crate::readings::Happening;
use crate::time::Period;
use crate::units::Decimal;
use crate::verify::baseline::Bounds;
use anyhow::{Context, anyhow, bail};
use clap::Args;

/// What a meter shows at its boundary of that day, made comparable with another boundary.
#[derive(Args)]
#[command(after_help = "Example:
  inkwatt record boundary p1-s1 --like \"cabinet with blower\" --factor 1.08 --uncertainty 0.02 --on 2026-05-04 --why \"both points metered for a week\" --by anna
A saving compares like with like. Where a meter includes other things now than in the baseline, verify refuses, and names
both boundaries. With the ratio of the two measured, on one day or over some, it counts the meter's energy so many times,
on every day on which config/plant.toml gives it the boundary that it had then, and adds the uncertainty.")]
pub struct Boundary {
    /// The measuring point.
    meter: String,
    /// The boundary that its energy is made comparable with, in the words in which verify names that of the baseline.
    #[arg(long, value_name = "BOUNDARY")]
    like: String,
    /// Energy at that boundary over energy at the meter's own, as measured.
    #[arg(long, value_name = "FACTOR")]
    factor: String,
    /// Half-width of the factor at 90 % confidence.
    #[arg(long, value_name = "FACTOR")]
    uncertainty: String,
    /// The day on which it was measured.
    #[arg(long, value_name = "INSTANT")]
    on: String,
    #[command(flatten)]
    told: Told,
}

impl Boundary {
    pub(super) fn check(self, ground: &Ground) -> anyhow::Result<Checked> {
        let plant = &ground.configuration.plant;
        ground.known("meter", &self.meter, plant.meters.iter().map(|meter| meter.id.as_str()))?;
        let at = ground.instant("--on", &self.on)?;
        let id = MeterId::from(self.meter.as_str());
        let like = Bounds::parse(&self.like).with_context(|| {
            format!(
                "--like must be a boundary such as \"cabinet with blower and driver loss\", found \"{}\"",
                self.like
            )
        })?;
        let own = plant.meter(&id).map(|meter| Bounds::of(meter, Period::new(at, at + 1)));
        let own = own.with_context(|| format!("meter {id} is not known"))?;
        if own == like {
            bail!("meter {id} measured {own} on {}; there is nothing to correct", self.on);
        }
        if like.unmeasured().is_some() {
            bail!("--like {like} is no measured boundary; name that of a baseline");
        }
        let (factor_ppm, uncertainty_ppm) =
            (millionths("--factor", &self.factor)?, millionths("--uncertainty", &self.uncertainty)?);
        let (times, half) = (factor(factor_ppm), factor(uncertainty_ppm));
        let line = format!("meter {id}: {own} counts {times} times, ± {half}, as {like}, measured on {}", self.on);
        let what = Happening::BoundaryCorrected {
            meter: id,
            of: own.to_string(),
            like: like.to_string(),
            factor_ppm,
            uncertainty_ppm,
        };
        Ok(Checked { at, what: vec![(identity(&self.meter, at), what)], line, note: self.told.note()? })
    }
}

fn millionths(option: &str, text: &str) -> anyhow::Result<i64> {
    let parsed = Decimal::parse(text).and_then(|number| number.scale(1_000_000, 1, 1)).filter(|number| *number > 0);
    parsed.ok_or_else(|| anyhow!("{option} must be a number above 0 such as 1.08, found \"{text}\""))
}
