//! The first screen: what a reader must know before anything else, in the order in which it is asked.

use super::act::{Act, act};
use super::before::{YearBefore, year_before};
use super::trust::{Trust, trust};
use crate::carbon::Status;
use crate::names::PressId;
use crate::plant::{Flow, Meter, Plant};
use crate::report::input::MonthInput;
use crate::report::jobs::Coverages;
use crate::report::known::Known;
use crate::report::lines::{Ledger, carbon_unit};
use crate::report::number::{Figure, Ids, Millionths, UNKNOWN, fixed, kilowatts, per, percent, thousands};
use crate::report::peak::of_plant;
use crate::report::sums::total;
use crate::units::{Energy, Money};
use serde::Serialize;

/// The first screen.
#[derive(Clone, Debug, Serialize)]
pub struct First {
    /// The figures at the top.
    pub tiles: Vec<Tile>,
    /// The same month a year before; `None` where nothing is known of it.
    pub year_before: Option<YearBefore>,
    /// What to act on.
    pub act: Act,
    /// How far the energy may be trusted.
    pub trust: Trust,
}

/// A figure at the top.
#[derive(Clone, Debug, Serialize)]
pub struct Tile {
    /// What it is.
    pub label: &'static str,
    /// The figure.
    pub figure: Figure,
    /// What must be known with it, a line each.
    pub notes: Vec<String>,
}

/// Lays out the first screen.
pub fn first(input: &MonthInput, ledger: &Ledger, coverage: &Coverages, known: &Known) -> First {
    First {
        tiles: tiles(input, ledger),
        year_before: year_before(input),
        act: act(input, ledger),
        trust: trust(input, ledger, coverage, known),
    }
}

fn tiles(input: &MonthInput, ledger: &Ledger) -> Vec<Tile> {
    let (ids, sums) = (Ids(input.month), total(&ledger.accounts));
    let peak = of_plant(input.plant, ledger);
    let peak = peak.and_then(|p| {
        let start = input.plant.zone.local(p.period.start).format("%a %-d %b, %H:%M");
        Some(format!(
            "peak {} kW, {} min from {start}",
            kilowatts(p.energy, p.period.millis())?,
            p.period.millis() / 60_000
        ))
    });
    let cost = (!ledger.bill.bands.is_empty()).then(|| ledger.bill.total());
    let per_kwh = cost.and_then(|cost| per(cost.count(), 1, sums.energy.mwh() - ledger.bill.unpriced.mwh()));
    let standing: Money = ledger.bill.standing.iter().map(|s| s.cost).sum();
    let mut money = Vec::new();
    if let Some(per_kwh) = per_kwh {
        money.push(format!("{} {} a kWh, all in", fixed(Money::from_micros(per_kwh), 4), input.plant.currency));
    }
    if standing != Money::ZERO {
        money.push(format!("standing charge {} inside", fixed(standing, 2)));
    }
    // A bill is of the whole month, and beside the cost of a part of it would mislead.
    let is_whole = ledger.days.len() == input.month.days().count();
    let bill = input.billed.filter(|billed| is_whole && billed.invoice.is_whole()).map(|billed| billed.invoice.total());
    if let Some(bill) = bill.filter(|bill| Some(*bill) != cost) {
        money.push(format!("{} {} with all that the supplier bills", fixed(bill, 2), input.plant.currency));
    }
    if ledger.bill.unpriced != Energy::ZERO {
        money.push(format!("{} kWh without a price left out", fixed(ledger.bill.unpriced, 0)));
    }
    let mut energy: Vec<String> = peak.into_iter().collect();
    let mut carbon = carbon_notes(ledger);
    let [drawn, generated, given] =
        [Flow::Import, Flow::Generation, Flow::Export].map(|direction| flow(input, ledger, direction));
    if (generated, given) != (Energy::ZERO, Energy::ZERO) {
        let told = [drawn, generated, given].map(|energy| fixed(energy, 0));
        let [drawn_told, generated_told, given_told] = &told;
        let (minus, apart) = match given {
            Energy::ZERO => (String::new(), String::new()),
            _ => {
                (format!(" − {given_told} given back"), format!(", and pays apart for the {given_told} kWh given back"))
            }
        };
        energy.push(format!("{drawn_told} kWh drawn + {generated_told} generated{minus}"));
        money.push(format!("priced as if all of it were drawn; the supplier bills the {drawn_told} kWh drawn{apart}"));
        carbon.push(format!("counted as if all of it came from the grid; {drawn_told} kWh did"));
    }
    vec![
        Tile {
            label: "Electricity",
            figure: Figure::plain(fixed(sums.energy, 0), "kWh").with(ids.of(&["energy", "plant"])),
            notes: energy,
        },
        Tile {
            label: "Cost of electricity",
            figure: Figure::plain(cost.map_or(UNKNOWN.into(), |c| fixed(c, 0)), &input.plant.currency)
                .with(ids.of(&["cost", "plant", "total"])),
            notes: money,
        },
        Tile {
            label: "Scope 2, location-based",
            figure: Figure::plain(sums.co2e().map_or(UNKNOWN.into(), thousands), &ledger.carbon_unit("t"))
                .with(ids.of(&["carbon", "plant"])),
            notes: carbon,
        },
        Tile {
            label: "Scope 2, market-based",
            figure: Figure::plain(by_market(ledger), &carbon_unit("t", ledger.market.co2_only()))
                .with(ids.of(&["carbon", "scope2", "market", "carbon"])),
            notes: market_notes(ledger),
        },
    ]
}

