//! The page of a year.

use super::site::of_closing;
use super::{FilingInput, Sites, Totals, YearFacts};
use crate::carbon::filing::{Base, Datum, Dimension, Point};
use crate::report::month::grid::{Cell, Grid, Table};
use crate::report::month::market::{Methods, methods};
use crate::report::number::{UNKNOWN, change, fixed, percent};
use crate::report::words;
use crate::units::{self, Energy};
use serde::Serialize;
use std::collections::BTreeSet;

/// The year ready to print.
#[derive(Clone, Debug, Serialize)]
pub struct Filing {
    /// Name of the plant.
    pub plant: String,
    /// The year.
    pub title: String,
    /// Which days are known.
    pub span: String,
    /// How far the figures may be trusted, and what must be said with them.
    pub notes: Vec<String>,
    /// The sites for which it files, and the factors of each; empty of one alone.
    pub sites: Vec<Table>,
    /// One table for each standard.
    pub standards: Vec<Table>,
    /// Scope 2 by both methods.
    pub methods: Methods,
    /// The factor sets in use, and where each comes from.
    pub sets: Table,
    /// What became of the base year; empty where there is none.
    pub base: Vec<String>,
    /// What computed it.
    pub versions: String,
}

/// Lays out a year.
pub fn filing(input: &FilingInput) -> Filing {
    let year = input.year;
    let mut seen = BTreeSet::new();
    let standards = input.mapping.points.iter().map(|point| point.standard.as_str()).filter(|one| seen.insert(*one));
    let id = |parts: &[&str]| format!("{}/{}", year.year, parts.join("/"));
    let mut methods = methods(&id, &year.footprint, &year.market);
    methods.indication = None;
    Filing {
        plant: input.plant.name.clone(),
        title: year.year.to_string(),
        span: format!("{} to {}, {}", year.span.0, year.span.1, input.plant.zone.0.name()),
        notes: notes(input),
        sites: input.sites.map(|all| vec![sites(all), super::sites::grid(all)]).unwrap_or_default(),
        standards: standards.map(|standard| standard_table(input, standard)).collect(),
        methods,
        sets: sets(year),
        base: input.mapping.base.map(|base| of_base(input, base)).unwrap_or_default(),
        versions: format!(
            "inkwatt {}, rules of attribution {}, time zones {}",
            input.versions.program, input.versions.rules, input.versions.zones
        ),
    }
}

fn standard_table(input: &FilingInput, standard: &str) -> Table {
    let (year, totals, totals_before) = (input.year, input.totals(), input.totals_before());
    let before = (year.year - 1).to_string();
    let mut grid = Grid::new(standard)
        .words("Data point")
        .words("Figure")
        .words("Unit")
        .numbers(&year.year.to_string(), "")
        .numbers(&before, "")
        .numbers("Change", "%");
    for point in input.mapping.points.iter().filter(|point| point.standard == standard) {
        let now = totals.value(point.datum);
        let then = totals_before.as_ref().and_then(|before| before.value(point.datum));
        let alike = totals_before.as_ref().is_some_and(|before| compares(point.datum, &totals, before));
        let moved = now.zip(then).filter(|_| alike).and_then(|(now, then)| change(now.into(), then.into()));
        let id = format!("{}/filing/{}", year.year, point.datum.word());
        grid.row(
            "plain",
            vec![
                point.identifier.as_str().into(),
                point.text.as_str().into(),
                unit(&totals, point).as_str().into(),
                Cell::printed(shown(now, point), id),
                shown(then, point).as_str().into(),
                moved.unwrap_or_else(|| UNKNOWN.into()).as_str().into(),
            ],
        );
    }
    grid.finish()
}

/// Whether a figure of two years may be compared: sums of whole years only, and carbon of the same gases only.
fn compares(datum: Datum, year: &Totals, before: &Totals) -> bool {
    let is_sum = matches!(datum.dimension(), Dimension::Energy | Dimension::Carbon);
    let whole = [year, before].iter().all(|facts| facts.whole == facts.days);
    (whole || !is_sum) && before.gases(datum) == year.gases(datum)
}

fn shown(count: Option<i64>, point: &Point) -> String {
    let unit = point.unit;
    count.map_or_else(
        || UNKNOWN.into(),
        |count| units::fixed(i128::from(count) * i128::from(unit.times), unit.exponent, unit.places),
    )
}

/// The unit with the gases of what is carbon.
fn unit(year: &Totals, point: &Point) -> String {
    match point.unit.word.split_once('/') {
        Some((mass, web)) => format!("{mass}{}/{web}", year.gases(point.datum)),
        None => format!("{}{}", point.unit.word, year.gases(point.datum)),
    }
}

