//! The first screen: what a reader must know before anything else, in the order in which it is asked.

use super::grid::{Cell, Grid, Table};
use super::load::worked;
use super::quality::{Remarks, hours, remarks};
use crate::attribute::{Amount, Claim, Placed, Slice};
use crate::carbon::Status;
use crate::names::PressId;
use crate::plant::{Flow, Meter, Plant};
use crate::report::input::{Facts, MonthInput};
use crate::report::jobs::Coverages;
use crate::report::lines::Ledger;
use crate::report::number::{Figure, Ids, Millionths, UNKNOWN, change, fixed, grouped, kilowatts, percent, thousands};
use crate::report::peak::of_plant;
use crate::report::sums::total;
use crate::time::Month;
use crate::units::{Co2e, Energy, Money, divide_rounded};
use serde::Serialize;

/// As many things to act on as fit the screen.
const SHOWN: usize = 6;

/// The first screen.
#[derive(Clone, Debug, Serialize)]
pub struct First {
    /// The figures at the top.
    pub tiles: Vec<Tile>,
    /// The same month a year before; `None` where nothing is known of it.
    pub year_before: Option<YearBefore>,
    /// What to act on, most pressing first.
    pub act: Vec<Remarks>,
    /// Said where there is more to act on than fits the screen.
    pub more: Option<String>,
    /// How far the energy may be trusted.
    pub trust: Vec<Trust>,
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

/// The comparison with a year before.
#[derive(Clone, Debug, Serialize)]
pub struct YearBefore {
    /// The month, in words.
    pub month: String,
    /// What must be known with it.
    pub notes: Vec<String>,
    /// The comparison.
    pub table: Table,
}

/// One part of the answer to how far the figures may be trusted.
#[derive(Clone, Debug, Serialize)]
pub struct Trust {
    /// What it is.
    pub label: &'static str,
    /// How much of it there is.
    pub figure: Figure,
    /// Its share of the plant's energy in per cent; empty where it has none.
    pub share: String,
    /// What it means.
    pub meaning: &'static str,
}

/// Lays out the first screen.
pub fn first(input: &MonthInput, ledger: &Ledger, coverage: &Coverages) -> First {
    let before = input.year_before.as_ref().map(|facts| {
        let ledger = Ledger::new(input, input.month.year_before(), facts, Some(&ledger.days));
        (facts, ledger)
    });
    let before = before.filter(|(_, ledger)| !ledger.days.is_empty());
    let year_before = before.as_ref().map(|(facts, before)| {
        // Of the year before fewer days may be known: then the same days of this month are compared.
        match before.days.len() < ledger.days.len() {
            true => compare(input, &Ledger::new(input, input.month, &input.facts, Some(&before.days)), facts, before),
            false => compare(input, ledger, facts, before),
        }
    });
    let mut act: Vec<Remarks> = remarks(input.plant.zone, &ledger.issues);
    act.retain(|remark| remark.advice.is_some());
    let more = act.len().saturating_sub(SHOWN);
    act.truncate(SHOWN);
    First {
        tiles: tiles(input, ledger),
        year_before,
        act,
        more: (more > 0).then(|| format!("{more} more stand under data quality.")),
        trust: trust(input, ledger, coverage),
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
    if ledger.bill.unpriced != Energy::ZERO {
        money.push(format!("{} kWh without a price left out", fixed(ledger.bill.unpriced, 0)));
    }
    let mut energy: Vec<String> = peak.into_iter().collect();
    let mut carbon = carbon_notes(ledger);
    let [drawn, generated, given] =
        [Flow::Import, Flow::Generation, Flow::Export].map(|direction| flow(input, ledger, direction));
    if (generated, given) != (Energy::ZERO, Energy::ZERO) {
        let [drawn, generated, given] = [drawn, generated, given].map(|energy| fixed(energy, 0));
        energy.push(format!("{drawn} kWh drawn, {generated} generated, {given} given back"));
        money.push("what was generated and given back is priced like what was drawn; the bill differs".into());
        carbon.push("what was generated and given back counts like what was drawn".into());
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

fn carbon_notes(ledger: &Ledger) -> Vec<String> {
    let mut notes: Vec<String> = ledger.footprint.sets.iter().map(|line| line.set.publication.clone()).collect();
    notes.push(match ledger.footprint.status() {
        Status::Provisional => "provisional: may be restated".into(),
        Status::Final => "final".into(),
    });
    if ledger.footprint.without != Energy::ZERO {
        notes.push(format!("{} kWh without a factor left out", fixed(ledger.footprint.without, 0)));
    }
    notes
}

/// `amount` x `unit` / `size` in the millionths of `amount`; `None` where there is no size.
fn per(amount: i64, unit: i128, size: i64) -> Option<i64> {
    let scaled = || divide_rounded(i128::from(amount) * unit * 1_000_000, i128::from(size));
    (size > 0).then(scaled).and_then(|n| i64::try_from(n).ok())
}

fn compare(input: &MonthInput, now: &Ledger, facts: &Facts, before: &Ledger) -> YearBefore {
    let month = input.month.year_before();
    let names = [input.month, month].map(|m| m.first().format("%B %Y").to_string());
    let sides = [(&input.facts, now), (facts, before)];
    let sums = sides.map(|(_, ledger)| total(&ledger.accounts));
    let web = sides.map(|(facts, ledger)| web(facts, ledger));
    let per_km = [0, 1].map(|k| per(sums[k].energy.mwh(), 1_000, web[k]?).map(|n| Energy::from_mwh(n / 1_000)));
    // Money and carbon of a part of the energy are not compared with those of all of it, nor CO2 with CO2e.
    let priced = |ledger: &Ledger| !ledger.bill.bands.is_empty() && ledger.bill.unpriced == Energy::ZERO;
    let factored = |ledger: &Ledger| ledger.footprint.without == Energy::ZERO && ledger.co2_only() == now.co2_only();
    let cost = sides.map(|(_, ledger)| priced(ledger).then(|| ledger.bill.total()));
    let co2e = [0, 1].map(|k| sums[k].co2e().filter(|_| factored(sides[k].1)));

    let mut grid = Grid::new("This month and the same month a year before")
        .words("")
        .words("Unit")
        .numbers(&names[0], "")
        .numbers(&names[1], "")
        .numbers("Change", "%");
    let mut row = |name: &str, unit: &str, values: [Option<i64>; 2], print: &dyn Fn(i64) -> String| {
        let text = |value: Option<i64>| Cell::from(value.map_or_else(|| UNKNOWN.into(), print));
        let [a, b] = values;
        let moved = a.zip(b).and_then(|(a, b)| change(a.into(), b.into()));
        let cells = vec![name.into(), unit.into(), text(a), text(b), moved.unwrap_or_else(|| UNKNOWN.into()).into()];
        grid.row("plain", cells);
    };
    let count = |k: i64| grouped(u128::from(k.unsigned_abs()));
    row("Electricity", "kWh", sums.map(|s| Some(s.energy.mwh())), &|n| fixed(Energy::from_mwh(n), 0));
    row("Cost of electricity", &input.plant.currency, cost.map(|c| c.map(Money::micros)), &|n| {
        fixed(Money::from_micros(n), 0)
    });
    row("Scope 2, location-based", &now.carbon_unit("t"), co2e.map(|c| c.map(Co2e::mg)), &|n| {
        thousands(Co2e::from_mg(n))
    });
    row("Web run", "km", web, &|mm| count(divide_rounded(mm.into(), 1_000_000) as i64));
    row("Days with production", "", sides.map(|(_, l)| Some(worked(l).len() as i64)), &count);
    row("Electricity for 1,000 m of web", "kWh", per_km.map(|e| e.map(Energy::mwh)), &|n| {
        fixed(Energy::from_mwh(n), 1)
    });
    let notes =
        compared(&names, sides.map(|(_, ledger)| ledger.days.len()), [input.month, month], sums.map(|s| s.unknown));
    YearBefore { month: names[1].clone(), notes, table: grid.finish() }
}

/// What must be known with the comparison of two months: that not all of their days are in it, that energy is missing.
fn compared(names: &[String; 2], days: [usize; 2], months: [Month; 2], unknown: [i64; 2]) -> Vec<String> {
    let mut notes = Vec::new();
    let all = months.map(|month| month.days().count());
    if days[0] != days[1] {
        notes.push(format!("Compared are {} days of {} and {} of {}.", days[0], names[0], days[1], names[1]));
    } else if days != all {
        notes.push(match days[0] {
            1 => "Only one day is known of both months and compared.".to_owned(),
            days => format!("Only {days} days are known of both months and compared."),
        });
    }
    for (name, unknown) in names.iter().zip(unknown).filter(|(_, unknown)| *unknown > 0) {
        notes.push(format!("The energy of {} meter hours is missing in {name}.", hours(unknown)));
    }
    notes
}

/// Length of web run in the days of a ledger, in millimetres; `None` where no press has a counter.
pub fn web(facts: &Facts, ledger: &Ledger) -> Option<i64> {
    let inside = facts.web.iter().filter(|((_, day), _)| ledger.days.contains(day));
    inside.map(|(_, mm)| *mm).reduce(|a, b| a + b)
}

fn trust(input: &MonthInput, ledger: &Ledger, coverage: &Coverages) -> Vec<Trust> {
    let (ids, sums) = (Ids(input.month), total(&ledger.accounts));
    let sum = |wanted: &dyn Fn(&Slice) -> bool| total(ledger.accounts.iter().filter(|a| wanted(a.slice))).energy;
    let usage = |slice: &Slice| (slice.usage.amount, slice.usage.placed);
    let rest = |slice: &Slice| slice.owner.claim == Claim::Rest && slice.owner.press.is_none();
    let without_job: Energy = coverage.values().map(|c| c.energy_without_job).sum();
    let known = |amount| matches!(amount, Amount::Metered | Amount::Integrated);
    let energy = |label, path: &str, energy: Energy, meaning| Trust {
        label,
        figure: Figure::plain(fixed(energy, 0), "kWh").with(ids.of(&["trust", path])),
        share: percent(energy.mwh(), sums.energy.mwh()).unwrap_or_default(),
        meaning,
    };
    vec![
        energy(
            "Measured",
            "measured",
            sum(&|s| known(usage(s).0) && usage(s).1 == Placed::Measured),
            "read from a meter, at the time to which it is put",
        ),
        energy(
            "Interpolated",
            "interpolated",
            sum(&|s| known(usage(s).0) && usage(s).1 != Placed::Measured),
            "the amount is metered, its place in time is shared over a gap",
        ),
        energy("Estimated", "estimated", sum(&|s| usage(s).0 == Amount::Estimated), "by a stated rule"),
        Trust {
            label: "Missing",
            figure: Figure::plain(hours(sums.unknown), "meter hours").with(ids.of(&["trust", "missing"])),
            share: String::new(),
            meaning: "energy not known, and in no sum",
        },
        energy("Unmetered rest", "rest", sum(&rest), "inside the supply, below no other meter"),
        energy(
            "Web moving without a job",
            "without-job",
            without_job,
            "charged to its press, to no job; above 5 % of the time single jobs are indicative",
        ),
    ]
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
