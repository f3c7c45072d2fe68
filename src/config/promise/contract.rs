//! The guarantee in a promise.

use super::{optional, real};
use crate::config::legal;
use crate::config::value::Value;
use crate::verify::{Basis, Contract};
use chrono::NaiveDate;

const CONTRACT: [&str; 8] =
    ["basis", "guaranteed_kwh", "deemed_hours", "floor_price", "share", "cap", "signs", "dates"];

/// The contract.
pub fn read(value: &Value<'_>) -> Option<Contract> {
    let section = value.section_about("contract", &CONTRACT)?;
    let basis = section.need("basis").and_then(|v| v.one_of(&[("actual", Basis::Actual), ("deemed", Basis::Deemed)]));
    let guaranteed_kwh = real(section.need("guaranteed_kwh"), legal::AMOUNT);
    let deemed_hours = optional(&section, "deemed_hours", legal::HOURS);
    match (basis, &deemed_hours) {
        (Some(Basis::Deemed), Some(None)) => section.say_help(
            "basis",
            "deemed_hours is missing",
            "with basis = \"deemed\" write the curing hours a year that the contract deems worked",
        ),
        (Some(Basis::Actual), Some(Some(_))) => {
            section.say("deemed_hours", "deemed_hours has no meaning with basis = \"actual\"")
        }
        _ => {}
    }
    let floor_price = optional(&section, "floor_price", legal::PRICE);
    let share = optional(&section, "share", legal::SHARE);
    let cap = optional(&section, "cap", legal::AMOUNT);
    let dates: Vec<Option<NaiveDate>> =
        section.get("dates").map_or(Vec::new(), |v| v.list()).iter().map(|v| v.day()).collect();
    let mut dates: Vec<NaiveDate> = dates.into_iter().collect::<Option<_>>()?;
    dates.sort();
    dates.dedup();
    Some(Contract {
        basis: basis?,
        guaranteed_kwh: guaranteed_kwh?,
        deemed_hours: deemed_hours?,
        floor_price: floor_price?,
        share: share?,
        cap: cap?,
        signs: section.label("signs"),
        dates,
    })
}