/// What the meters of one direction at the top show.
fn flow(input: &MonthInput, ledger: &Ledger, flow: Flow) -> Energy {
    let of_it = |meter: &&Meter| meter.flow == flow && meter.below.is_none();
    let meters: Vec<_> = input.plant.meters.iter().filter(of_it).map(|meter| &meter.id).collect();
    let days = input.facts.days.iter().filter(|day| ledger.days.contains(&day.value.date));
    let usage = days.flat_map(|day| &day.value.usage).filter(|usage| meters.contains(&&usage.meter));
    usage.filter_map(|usage| usage.energy).sum()
}

/// The total by the market; unknown where no factor holds for any of it.
fn by_market(ledger: &Ledger) -> String {
    let market = &ledger.market;
    if market.lines.is_empty() && market.without != Energy::ZERO { UNKNOWN.into() } else { thousands(market.co2e()) }
}

fn market_notes(ledger: &Ledger) -> Vec<String> {
    let market = &ledger.market;
    let mut notes = Vec::new();
    if market.covered() != Energy::ZERO {
        notes.push(format!("{} kWh covered by certificates (indication)", fixed(market.covered(), 0)));
    }
    if market.lacks_residual() {
        notes.push("no residual mix known: grid average".into());
    }
    notes
}

fn carbon_notes(ledger: &Ledger) -> Vec<String> {
    let mut notes: Vec<String> = ledger.footprint.sets.iter().map(|line| line.set.publication.clone()).collect();
    // Where no factor holds there is no figure that could be final.
    if !notes.is_empty() {
        notes.push(match ledger.footprint.status() {
            Status::Provisional => "provisional: may be restated".into(),
            Status::Final => "final".into(),
        });
    }
    if ledger.footprint.without != Energy::ZERO {
        notes.push(format!("{} kWh without a factor left out", fixed(ledger.footprint.without, 0)));
    }
    notes
}

/// The presses on which single jobs are indicative only.
pub fn indicative(plant: &Plant, coverage: &Coverages) -> Vec<String> {
    let poor = coverage.iter().filter(|(_, c)| c.is_poor());
    let name = |id: &PressId| plant.press(id).map_or_else(|| id.to_string(), |p| p.name.clone());
    poor.map(|(id, c)| {
        let share = |part, whole| percent(part, whole).unwrap_or_else(|| UNKNOWN.into());
        format!(
            "{}: {} % of its running time without a job, {} % of its job time without web",
            name(id),
            share(c.moving_without_job, c.moving),
            share(c.booked_without_web, c.booked)
        )
    })
    .collect()
}
