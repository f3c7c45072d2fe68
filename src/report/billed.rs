//! The supplier's bill of a month as the tariffs give it from the fiscal meter, to whom it falls, and what was really billed.

use super::input::Facts;
use crate::cost::{Comparison, Group, Invoice, Supply, Tariff, Unbilled, Used, check, invoice, shares};
use crate::names::PressId;
use crate::plant::Plant;
use crate::readings::SupplierBill;
use crate::time::Month;
use crate::units::Money;
use chrono::NaiveDate;

/// The bill of a month.
#[derive(Clone, Debug, PartialEq)]
pub struct Billed {
    /// Line by line.
    pub invoice: Invoice,
    /// Who has a share of it: presses, in the order of the plant.
    pub presses: Vec<PressId>,
    /// Of each line what falls to each press and, last, to none; `None` of a line that is not known. They add up to the line.
    pub costs: Vec<Option<Vec<Money>>>,
    /// Bills of the supplier on file that touch the month, held against meter and tariffs.
    pub checked: Vec<Checked>,
}

/// A bill of the supplier beside meter and tariffs.
#[derive(Clone, Debug, PartialEq)]
pub struct Checked {
    /// Its number.
    pub bill: String,
    /// Its first and last day.
    pub days: (NaiveDate, NaiveDate),
    /// Figure by figure.
    pub figures: Vec<Comparison>,
}

impl Billed {
    /// Bills a month, and checks the bills on file that touch it. The supply reaches back as far as the tariffs look, and beyond the
    /// bills as far as a check does.
    ///
    /// # Errors
    /// Where not every day has exactly one tariff, in the plant's currency.
    pub fn of(
        supply: &Supply,
        tariffs: &[Tariff],
        month: Month,
        facts: &Facts,
        bills: &[SupplierBill],
    ) -> Result<Self, Unbilled> {
        let plant = supply.plant();
        let days = (month.first(), month.last());
        let invoice = invoice(supply, tariffs, days)?;
        let presses: Vec<PressId> = plant.presses.iter().map(|press| press.id.clone()).collect();
        let costs = shares(&invoice, plant, tariffs, &used(plant, facts), presses.len());
        let touches = |bill: &&SupplierBill| bill.from <= days.1 && bill.to >= days.0;
        let checked = bills.iter().filter(touches).map(|bill| Checked {
            bill: bill.id.clone(),
            days: (bill.from, bill.to),
            figures: check(bill, bills, supply, tariffs),
        });
        Ok(Self { checked: checked.collect(), invoice, presses, costs })
    }

    /// What falls to a press, or to none, of the lines of a group; of all where none is named.
    pub fn share(&self, press: Option<&PressId>, group: Option<Group>) -> Money {
        let place = press.and_then(|press| self.presses.iter().position(|other| other == press));
        let place = place.unwrap_or(self.presses.len());
        let lines = self.invoice.lines.iter().zip(&self.costs);
        let of_group = lines.filter(|(line, _)| group.is_none_or(|group| line.element.group() == group));
        of_group.filter_map(|(_, costs)| costs.as_ref()?.get(place).copied()).sum()
    }
}

/// Who used which energy, by place among the presses.
fn used(plant: &Plant, facts: &Facts) -> Vec<Used> {
    let slices = facts.days.iter().flat_map(|day| &day.value.slices);
    let of = |slice: &crate::attribute::Slice| {
        let press = slice.owner.press.as_ref();
        let who = press.and_then(|press| plant.presses.iter().position(|other| other.id == *press));
        Some(Used { period: slice.usage.period, energy: slice.usage.energy?, who })
    };
    slices.filter_map(of).collect()
}