fn notes(input: &FilingInput) -> Vec<String> {
    let (year, totals) = (input.year, input.totals());
    let share = |part: i64, whole: i64| percent(part, whole).unwrap_or_else(|| UNKNOWN.into());
    let days = if input.sites.is_some() { "days of the sites" } else { "days" };
    let mut notes = vec![format!(
        "The draw is known from midnight to midnight on {} of {} {days} ({} %); {} % of the energy is estimated by a stated rule.",
        totals.whole,
        totals.days,
        share(totals.whole, totals.days),
        share(totals.estimated, totals.energy)
    )];
    if totals.whole < totals.days {
        notes.push("These are the figures of a part of the year: what nobody metered is in none of them.".into());
    }
    let own = of_closing(year.year, input.closed);
    notes.push(if input.sites.is_some() { format!("{}: {own}", input.plant.name) } else { own });
    if input.site.is_none() && !input.closed.is_empty() {
        notes.push(
            "Closed months come out otherwise today than they were closed; inkwatt close --audit says why.".into(),
        );
    }
    notes.extend(input.sites.into_iter().flat_map(Sites::notes));
    notes.extend(year.issues.iter().map(|issue| format!("{}.", issue.text)));
    if year.market.without != Energy::ZERO {
        let told = fixed(year.market.without, 0);
        notes.push(format!("{told} kWh have no factor by the market; totals that need one are not stated."));
    }
    notes
}

/// The sites, each with what it adds.
fn sites(all: &Sites) -> Table {
    let mut grid = Grid::new("Sites")
        .words("Site")
        .words("Grid and time zone")
        .words("Months closed")
        .numbers("Electricity", "kWh")
        .numbers("Scope 2, location-based", "kg")
        .numbers("Scope 2, market-based", "kg")
        .numbers("Days known", "%")
        .numbers("Estimated", "%")
        .words("Factors");
    let mut row = |kind, name: &str, place: &str, closed: &str, totals: &Totals| {
        let share = |share: Option<i64>| share.map_or_else(|| UNKNOWN.into(), |share| units::fixed(share.into(), 6, 1));
        let whole = |count: Option<i64>| count.map_or_else(|| UNKNOWN.into(), |count| units::fixed(count.into(), 6, 0));
        let cells = [
            name.to_owned(),
            place.to_owned(),
            closed.to_owned(),
            whole(Some(totals.energy)),
            whole(totals.location),
            whole(totals.market),
            share(totals.coverage()),
            share(totals.estimated_share()),
            totals.status().to_owned(),
        ];
        grid.row(kind, cells.map(Cell::from).to_vec());
    };
    for site in all.all() {
        let closed = match site.months.iter().filter(|month| month.true_up).count() {
            0 => format!("{} of 12", site.months.len()),
            count => format!("{} of 12, {count} trued up", site.months.len()),
        };
        row("plain", &site.site, &format!("{}, {}", site.grid, site.zone), &closed, &site.totals);
    }
    row("sum", "All sites", "", "", &all.totals());
    grid.finish()
}

fn sets(year: &YearFacts) -> Table {
    let mut grid = Grid::new("Factor sets in use")
        .words("Publication")
        .words("Version")
        .words("Status")
        .words("Grade")
        .words("Warming potentials")
        .words("Source");
    for set in year.footprint.sets.iter().map(|line| &line.set) {
        let gases = if set.co2_only { "CO2 alone" } else { set.gwp.as_str() };
        let cells =
            [&set.publication, &set.version, words::status(set.status), &set.grade, gases, &set.source].map(Cell::from);
        grid.row("plain", cells.to_vec());
    }
    grid.finish()
}

/// The base year as filed against what the facts give today.
fn of_base(input: &FilingInput, base: Base) -> Vec<String> {
    let Some(today) = input.base else {
        return vec![format!("Base year {}: nothing is known of it here, so its filed figures stand.", base.year)];
    };
    let mut told = Vec::new();
    let market = base.market_t.unwrap_or(base.location_t);
    if base.market_t.is_none() {
        told.push(format!("Base year {}: it has no market-based figure; the location-based one stands in.", base.year));
    }
    for (name, filed, datum) in [("location", base.location_t, Datum::Location), ("market", market, Datum::Market)] {
        let Some(mg) = today.totals().value(datum).filter(|_| datum == Datum::Location || base.market_t.is_some())
        else {
            continue;
        };
        let now = mg as f64 / 1e9;
        let off = if filed > 0.0 { (now / filed - 1.0) * 100.0 } else { f64::INFINITY };
        let verdict = match off.abs() > base.threshold_percent {
            true => format!("beyond the threshold of {} %: recalculate the base year", base.threshold_percent),
            false => format!("within the threshold of {} %: it stands", base.threshold_percent),
        };
        told.push(format!(
            "Base year {}, {name}-based: filed {filed:.2} t, the facts give {now:.2} t today ({off:+.1} %), {verdict}.",
            base.year
        ));
    }
    told
}
