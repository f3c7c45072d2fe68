//! Slices priced by the bands of the tariffs in force.

use super::Tariff;
use crate::attribute::by_quarter;
use crate::found::{Found, Issue, Remark};
use crate::plant::Plant;
use crate::time::{At, Period};
use crate::units::{Decimal, Energy, Money, charge};
use chrono::NaiveDate;
use std::collections::{BTreeMap, HashMap};

/// What energy costs. The shares of a line add up to its cost exactly, whichever way they are grouped.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Bill {
    /// One line for each band in use, in order of tariff and band.
    pub bands: Vec<BandLine>,
    /// One line for each tariff with a standing charge. It belongs to the plant: no press or job is charged with it.
    pub standing: Vec<Standing>,
    /// Energy for which no price is known.
    pub unpriced: Energy,
}

/// The energy of one band and what it costs.
#[derive(Clone, Debug, PartialEq)]
pub struct BandLine {
    /// Name of the tariff.
    pub tariff: String,
    /// Name of the band.
    pub band: String,
    /// Price of a kWh.
    pub price: Decimal,
    /// Its energy.
    pub energy: Energy,
    /// Price x energy, rounded once.
    pub cost: Money,
    /// What part of it each period has.
    pub shares: Vec<Share>,
}

/// The part of a line that belongs to one period.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Share {
    /// Its place in what was priced.
    pub place: usize,
    /// Its energy in this band; a period longer than a quarter hour may lie in two.
    pub energy: Energy,
    /// Its cost.
    pub cost: Money,
}

/// The standing charge of one tariff.
#[derive(Clone, Debug, PartialEq)]
pub struct Standing {
    /// Name of the tariff.
    pub tariff: String,
    /// Days on which it was in force.
    pub days: u32,
    /// Charge for a day.
    pub per_day: Decimal,
    /// Days x charge.
    pub cost: Money,
}

impl Bill {
    /// Energy and standing charges together.
    pub fn total(&self) -> Money {
        self.energy_cost() + self.standing.iter().map(|s| s.cost).sum()
    }

    /// What the energy alone costs.
    pub fn energy_cost(&self) -> Money {
        self.bands.iter().map(|b| b.cost).sum()
    }
}

/// Why energy has no price.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Unpriced {
    NoTariff,
    Currency(usize),
    NoBand(usize),
}

/// Prices energy used in periods by local clock and calendar, and the days by their standing charges. A period longer
/// than a quarter hour is taken as even over its quarter hours. Energy without a price is counted apart and said, never
/// taken as free.
pub fn price(
    plant: &Plant,
    tariffs: &[Tariff],
    days: &[NaiveDate],
    used: impl IntoIterator<Item = (Period, Option<Energy>)>,
) -> Found<Bill> {
    let mut bands = HashMap::new();
    let mut by_band: BTreeMap<(usize, usize), Vec<(usize, Energy)>> = BTreeMap::new();
    let mut without: BTreeMap<Unpriced, (Energy, Period)> = BTreeMap::new();
    for (place, (period, energy)) in used.into_iter().enumerate() {
        let Some(energy) = energy else { continue };
        for (quarter, energy) in by_quarter(period, energy) {
            match *bands.entry(quarter).or_insert_with(|| band(plant, tariffs, quarter)) {
                Ok(band) => by_band.entry(band).or_default().push((place, energy)),
                Err(why) => {
                    let (sum, all) = without.entry(why).or_insert((Energy::ZERO, period));
                    *sum += energy;
                    *all = Period::new(all.start.min(period.start), all.end.max(period.end));
                }
            }
        }
    }
    let bands = by_band.into_iter().filter_map(|((t, b), parts)| line(&tariffs[t], b, &parts)).collect();
    let unpriced = without.values().map(|(energy, _)| *energy).sum();
    let issues =
        without.into_iter().map(|(why, (energy, period))| issue(plant, tariffs, why, energy, period)).collect();
    Found { value: Bill { bands, standing: standing(plant, tariffs, days), unpriced }, issues }
}

fn band(plant: &Plant, tariffs: &[Tariff], at: At) -> Result<(usize, usize), Unpriced> {
    let local = plant.zone.local(at).naive_local();
    let tariff = Tariff::on(tariffs, local.date()).ok_or(Unpriced::NoTariff)?;
    if tariffs[tariff].currency != plant.currency {
        return Err(Unpriced::Currency(tariff));
    }
    let band = tariffs[tariff].band(local, &plant.calendar).ok_or(Unpriced::NoBand(tariff))?;
    Ok((tariff, band))
}

/// A milliwatt-hour at a price for a kWh costs that price in millionths: the two scales cancel.
fn line(tariff: &Tariff, band: usize, parts: &[(usize, Energy)]) -> Option<BandLine> {
    let band = &tariff.bands[band];
    let energies: Vec<Energy> = parts.iter().map(|(_, energy)| *energy).collect();
    let (cost, costs) = charge(band.price, &energies)?;
    let share = |(&(place, energy), cost)| Share { place, energy, cost: Money::from_micros(cost) };
    Some(BandLine {
        tariff: tariff.name.clone(),
        band: band.name.clone(),
        price: band.price,
        energy: energies.iter().sum(),
        cost: Money::from_micros(cost),
        shares: parts.iter().zip(costs).map(share).collect(),
    })
}

fn standing(plant: &Plant, tariffs: &[Tariff], days: &[NaiveDate]) -> Vec<Standing> {
    let mut counts: BTreeMap<usize, u32> = BTreeMap::new();
    for tariff in days.iter().filter_map(|day| Tariff::on(tariffs, *day)) {
        *counts.entry(tariff).or_default() += 1;
    }
    let charged = counts.into_iter().map(|(t, days)| (&tariffs[t], days));
    let charged = charged.filter(|(t, _)| t.currency == plant.currency && t.standing_per_day.fraction().0 != 0);
    let cost = |t: &Tariff, days: u32| t.standing_per_day.scale(i64::from(days) * 1_000_000, 1, 1);
    charged
        .filter_map(|(t, days)| {
            let cost = Money::from_micros(cost(t, days)?);
            Some(Standing { tariff: t.name.clone(), days, per_day: t.standing_per_day, cost })
        })
        .collect()
}

fn issue(plant: &Plant, tariffs: &[Tariff], why: Unpriced, energy: Energy, period: Period) -> Issue {
    let found = match why {
        Unpriced::NoTariff => "no tariff is valid".to_owned(),
        Unpriced::Currency(t) => {
            format!("tariff \"{}\" is in {}, the plant in {}", tariffs[t].name, tariffs[t].currency, plant.currency)
        }
        Unpriced::NoBand(t) => format!("no band of tariff \"{}\" holds at these hours", tariffs[t].name),
    };
    let (first, last) = (plant.zone.date(period.start), plant.zone.date(period.end - 1));
    Issue {
        remark: Remark::Basis,
        about: "cost".into(),
        period,
        text: format!(
            "{found} between {first} and {last}; {} kWh have no price; see config/tariffs/",
            energy.rounded()
        ),
    }
}
