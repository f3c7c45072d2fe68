//! How a figure of a month came about: the slices that it is a sum of, with the meters, prices and factors behind them.
//!
//! A figure is found again by asking every slice for the paths of the figures that it is part of, so that what is explained is
//! what was summed.

mod owners;
mod parts;
pub(in crate::report) mod rules;
mod saving;
pub(in crate::report) mod shown;

pub use shown::{Shown, ids};

use super::input::{MonthInput, Text};
use super::jobs::{coverage, jobs};
use super::lines::Ledger;
use super::month::MonthView;
use super::words;
use crate::attribute::Claim;
use crate::closing::sha256;
use crate::names::MeterId;
use crate::time::{At, Period};
use crate::units::{Energy, decimal};
use chrono::NaiveDate;
use parts::{Chosen, Part};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// How a figure came about. Amounts are exact and in the figure's unit.
#[derive(Clone, Debug, Default, Serialize)]
pub struct Origin {
    /// Its id.
    pub id: String,
    /// What it is, in words.
    pub about: String,
    /// The figure with all its decimals; `None` where it is not known.
    pub exact: Option<String>,
    /// Its unit.
    pub unit: String,
    /// As page and tables show it.
    pub shown: Vec<Shown>,
    /// How it is computed, a sentence each.
    pub rules: Vec<String>,
    /// The meters whose slices it is made of.
    pub meters: Vec<OfMeter>,
    /// The bands under which these are priced.
    pub prices: Vec<OfPrice>,
    /// The factor sets under which their carbon is.
    pub factors: Vec<OfFactor>,
    /// What each month adds to a figure of a year; empty where months do not add up to it.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub months: Vec<OfMonth>,
    /// What each day adds; days that add nothing are left out.
    pub days: Vec<OfDay>,
    /// The slices, where those of a day or of an instant are asked for.
    pub slices: Vec<OfSlice>,
}

/// What a meter adds to a figure.
#[derive(Clone, Debug, Serialize)]
pub struct OfMeter {
    /// The meter.
    pub meter: String,
    /// By what right its slices are in the figure: own, shared, rest or unassigned; empty where they have no owner.
    pub claim: &'static str,
    /// What its slices are.
    pub how: String,
    /// How many slices.
    pub slices: usize,
    /// How their energy is known.
    pub known: String,
    /// Their energy in kWh, as far as it is in the figure.
    pub energy_kwh: String,
    /// What they add.
    pub amount: String,
}

/// What a band of a tariff adds to a figure.
#[derive(Clone, Debug, Serialize)]
pub struct OfPrice {
    /// The tariff.
    pub tariff: String,
    /// Its band, or what else is billed.
    pub line: String,
    /// Price of a kWh; empty where it is not of energy.
    pub price: String,
    /// Energy in kWh; empty where it is not of energy.
    pub energy_kwh: String,
    /// What it adds.
    pub amount: String,
    /// Where its prices come from.
    pub source: String,
    /// The configuration text that states them.
    pub text: Option<Cited>,
}

/// What a factor adds to a figure.
#[derive(Clone, Debug, Serialize)]
pub struct OfFactor {
    /// The publication and version of the set, or the certificate.
    pub set: String,
    /// kg for a kWh.
    pub factor: String,
    /// Energy in kWh.
    pub energy_kwh: String,
    /// What it adds, in kg.
    pub amount: String,
    /// Region, days of validity, status and grade.
    pub terms: String,
    /// Where it comes from.
    pub source: String,
    /// The configuration text that states it.
    pub text: Option<Cited>,
}

/// A configuration text.
#[derive(Clone, Debug, Serialize)]
pub struct Cited {
    /// Its path below the plant folder.
    pub path: String,
    /// SHA-256 of it.
    pub sha256: String,
}

impl Cited {
    fn of(text: &Text) -> Self {
        Self { path: text.path.clone(), sha256: sha256(text.text.as_bytes()) }
    }
}

/// What a day adds to a figure.
#[derive(Clone, Debug, Serialize)]
pub struct OfDay {
    /// The local day.
    pub day: String,
    /// What it adds.
    pub amount: String,
    /// What the amount comes from, where that is no sum of slices.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub from: String,
}

/// What a month adds to a figure of a year.
#[derive(Clone, Debug, Serialize)]
pub struct OfMonth {
    /// The month.
    pub month: String,
    /// What it adds; empty where it is not known.
    pub amount: String,
    /// The id of the figure of the month, where there is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub id: Option<String>,
}

/// A slice in a figure.
#[derive(Clone, Debug, Serialize)]
pub struct OfSlice {
    /// The meter.
    pub meter: String,
    /// When, in milliseconds since 1970.
    #[serde(skip)]
    pub period: Period,
    /// Its beginning, with the plant's offset.
    pub start: String,
    /// Its end.
    pub end: String,
    /// Its energy in kWh, as far as it is in the figure; empty where it is not known.
    pub energy_kwh: String,
    /// What it adds.
    pub amount: String,
    /// By what right.
    pub claim: &'static str,
    /// The press.
    pub press: String,
    /// The station.
    pub station: String,
    /// The kind of lamp.
    pub lamp: &'static str,
    /// State of the lamp.
    pub lamp_state: &'static str,
    /// State of the press.
    pub press_state: &'static str,
    /// The run.
    pub run: String,
    /// How its amount is known.
    pub how_known: &'static str,
    /// How its place in time is known.
    pub how_placed: &'static str,
}

