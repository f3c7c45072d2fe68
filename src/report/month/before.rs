//! The month beside the same month a year before.

use super::grid::{Cell, Grid, Table};
use crate::attribute::DaySums;
use crate::carbon;
use crate::cost;
use crate::report::input::{MonthInput, known};
use crate::report::known::told_hours;
use crate::report::lines::carbon_unit;
use crate::report::number::{UNKNOWN, change, fixed, grouped, per, thousands};
use crate::time::Month;
use crate::units::{Co2e, Energy, Money, divide_rounded};
use chrono::{Datelike, NaiveDate};
use serde::Serialize;
use std::collections::BTreeSet;

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

/// What some days of a month add up to.
struct Side {
    days: usize,
    energy: Energy,
    unknown: i64,
    /// `None` where a part of the energy has no price: what the rest costs is compared with nothing.
    cost: Option<Money>,
    /// `None` where a part of the energy has no factor.
    co2e: Option<Co2e>,
    co2_only: bool,
    worked: usize,
    /// Millimetres; `None` where no press has a counter.
    web: Option<i64>,
}

/// Compares the days that are known of both months; `None` where there are none of the year before.
pub fn year_before(input: &MonthInput) -> Option<YearBefore> {
    let now = known(input.facts.sums);
    let before = same_days(known(input.year_before?), now.iter());
    // Of the year before fewer days may be known: then the same days of this month are compared.
    let now = same_days(now, before.iter().copied());
    (!before.is_empty()).then(|| compare(input, [now, before].map(|days| Side::of(input, &days))))
}

/// The days that have the same number in the month as any of the others.
fn same_days<'a, 'b>(days: &'a [DaySums], others: impl Iterator<Item = &'b DaySums>) -> Vec<&'a DaySums> {
    let wanted: BTreeSet<u32> = others.map(|day| day.date.day()).collect();
    days.iter().filter(|day| wanted.contains(&day.date.day())).collect()
}

impl Side {
    fn of(input: &MonthInput, days: &[&DaySums]) -> Self {
        let dates: Vec<NaiveDate> = days.iter().map(|day| day.date).collect();
        let used = || days.iter().flat_map(|day| day.used(input.plant.zone));
        let bill = cost::price(input.plant, input.tariffs, &dates, used()).value;
        let footprint = carbon::of(input.plant, input.factors, used()).value;
        let priced = !bill.bands.is_empty() && bill.unpriced == Energy::ZERO;
        Self {
            days: days.len(),
            energy: days.iter().map(|day| day.energy()).sum(),
            unknown: days.iter().map(|day| day.unknown).sum(),
            cost: priced.then(|| bill.total()),
            co2e: (footprint.without == Energy::ZERO).then(|| footprint.co2e()),
            co2_only: footprint.co2_only(),
            worked: days.iter().filter(|day| day.worked).count(),
            web: days.iter().flat_map(|day| day.web.values().copied()).reduce(|a, b| a + b),
        }
    }

    /// Energy for 1,000 m of web.
    fn per_km(&self) -> Option<Energy> {
        per(self.energy.mwh(), 1_000, self.web?).map(|n| Energy::from_mwh(n / 1_000))
    }
}

fn compare(input: &MonthInput, sides: [Side; 2]) -> YearBefore {
    let months = [input.month, input.month.year_before()];
    let names = months.map(|m| m.first().format("%B %Y").to_string());
    let mut grid = Grid::new("This month and the same month a year before")
        .words("")
        .words("Unit")
        .numbers(&names[0], "")
        .numbers(&names[1], "")
        .numbers("Change", "%");
    let mut row = |name: &str, unit: &str, value: &dyn Fn(&Side) -> Option<i64>, print: &dyn Fn(i64) -> String| {
        let text = |value: Option<i64>| Cell::from(value.map_or_else(|| UNKNOWN.into(), print));
        let [a, b] = sides.each_ref().map(value);
        let moved = a.zip(b).and_then(|(a, b)| change(a.into(), b.into()));
        let cells = vec![name.into(), unit.into(), text(a), text(b), moved.unwrap_or_else(|| UNKNOWN.into()).into()];
        grid.row("plain", cells);
    };
    let count = |k: i64| grouped(u128::from(k.unsigned_abs()));
    // CO2 is not compared with CO2e.
    let co2_only = sides[0].co2_only;
    let co2e = |side: &Side| side.co2e.filter(|_| side.co2_only == co2_only).map(Co2e::mg);
    row("Electricity", "kWh", &|s| Some(s.energy.mwh()), &|n| fixed(Energy::from_mwh(n), 0));
    row("Cost of electricity", &input.plant.currency, &|s| s.cost.map(Money::micros), &|n| {
        fixed(Money::from_micros(n), 0)
    });
    row("Scope 2, location-based", &carbon_unit("t", co2_only), &co2e, &|n| thousands(Co2e::from_mg(n)));
    row("Web run", "km", &|s| s.web, &|mm| count(divide_rounded(mm.into(), 1_000_000) as i64));
    row("Days with production", "", &|s| Some(s.worked as i64), &count);
    row("Electricity for 1,000 m of web", "kWh", &|s| s.per_km().map(Energy::mwh), &|n| fixed(Energy::from_mwh(n), 1));
    let [days, unknown] = [sides.each_ref().map(|s| s.days as i64), sides.each_ref().map(|s| s.unknown)];
    YearBefore { month: names[1].clone(), notes: compared(&names, days, months, unknown), table: grid.finish() }
}

/// What must be known with the comparison of two months: that not all of their days are in it, that energy is missing.
fn compared(names: &[String; 2], days: [i64; 2], months: [Month; 2], unknown: [i64; 2]) -> Vec<String> {
    let mut notes = Vec::new();
    let all = months.map(|month| month.days().count() as i64);
    if days[0] != days[1] {
        notes.push(format!("Compared are {} days of {} and {} of {}.", days[0], names[0], days[1], names[1]));
    } else if days != all {
        notes.push(match days[0] {
            1 => "Only one day is known of both months and compared.".to_owned(),
            days => format!("Only {days} days are known of both months and compared."),
        });
    }
    for (name, unknown) in names.iter().zip(unknown).filter(|(_, unknown)| *unknown > 0) {
        notes.push(format!("The energy of {} meter hours is missing in {name}.", told_hours(unknown)));
    }
    notes
}
