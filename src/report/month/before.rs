//! The month beside the same month a year before.

use super::grid::{Cell, Grid, Table};
use crate::attribute::DaySums;
use crate::carbon;
use crate::cost;
use crate::report::input::MonthInput;
use crate::report::lines::carbon_unit;
use crate::report::number::{UNKNOWN, change, fixed, grouped, per, thousands};
use crate::time::Month;
use crate::units::{Co2e, Energy, Money, counted, divide_rounded};
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
    /// The comparison; `None` where no day is known whole of both.
    pub table: Option<Table>,
}

/// What some days of a month add up to.
struct Side {
    days: usize,
    energy: Energy,
    /// `None` where a part of the energy has no price: what the rest costs is compared with nothing.
    cost: Option<Money>,
    /// `None` where a part of the energy has no factor.
    co2e: Option<Co2e>,
    co2_only: bool,
    /// `None` where it is not known of a day whether a press produced.
    worked: Option<usize>,
    /// Millimetres; `None` where no press has a counter, or that of one is not known on a day.
    web: Option<i64>,
}

/// Compares the days that are known whole of both months; `None` where nothing is known of the year before.
pub fn year_before(input: &MonthInput) -> Option<YearBefore> {
    let months = [input.facts.sums, input.year_before?];
    let whole = |days: &[DaySums]| days.iter().filter(|day| day.whole).map(|day| day.date.day()).collect();
    let [now, before]: [BTreeSet<u32>; 2] = months.map(whole);
    let both: BTreeSet<u32> = now.intersection(&before).copied().collect();
    let sides =
        months.map(|days| Side::of(input, &days.iter().filter(|d| both.contains(&d.date.day())).collect::<Vec<_>>()));
    let in_part = months.map(|days| days.iter().filter(|day| day.is_known() && !day.whole).count());
    input.year_before?.iter().any(DaySums::is_known).then(|| compare(input, sides, in_part))
}

impl Side {
    fn of(input: &MonthInput, days: &[&DaySums]) -> Self {
        let dates: Vec<NaiveDate> = days.iter().map(|day| day.date).collect();
        let used = || days.iter().flat_map(|day| day.used(input.plant.zone));
        let bill = cost::price(input.plant, input.tariffs, &dates, used()).value;
        let footprint = carbon::of(input.plant, input.factors, used()).value;
        let priced = !bill.bands.is_empty() && bill.unpriced == Energy::ZERO;
        let alike =
            !days.is_empty() && days.iter().all(|day| !day.web.is_empty() && day.web.keys().eq(days[0].web.keys()));
        Self {
            days: days.len(),
            energy: days.iter().map(|day| day.energy()).sum(),
            cost: priced.then(|| bill.total()),
            co2e: (footprint.without == Energy::ZERO).then(|| footprint.co2e()),
            co2_only: footprint.co2_only(),
            worked: days.iter().map(|day| day.worked.map(usize::from)).sum(),
            web: alike.then(|| days.iter().flat_map(|day| day.web.values()).sum()),
        }
    }

    /// Energy for 1,000 m of web.
    fn per_km(&self) -> Option<Energy> {
        per(self.energy.mwh(), 1_000, self.web?).map(|n| Energy::from_mwh(n / 1_000))
    }
}

fn compare(input: &MonthInput, sides: [Side; 2], in_part: [usize; 2]) -> YearBefore {
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
    row("Days with production", "", &|s| s.worked.map(|days| days as i64), &count);
    row("Electricity for 1,000 m of web", "kWh", &|s| s.per_km().map(Energy::mwh), &|n| fixed(Energy::from_mwh(n), 1));
    let notes = compared(&names, sides[0].days, months, in_part);
    YearBefore { month: names[1].clone(), notes, table: (sides[0].days > 0).then(|| grid.finish()) }
}

/// What must be known with the comparison of two months: that not all of their days are in it, and why.
fn compared(names: &[String; 2], days: usize, months: [Month; 2], in_part: [usize; 2]) -> Vec<String> {
    let mut notes = Vec::new();
    if months.iter().any(|month| month.days().count() != days) {
        notes.push(match days {
            0 => "No day is known whole of both months; nothing is compared.".to_owned(),
            1 => "Only one day is known whole of both months and compared.".to_owned(),
            days => format!("Only {days} days are known whole of both months and compared."),
        });
    }
    for (name, days) in names.iter().zip(in_part).filter(|(_, days)| *days > 0) {
        notes.push(format!("{} of {name}, known in part only, left out.", counted(days, "day")));
    }
    notes
}