/// Which slices are asked for.
#[derive(Clone, Copy, Debug)]
pub enum Closer {
    /// None.
    Whole,
    /// Those of a local day.
    Day(NaiveDate),
    /// Those that hold an instant.
    At(At),
}

impl Closer {
    fn wants(self, part: &Part) -> bool {
        match self {
            Self::Whole => false,
            Self::Day(day) => part.day == day,
            Self::At(at) => part.usage.period.contains(at),
        }
    }
}

/// Finds out how a figure of a month came about, by its path below the month; `None` where no figure has that path.
pub fn origin(input: &MonthInput, view: &MonthView, path: &str, closer: Closer) -> Option<Origin> {
    let ledger = Ledger::new(&input.basis());
    let id = format!("{}/{path}", input.month);
    let shown = shown::of(view, &id);
    if let Some(found) = saving::of(input, view, path) {
        return Some(Origin { shown, ..found });
    }
    let coverage = coverage(&ledger);
    let span = input.plant.zone.days(*ledger.days.first()?, *ledger.days.last()?);
    let listed = jobs(input.facts.runs, &ledger.accounts, &coverage, span);
    let chosen = parts::of(input, &ledger, &listed, path)?;
    Some(Origin {
        id,
        about: format!("{}, {}", chosen.about, view.title),
        exact: chosen.total.map(|count| decimal(count, 6)),
        unit: chosen.unit.clone(),
        shown,
        rules: chosen.rules.clone(),
        meters: meters(input, &chosen),
        prices: if chosen.is_priced { rules::prices(input, &ledger, &chosen) } else { Vec::new() },
        factors: rules::factors(input, &ledger, &chosen),
        months: Vec::new(),
        days: days(&chosen),
        slices: chosen.parts.iter().filter(|part| closer.wants(part)).map(|part| slice(input, part)).collect(),
    })
}

/// What the meters add, by what right.
fn meters(input: &MonthInput, chosen: &Chosen) -> Vec<OfMeter> {
    // In the order in which the plant names its meters.
    let places: BTreeMap<&MeterId, usize> = input.plant.meters.iter().zip(0..).map(|(m, k)| (&m.id, k)).collect();
    let mut groups: BTreeMap<(usize, Option<Claim>), Vec<&Part>> = BTreeMap::new();
    for part in &chosen.parts {
        let place = places.get(&part.usage.meter).copied().unwrap_or(usize::MAX);
        groups.entry((place, part.owner.map(|owner| owner.claim))).or_default().push(part);
    }
    let of = |((_, claim), parts): ((usize, Option<Claim>), Vec<&Part>)| {
        let meter = &parts[0].usage.meter;
        let known: BTreeSet<&str> = parts.iter().map(|part| words::amount(part.usage.amount)).collect();
        OfMeter {
            meter: meter.to_string(),
            claim: claim.map_or("", words::claim),
            how: rules::how(input.plant, meter, claim),
            slices: parts.len(),
            known: known.into_iter().collect::<Vec<_>>().join(", "),
            energy_kwh: parts.iter().map(|part| part.energy).sum::<Energy>().to_string(),
            amount: decimal(parts.iter().map(|part| part.count).sum(), 6),
        }
    };
    groups.into_iter().map(of).collect()
}

fn days(chosen: &Chosen) -> Vec<OfDay> {
    let mut days: BTreeMap<NaiveDate, i64> = BTreeMap::new();
    chosen.parts.iter().for_each(|part| *days.entry(part.day).or_default() += part.count);
    let with = days.into_iter().filter(|(_, count)| *count != 0);
    with.map(|(day, count)| OfDay { day: day.to_string(), amount: decimal(count, 6), from: String::new() }).collect()
}

fn slice(input: &MonthInput, part: &Part) -> OfSlice {
    let (usage, owner, zone) = (part.usage, part.owner, input.plant.zone);
    OfSlice {
        meter: usage.meter.to_string(),
        period: usage.period,
        start: zone.stamp(usage.period.start),
        end: zone.stamp(usage.period.end),
        energy_kwh: usage.energy.map_or_else(String::new, |_| part.energy.to_string()),
        amount: decimal(part.count, 6),
        claim: owner.map_or("", |owner| words::claim(owner.claim)),
        press: owner.and_then(|owner| owner.press.as_ref()).map_or_else(String::new, ToString::to_string),
        station: owner.and_then(|owner| owner.station.as_ref()).map_or_else(String::new, |s| s.short().to_owned()),
        lamp: owner.and_then(|owner| owner.lamp).map_or("", |lamp| lamp.word()),
        lamp_state: owner.and_then(|owner| owner.lamp_state).map_or("", words::lamp_state),
        press_state: owner.and_then(|owner| owner.press_state).map_or("", words::press_state),
        run: owner.and_then(|owner| owner.run.as_ref()).map_or_else(String::new, ToString::to_string),
        how_known: words::amount(usage.amount),
        how_placed: words::placed(usage.placed),
    }
}
