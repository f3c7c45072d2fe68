//! What an avoided kWh was worth when it was not drawn: in money by the tariffs of its hours, in carbon by the grid.

use crate::carbon::{self, FactorSet};
use crate::cost::{self, Tariff};
use crate::plant::Plant;
use crate::readings::Run;
use crate::stats::savings_uncertainty::Interval;
use crate::time::{Month, Period, QUARTER};
use crate::units::{Co2e, Decimal, Energy, Money};
use crate::verify::Whole;
use crate::verify::savings::Savings;

/// What the avoided energy of a press was worth.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Worth {
    /// Energy in each band of a tariff, with its price and what it comes to.
    pub bands: Vec<Band>,
    /// The bill of the adjusted profile less that of the actual one, marginal lines only; `None` where part of the
    /// energy has no price.
    pub money: Option<Money>,
    /// Location-based carbon; `None` where part of the energy has no factor.
    pub carbon: Option<Co2e>,
    /// Whether the factors are of CO2 alone, which compares with no CO2e.
    pub co2_only: bool,
}

/// Avoided energy of one band.
#[derive(Clone, Debug, PartialEq)]
pub struct Band {
    /// Name of the tariff.
    pub tariff: String,
    /// Name of the band.
    pub name: String,
    /// Price of a kWh.
    pub price: Decimal,
    /// Avoided energy.
    pub energy: Energy,
    /// What it comes to.
    pub money: Money,
}

impl Worth {
    /// Spreads what was avoided in each point over the time in which a job was on the press, evenly where there was none,
    /// and prices it there.
    pub fn of(
        plant: &Plant,
        (tariffs, factors): (&[Tariff], &[FactorSet]),
        runs: &[Run],
        savings: &Savings,
        interval: Interval,
    ) -> Self {
        let used = avoided(plant, runs, savings, interval);
        let bill = cost::price(plant, tariffs, &[], used.iter().copied()).value;
        let footprint = carbon::of(plant, factors, used.iter().copied()).value;
        let bands = bill.bands.iter().map(|line| Band {
            tariff: line.tariff.clone(),
            name: line.band.clone(),
            price: line.price,
            energy: line.energy,
            money: line.cost,
        });
        Self {
            bands: bands.collect(),
            money: (bill.unpriced == Energy::ZERO && !bill.bands.is_empty()).then(|| bill.energy_cost()),
            carbon: (footprint.without == Energy::ZERO && !footprint.sets.is_empty()).then(|| footprint.co2e()),
            co2_only: footprint.co2_only(),
        }
    }

    /// Money of an avoided kWh, of so many in all.
    pub fn price(&self, avoided: f64) -> Option<f64> {
        self.money.map(Money::units).filter(|_| avoided != 0.0).map(|money| money / avoided)
    }

    /// Kilograms of CO2e of an avoided kWh, of so many in all.
    pub fn factor(&self, avoided: f64) -> Option<f64> {
        self.carbon.map(Co2e::kg).filter(|_| avoided != 0.0 && !self.co2_only).map(|kg| kg / avoided)
    }
}

/// Avoided energy by quarter hours. Adjustments are spread like the rest.
fn avoided(plant: &Plant, runs: &[Run], savings: &Savings, interval: Interval) -> Vec<(Period, Option<Energy>)> {
    let plain = savings.expected - savings.actual;
    let adjusted = if plain == 0.0 { 0.0 } else { savings.avoided.value / plain };
    let mut used = Vec::new();
    for (date, expected, actual) in &savings.points {
        let period = match interval {
            Interval::Daily => plant.zone.day(*date),
            Interval::Monthly => plant.zone.month(Month::of(*date)),
        };
        let quarters = (0..period.millis() / QUARTER)
            .map(|k| Period::new(period.start + k * QUARTER, period.start + (k + 1) * QUARTER));
        let quarters: Vec<Period> = quarters.collect();
        let energy = Energy::nearest((expected - actual) * adjusted);
        let parts = energy.split(&on_job(runs, period, &quarters));
        let parts = parts.or_else(|| energy.split(&vec![1; quarters.len()])).unwrap_or_default();
        used.extend(quarters.into_iter().zip(parts.into_iter().map(Some)));
    }
    used
}

/// For how long a job was on the press in each quarter hour.
fn on_job(runs: &[Run], period: Period, quarters: &[Period]) -> Vec<i128> {
    let span = |run: &Run| Period::new(run.start, run.end.unwrap_or(period.end).max(run.start)).overlap(period);
    let spans: Vec<Period> = runs.iter().filter_map(span).collect();
    let inside =
        |quarter: &Period| -> i64 { spans.iter().filter_map(|s| s.overlap(*quarter)).map(Period::millis).sum() };
    quarters.iter().map(|quarter| i128::from(inside(quarter))).collect()
}
