//! The contract's own verdict, which stands beside the statistical one: what counts, at which price, whose share.

use super::factors::YEAR;
use super::promise::{Basis, Contract};
use super::words::{number, percent};
use chrono::{Months, NaiveDate};

/// What the contract makes of a saving.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct UnderContract {
    /// What the guarantee is measured by.
    pub basis: Basis,
    /// The guaranteed saving pro rata for the time covered, kWh.
    pub guaranteed: f64,
    /// What counts, kWh.
    pub counted: f64,
    /// The price that it reckons with.
    pub price: f64,
    /// What goes to the supplier; `None` where the contract shares nothing.
    pub due: Option<Due>,
}

/// The supplier's part.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Due {
    /// Share of the saving.
    pub share: f64,
    /// The amount.
    pub amount: f64,
    /// Whether the cap limits it.
    pub capped: bool,
}

/// The last fixed date at or before a day, if one has come, and the next: as the contract says, then every three months,
/// counted from its last date or from the acceptance.
pub fn looks(contract: Option<&Contract>, accepted: NaiveDate, day: NaiveDate) -> (Option<NaiveDate>, NaiveDate) {
    let fixed = contract.map_or(&[][..], |contract| &contract.dates);
    let from = fixed.last().copied().unwrap_or(accepted);
    let quarterly = (1..).map_while(|k: u32| from.checked_add_months(Months::new(3 * k)));
    let mut last = None;
    for date in fixed.iter().copied().chain(quarterly) {
        if date > day {
            return (last, date);
        }
        last = Some(date);
    }
    (last, NaiveDate::MAX)
}

impl Contract {
    /// What counts of a saving under its basis: all of it, or what the same equipment would have saved in the deemed
    /// hours, in proportion to the curing hours of the time covered. `None` where there were none.
    pub fn counts(&self, saved: f64, curing_h: f64, hours: f64) -> Option<f64> {
        match self.deemed_hours.filter(|_| self.basis == Basis::Deemed) {
            None => Some(saved),
            Some(deemed) => (curing_h > 0.0).then(|| saved * deemed * hours / YEAR / curing_h),
        }
    }

    /// Its verdict on what counts, for that many hours at the price that was paid for a kWh.
    pub fn verdict(&self, counted: f64, hours: f64, price: f64) -> UnderContract {
        let part = hours / YEAR;
        let price = self.floor_price.map_or(price, |floor| price.max(floor));
        let due = self.share.map(|share| {
            let amount = (counted * price * share).max(0.0);
            let cap = self.cap.map_or(f64::INFINITY, |cap| cap * part);
            Due { share, amount: amount.min(cap), capped: amount > cap }
        });
        UnderContract { basis: self.basis, guaranteed: self.guaranteed_kwh * part, counted, price, due }
    }
}

impl UnderContract {
    /// Whether the guarantee is kept.
    pub fn is_kept(&self) -> bool {
        self.counted >= self.guaranteed
    }

    /// The verdict in words.
    pub fn words(&self, currency: &str) -> String {
        let basis = match self.basis {
            Basis::Actual => "at the operation that took place",
            Basis::Deemed => "in the deemed hours",
        };
        let kept = if self.is_kept() { "kept" } else { "not kept" };
        let due = self.due.map_or(String::new(), |due| {
            let capped = if due.capped { ", the cap" } else { "" };
            format!(
                " {} of it at {} a kWh go to the supplier: {} {currency}{capped}.",
                percent(due.share),
                number(self.price, 3),
                number(due.amount, 2)
            )
        });
        format!(
            "Under the contract: {kept}, {} kWh count {basis} against {} guaranteed for the time covered.{due}",
            number(self.counted, 0),
            number(self.guaranteed, 0)
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> NaiveDate {
        text.parse().expect("a day")
    }

    fn contract(basis: Basis) -> Contract {
        Contract {
            basis,
            guaranteed_kwh: 40_000.0,
            deemed_hours: (basis == Basis::Deemed).then_some(2_000.0),
            floor_price: Some(0.18),
            share: Some(0.3),
            cap: Some(2_000.0),
            signs: None,
            dates: vec![day("2026-09-01"), day("2027-03-01")],
        }
    }

    #[test]
    fn dates_are_those_of_the_contract_and_then_quarterly() {
        let contract = contract(Basis::Actual);
        let on = |text: &str| looks(Some(&contract), day("2026-02-01"), day(text));
        assert_eq!(on("2026-08-31"), (None, day("2026-09-01")));
        assert_eq!(on("2026-09-01"), (Some(day("2026-09-01")), day("2027-03-01")));
        assert_eq!(on("2027-06-15"), (Some(day("2027-06-01")), day("2027-09-01")));
        assert_eq!(looks(None, day("2026-02-01"), day("2026-06-30")), (Some(day("2026-05-01")), day("2026-08-01")));
    }

    /// A quarter of the year: 10,000 kWh guaranteed; 12,000 x 0.18 x 0.3 = 648, capped at 500.
    #[test]
    fn a_guarantee_counts_what_was_saved_at_no_less_than_the_floor_price() {
        let verdict = contract(Basis::Actual).verdict(12_000.0, YEAR / 4.0, 0.15);
        assert_eq!(
            verdict.words("GBP"),
            "Under the contract: kept, 12,000 kWh count at the operation that took place against 10,000 guaranteed for \
             the time covered. 30 % of it at 0.180 a kWh go to the supplier: 500.00 GBP, the cap."
        );
    }

    /// 8,000 kWh in 400 curing hours; a quarter of 2,000 deemed hours is 500: 10,000 kWh.
    #[test]
    fn deemed_hours_count_what_would_have_been_saved_in_them() {
        let contract = contract(Basis::Deemed);
        let counted = contract.counts(8_000.0, 400.0, YEAR / 4.0).expect("it ran");
        assert!((counted - 10_000.0).abs() < 1e-9);
        assert_eq!(contract.counts(8_000.0, 0.0, YEAR / 4.0), None);
        let verdict = contract.verdict(9_000.0, YEAR / 4.0, 0.2);
        assert_eq!(
            verdict.words("GBP"),
            "Under the contract: not kept, 9,000 kWh count in the deemed hours against 10,000 guaranteed for the time \
             covered. 30 % of it at 0.200 a kWh go to the supplier: 500.00 GBP, the cap."
        );
    }
}
