//! What is stated of the old lamps where a baseline rests on their ratings.

use super::asked::Ground;
use super::frozen::Exact;
use crate::cli::Failure;
use crate::units::Decimal;
use crate::verify::{Promise, RatedLamp, Ratings, RatingsStated};
use anyhow::anyhow;
use clap::Args;
use serde::{Deserialize, Serialize};

/// Options of `--kind rated`.
#[derive(Args)]
pub struct RatingOptions {
    /// With rated: how far what the old lamps would have drawn may lie from their ratings, either way, such as 25%.
    #[arg(long, value_name = "SHARE", value_parser = share)]
    bound: Option<f64>,
    /// With rated: share of the time on a job, less curing, in which an old lamp would have stood by; none if absent.
    #[arg(long, value_name = "SHARE", value_parser = share)]
    standby_share: Option<f64>,
    /// With rated: draw on standby as a share of the full draw; that of the promise if absent.
    #[arg(long, value_name = "SHARE", value_parser = share)]
    standby_draw: Option<f64>,
    /// With rated: mean level while curing; that of the promise if absent.
    #[arg(long, value_name = "SHARE", value_parser = share)]
    level: Option<f64>,
    /// With rated: watts at the mains over watts at the lamp, such as 1.15; that of the promise if absent.
    #[arg(long, value_name = "FACTOR", value_parser = factor)]
    supply_factor: Option<f64>,
    /// With rated: minutes at full draw of each day's start; none if absent.
    #[arg(long, value_name = "MINUTES", value_parser = minutes)]
    warm_up: Option<f64>,
}

impl RatingOptions {
    /// The ratings of the lamps that were converted.
    pub fn ratings(&self, ground: &Ground, promise: Option<&Promise>) -> Result<Ratings, Failure> {
        let bound = self.bound.ok_or_else(|| {
            Failure::unusable(anyhow!(
                "--bound is missing: how far what the old lamps would have drawn may lie from their ratings\nhelp: state it \
                 as a share, such as --bound 25%"
            ))
        })?;
        let stated = RatingsStated {
            bound,
            waiting: self.standby_share.unwrap_or(0.0),
            level: self.level,
            standby: self.standby_draw,
            supply_factor: self.supply_factor,
            warm_up_h: self.warm_up.unwrap_or(0.0) / 60.0,
        };
        Ratings::of(ground.books.plant(), promise, &ground.scope, &stated).map_err(Failure::unusable)
    }

    /// Refuses what is stated of ratings where a baseline rests on none.
    pub fn refuse(&self) -> Result<(), Failure> {
        let all = [
            ("--bound", self.bound),
            ("--standby-share", self.standby_share),
            ("--standby-draw", self.standby_draw),
            ("--level", self.level),
            ("--supply-factor", self.supply_factor),
            ("--warm-up", self.warm_up),
        ];
        match all.into_iter().find(|(_, given)| given.is_some()) {
            Some((option, _)) => Err(Failure::unusable(anyhow!(
                "{option} is about ratings\nhelp: leave it out, or freeze with --kind rated"
            ))),
            None => Ok(()),
        }
    }
}

/// What the old lamps are rated for; shares are 1 for all.
#[derive(Serialize, Deserialize)]
pub(super) struct RatingsText {
    lamps: Vec<LampText>,
    standby_share: Exact,
    warm_up_h: Exact,
    bound: Exact,
}

#[derive(Serialize, Deserialize)]
struct LampText {
    station: String,
    full_w: Exact,
    level: Exact,
    standby_w: Exact,
    off_w: Exact,
    source: String,
}

impl RatingsText {
    pub fn of(ratings: &Ratings) -> Self {
        let lamp = |lamp: &RatedLamp| LampText {
            station: lamp.station.to_string(),
            full_w: Exact(lamp.full_w),
            level: Exact(lamp.level),
            standby_w: Exact(lamp.standby_w),
            off_w: Exact(lamp.off_w),
            source: lamp.source.clone(),
        };
        Self {
            lamps: ratings.lamps.iter().map(lamp).collect(),
            standby_share: Exact(ratings.waiting),
            warm_up_h: Exact(ratings.warm_up_h),
            bound: Exact(ratings.bound),
        }
    }

    pub fn ratings(self) -> Ratings {
        let lamp = |lamp: LampText| RatedLamp {
            station: lamp.station.as_str().into(),
            full_w: lamp.full_w.0,
            level: lamp.level.0,
            standby_w: lamp.standby_w.0,
            off_w: lamp.off_w.0,
            source: lamp.source,
        };
        Ratings {
            lamps: self.lamps.into_iter().map(lamp).collect(),
            waiting: self.standby_share.0,
            warm_up_h: self.warm_up_h.0,
            bound: self.bound.0,
        }
    }
}

fn share(text: &str) -> Result<f64, String> {
    let number = text.trim().strip_suffix('%').and_then(|number| Decimal::parse(number.trim()));
    let share = number.map(|number| number.to_f64() / 100.0).filter(|share| (0.0..=1.0).contains(share));
    share.ok_or_else(|| "expected a share from 0% to 100%, such as 25%".into())
}

fn factor(text: &str) -> Result<f64, String> {
    let factor = Decimal::parse(text.trim()).map(Decimal::to_f64).filter(|factor| (1.0..=2.0).contains(factor));
    factor.ok_or_else(|| "expected a factor from 1 to 2, such as 1.15".into())
}

fn minutes(text: &str) -> Result<f64, String> {
    let minutes = Decimal::parse(text.trim()).map(Decimal::to_f64).filter(|minutes| (0.0..=60.0).contains(minutes));
    minutes.ok_or_else(|| "expected minutes from 0 to 60, such as 3".into())
}
