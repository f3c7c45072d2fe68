//! The page of a year.

use super::{FilingInput, YearFacts};
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
        notes: notes(year),
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
    let year = input.year;
    let before = (year.year - 1).to_string();
    let mut grid = Grid::new(standard)
        .words("Data point")
        .words("Figure")
        .words("Unit")
        .numbers(&year.year.to_string(), "")
        .numbers(&before, "")
        .numbers("Change", "%");
    for point in input.mapping.points.iter().filter(|point| point.standard == standard) {
        let now = year.value(point.datum);
        let then = input.before.and_then(|before| before.value(point.datum));
        let alike = input.before.is_some_and(|before| compares(point.datum, year, before));
        let moved = now.zip(then).filter(|_| alike).and_then(|(now, then)| change(now.into(), then.into()));
        let id = format!("{}/filing/{}", year.year, point.datum.word());
        grid.row(
            "plain",
            vec![
                point.identifier.as_str().into(),
                point.text.as_str().into(),
                unit(year, point).as_str().into(),
                Cell::printed(shown(now, point), id),
                shown(then, point).as_str().into(),
                moved.unwrap_or_else(|| UNKNOWN.into()).as_str().into(),
            ],
        );
    }
    grid.finish()
}

/// Whether a figure of two years may be compared: sums of whole years only, and carbon of the same gases only.
fn compares(datum: Datum, year: &YearFacts, before: &YearFacts) -> bool {
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
fn unit(year: &YearFacts, point: &Point) -> String {
    match point.unit.word.split_once('/') {
        Some((mass, web)) => format!("{mass}{}/{web}", year.gases(point.datum)),
        None => format!("{}{}", point.unit.word, year.gases(point.datum)),
    }
}

fn notes(year: &YearFacts) -> Vec<String> {
    let share = |part: i64, whole: i64| percent(part, whole).unwrap_or_else(|| UNKNOWN.into());
    let mut notes = vec![format!(
        "The draw is known from midnight to midnight on {} of {} days ({} %); {} % of the energy is estimated by a stated rule.",
        year.whole,
        year.days,
        share(year.whole as i64, year.days as i64),
        share(year.estimated.mwh(), year.energy.mwh())
    )];
    if year.whole < year.days {
        notes.push("These are the figures of a part of the year: what nobody metered is in none of them.".into());
    }
    notes.extend(year.issues.iter().map(|issue| format!("{}.", issue.text)));
    if year.market.without != Energy::ZERO {
        let told = fixed(year.market.without, 0);
        notes.push(format!("{told} kWh have no factor by the market; totals that need one are not stated."));
    }
    notes
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
        let Some(mg) = today.value(datum).filter(|_| datum == Datum::Location || base.market_t.is_some()) else {
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
