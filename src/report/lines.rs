//! The month's slices, each with its cost and its carbon: what every figure of the report is a sum of.

use super::accounts::{Account, post};
use super::input::{Facts, MonthInput};
use crate::attribute::{DayLedger, Slice};
use crate::carbon::{self, Footprint};
use crate::cost::{self, Bill};
use crate::found::{Found, Issue};
use crate::time::{Month, Period};
use crate::units::{Co2e, Energy, Money};
use chrono::{Datelike, NaiveDate};

/// A slice with what it costs and what carbon it has.
#[derive(Clone, Copy, Debug)]
pub struct Line<'a> {
    /// The slice.
    pub slice: &'a Slice,
    /// Its local day.
    pub day: NaiveDate,
    /// The place of its account.
    pub account: usize,
    /// The part of its energy that has a price.
    pub priced: Energy,
    /// What that costs.
    pub cost: Money,
    /// The part of its energy that has a factor.
    pub factored: Energy,
    /// The carbon of that.
    pub co2e: Co2e,
}

impl Line<'_> {
    /// Its energy, or nothing where that is not known.
    pub fn energy(&self) -> Energy {
        self.slice.usage.energy.unwrap_or(Energy::ZERO)
    }
}

/// A month with its bill and its footprint.
#[derive(Debug)]
pub struct Ledger<'a> {
    /// Every slice, by day, meter and time.
    pub lines: Vec<Line<'a>>,
    /// What the lines add up to that agree in everything but time.
    pub accounts: Vec<Account<'a>>,
    /// What the energy costs.
    pub bill: Bill,
    /// Its carbon.
    pub footprint: Footprint,
    /// Remarks on the data, on prices and on factors.
    pub issues: Vec<Issue>,
    /// From the first to the last day with readings; empty where there is none.
    pub days: Vec<NaiveDate>,
    /// The whole local month.
    pub period: Period,
}

impl<'a> Ledger<'a> {
    /// Prices a month. With `only`, days of the month that are not among those are left out, so that a part of a
    /// month is compared with the same part.
    pub fn new(input: &MonthInput<'a>, month: Month, facts: &Facts<'a>, only: Option<&[NaiveDate]>) -> Self {
        let known = |day: &Found<DayLedger>| day.value.slices.iter().any(|s| s.usage.energy.is_some());
        let first = facts.days.iter().position(known).unwrap_or(facts.days.len());
        let last = facts.days.iter().rposition(known).map_or(first, |last| last + 1);
        let wanted = |day: NaiveDate| only.is_none_or(|days| days.iter().any(|d| d.day() == day.day()));
        let found = || facts.days[first..last].iter().filter(|day| wanted(day.value.date));
        let days: Vec<NaiveDate> = found().map(|day| day.value.date).collect();
        let slices: Vec<&Slice> = found().flat_map(|day| &day.value.slices).collect();
        let bill = cost::price(input.plant, input.tariffs, &days, &slices);
        let footprint = carbon::of(input.plant, input.factors, &slices);

        let dates = found().flat_map(|day| day.value.slices.iter().map(|_| day.value.date));
        let mut lines: Vec<Line> = slices.iter().zip(dates).map(|(slice, day)| bare(slice, day)).collect();
        for share in bill.value.bands.iter().flat_map(|band| &band.shares) {
            lines[share.slice].priced += share.energy;
            lines[share.slice].cost += share.cost;
        }
        for share in footprint.value.sets.iter().flat_map(|set| &set.shares) {
            lines[share.slice].factored += share.energy;
            lines[share.slice].co2e += share.co2e;
        }
        let accounts = post(&mut lines);
        let period = input.plant.zone.month(month);
        let touches = |issue: &&Issue| issue.period.start < period.end && period.start <= issue.period.end;
        let within = |issue: &Issue| {
            let (start, end) = (issue.period.start.max(period.start), issue.period.end.min(period.end));
            Issue { period: Period::new(start, end), ..issue.clone() }
        };
        let general = input.issues.iter().filter(touches).map(within);
        let issues =
            general.chain(found().flat_map(|day| day.issues.clone())).chain(bill.issues).chain(footprint.issues);
        let (issues, bill, footprint) = (issues.collect(), bill.value, footprint.value);
        Self { lines, accounts, bill, footprint, issues, days, period }
    }

    /// Whether any of its carbon is CO2 alone; such a figure is labelled, and compared with no CO2e.
    pub fn co2_only(&self) -> bool {
        self.footprint.sets.iter().any(|line| line.set.co2_only)
    }

    /// The unit of its carbon with a prefix, such as `t`.
    pub fn carbon_unit(&self, prefix: &str) -> String {
        format!("{prefix}{}", if self.co2_only() { "CO2" } else { "CO2e" })
    }
}

const fn bare(slice: &Slice, day: NaiveDate) -> Line<'_> {
    let (priced, cost, factored, co2e) = (Energy::ZERO, Money::ZERO, Energy::ZERO, Co2e::ZERO);
    Line { slice, day, account: 0, priced, cost, factored, co2e }
}
