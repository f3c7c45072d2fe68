//! The promise: what the proposal said, in the trade's terms, so that it can be held against itself before anything is measured.
//!
//! Energies are kWh a year, hours are hours a year, money is in the plant's currency.

use super::heat::HeatStated;
use crate::names::{LoadId, PressId, StationId};
use crate::plant::RatedAt;
use chrono::NaiveDate;

/// What the proposal said.
#[derive(Clone, Debug, PartialEq)]
pub struct Promise {
    /// What people call it.
    pub title: String,
    /// The day it bears.
    pub dated: NaiveDate,
    /// Price of a kWh that it reckons with.
    pub price: f64,
    /// Kilograms of CO2e a kWh that it reckons with.
    pub grid_kg: Option<f64>,
    /// What the conversion was to cost.
    pub investment: Option<f64>,
    /// Declared lines beside electricity, money a year, by name: lamps, disposal, ink premium. A cost is below zero.
    pub declared: Vec<(String, f64)>,
    /// Groups of stations, in the order of the file.
    pub groups: Vec<Group>,
    /// What it says of shared loads.
    pub shared: Vec<SharedChange>,
    /// The totals it states.
    pub stated: Stated,
    /// The contract, where there is one.
    pub contract: Option<Contract>,
    /// What is stated about heat, where anything is.
    pub heat: Option<HeatStated>,
}

/// Stations of one press that are converted alike.
#[derive(Clone, Debug, PartialEq)]
pub struct Group {
    /// The press.
    pub press: PressId,
    /// Its stations.
    pub stations: Vec<StationId>,
    /// Length of the lamps in centimetres.
    pub length_cm: f64,
    /// The lamps before.
    pub old: Equipment,
    /// The lamps after.
    pub new: Equipment,
    /// Stations lit while the press cures, on average; at most their number.
    pub lit: f64,
    /// Hours of a year.
    pub hours: Hours,
    /// The saving it states for the group, kWh a year.
    pub kwh: Option<f64>,
}

/// Lamps as the promise rates them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Equipment {
    /// Electrical watts per centimetre of lamp.
    pub w_per_cm: f64,
    /// What that refers to.
    pub rated_at: RatedAt,
    /// Losses of the supply where it is rated at the lamp: mains over lamp, such as 1.15.
    pub supply_factor: f64,
    /// Mean level while curing, 1 for full.
    pub level: f64,
    /// Draw on standby as a share of the draw at full level.
    pub standby_share: f64,
    /// Draw of its supply and controls in all other hours, in watts.
    pub off_w: f64,
    /// Active over apparent power at full level, where it is stated.
    pub power_factor: Option<f64>,
}

impl Equipment {
    /// Watts at the mains of a lamp of that length at full level.
    pub fn full_watts(&self, length_cm: f64) -> f64 {
        let supply = match self.rated_at {
            RatedAt::Lamp => self.supply_factor,
            RatedAt::Mains => 1.0,
        };
        self.w_per_cm * length_cm * supply
    }
}

/// Hours of a year.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hours {
    /// In which the press is manned; they save nothing by themselves.
    pub manned: f64,
    /// In which its lamps cure.
    pub curing: f64,
    /// In which a lamp is energised and does not cure, warm-up included: the mean of the stations of the group.
    pub standby: f64,
}

/// What the promise says of a shared load, kWh a year.
#[derive(Clone, Debug, PartialEq)]
pub struct SharedChange {
    /// The load.
    pub load: LoadId,
    /// Before.
    pub before: f64,
    /// After.
    pub after: f64,
}

/// The totals that a promise states; what it does not state is absent.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Stated {
    /// kWh a year.
    pub kwh: Option<f64>,
    /// Money a year.
    pub money: Option<f64>,
    /// Kilograms of CO2e a year.
    pub co2e_kg: Option<f64>,
    /// Apparent power freed, kVA.
    pub kva: Option<f64>,
    /// Payback in years.
    pub payback_years: Option<f64>,
}

/// One side of the conversion.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Side {
    /// The old lamps.
    Before,
    /// The new ones.
    After,
}

/// What a guarantee is measured by.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Basis {
    /// By what was saved at the operation that took place.
    Actual,
    /// By what would have been saved in the hours that the contract deems to be worked.
    Deemed,
}

/// A guarantee.
#[derive(Clone, Debug, PartialEq)]
pub struct Contract {
    /// What it is measured by.
    pub basis: Basis,
    /// The guaranteed saving, kWh a year.
    pub guaranteed_kwh: f64,
    /// Curing hours a year that it deems worked, under [`Basis::Deemed`].
    pub deemed_hours: Option<f64>,
    /// Price below which it does not reckon, a kWh.
    pub floor_price: Option<f64>,
    /// Share of the saving that goes to the supplier, 0 to 1.
    pub share: Option<f64>,
    /// The most that it pays in a year, money.
    pub cap: Option<f64>,
    /// Who signs adjustments.
    pub signs: Option<String>,
    /// Days on which it is judged, in order.
    pub dates: Vec<NaiveDate>,
}

/// Promises for the tests of this module's neighbours; the numbers are invented.
#[cfg(test)]
pub mod example {
    use super::*;

    /// A lamp of that rating at the mains, at full level.
    pub fn lamp(w_per_cm: f64) -> Equipment {
        Equipment {
            w_per_cm,
            rated_at: RatedAt::Mains,
            supply_factor: 1.0,
            level: 1.0,
            standby_share: 0.0,
            off_w: 0.0,
            power_factor: None,
        }
    }

    /// A group of press p1: 40 cm, all lit, 1,800 of 4,000 manned hours.
    pub fn group(stations: usize, old: Equipment, new: Equipment) -> Group {
        Group {
            press: "p1".into(),
            stations: (1..=stations).map(|k| StationId::from(format!("p1/s{k}").as_str())).collect(),
            length_cm: 40.0,
            old,
            new,
            lit: stations as f64,
            hours: Hours { manned: 4_000.0, curing: 1_800.0, standby: 500.0 },
            kwh: None,
        }
    }

    /// A promise of those groups that states nothing else.
    pub fn promise(groups: Vec<Group>) -> Promise {
        Promise {
            title: "Proposal".into(),
            dated: NaiveDate::from_ymd_opt(2025, 9, 15).expect("a day"),
            price: 0.2,
            grid_kg: None,
            investment: None,
            declared: Vec::new(),
            groups,
            shared: Vec::new(),
            stated: Stated::default(),
            contract: None,
            heat: None,
        }
    }
}
