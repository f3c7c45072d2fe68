//! The month's slices, each with its cost and its carbon: what every figure of the report is a sum of.

use super::accounts::{Account, post};
use super::input::{Basis, known};
use crate::attribute::{DaySums, Slice};
use crate::carbon::{self, Footprint, Market};
use crate::cost::{self, Bill};
use crate::found::Issue;
use crate::time::Period;
use crate::units::{Co2e, Energy, Money};
use chrono::NaiveDate;

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

/// Days with their bill and their footprint.
#[derive(Debug)]
pub struct Ledger<'a> {
    /// Every slice, by day, meter and time.
    pub lines: Vec<Line<'a>>,
    /// What the lines add up to that agree in everything but time.
    pub accounts: Vec<Account<'a>>,
    /// What the energy costs.
    pub bill: Bill,
    /// Its carbon by location.
    pub footprint: Footprint,
    /// Its carbon by the market.
    pub market: Market,
    /// Remarks on the data, on prices and on factors.
    pub issues: Vec<Issue>,
    /// From the first to the last day with readings; empty where there is none.
    pub days: Vec<NaiveDate>,
    /// What each of these days adds up to.
    pub sums: &'a [DaySums],
    /// The whole of the local days asked for.
    pub period: Period,
}

impl<'a> Ledger<'a> {
    /// Prices days.
    pub fn new(input: &Basis<'a>) -> Self {
        let sums = known(input.facts.sums);
        let days: Vec<NaiveDate> = sums.iter().map(|day| day.date).collect();
        let found = || input.facts.days.iter().filter(|day| days.contains(&day.value.date));
        let mut lines: Vec<Line> = Vec::with_capacity(found().map(|day| day.value.slices.len()).sum());
        found().for_each(|day| lines.extend(day.value.slices.iter().map(|slice| bare(slice, day.value.date))));
        let used = || lines.iter().map(|line| (line.slice.usage.period, line.slice.usage.energy));
        let bill = cost::price(input.plant, input.tariffs, &days, used());
        let footprint = carbon::of(input.plant, input.factors, used());
        let market = match (days.first(), days.last()) {
            (Some(first), Some(last)) => {
                carbon::market(input.plant, input.factors, input.instruments, (*first, *last), used())
            }
            _ => Market::default(),
        };
        for share in bill.value.bands.iter().flat_map(|band| &band.shares) {
            lines[share.place].priced += share.energy;
            lines[share.place].cost += share.cost;
        }
        for share in footprint.value.sets.iter().flat_map(|set| &set.shares) {
            lines[share.place].factored += share.energy;
            lines[share.place].co2e += share.co2e;
        }
        let accounts = post(&mut lines);
        let period = input.period;
        let touches = |issue: &&Issue| issue.period.start < period.end && period.start <= issue.period.end;
        let within = |issue: &Issue| {
            let (start, end) = (issue.period.start.max(period.start), issue.period.end.min(period.end));
            Issue { period: Period::new(start, end), ..issue.clone() }
        };
        let general = input.issues.iter().filter(touches).map(within);
        let issues =
            general.chain(found().flat_map(|day| day.issues.clone())).chain(bill.issues).chain(footprint.issues);
        let (issues, bill, footprint) = (issues.collect(), bill.value, footprint.value);
        Self { lines, accounts, bill, footprint, market, issues, days, sums, period }
    }

    /// The unit of its carbon with a prefix, such as `t`.
    pub fn carbon_unit(&self, prefix: &str) -> String {
        carbon_unit(prefix, self.footprint.co2_only())
    }
}

/// The unit of carbon with a prefix, such as `t`.
pub fn carbon_unit(prefix: &str, co2_only: bool) -> String {
    format!("{prefix}{}", if co2_only { "CO2" } else { "CO2e" })
}

const fn bare(slice: &Slice, day: NaiveDate) -> Line<'_> {
    let (priced, cost, factored, co2e) = (Energy::ZERO, Money::ZERO, Energy::ZERO, Co2e::ZERO);
    Line { slice, day, account: 0, priced, cost, factored, co2e }
}
