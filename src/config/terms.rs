//! What a tariff bills beside energy and days.

use super::legal;
use super::section::Section;
use super::tariffs::windows;
use super::value::Value;
use crate::cost::{
    AdjustBy, Adjustment, Capacity, Demand, Levied, Levy, Measure, Over, Per, Ratchet, Rounding, Tax, Terms, Wattless,
};
use crate::time::{HOUR, MINUTE};
use crate::units::Decimal;

const DEMAND: [&str; 13] = [
    "name",
    "price",
    "per",
    "unit",
    "interval",
    "windows",
    "over",
    "rebilled",
    "ratchet",
    "minimum",
    "whole",
    "power_factor",
    "loss_multiplier",
];
const CAPACITY: [&str; 6] = ["agreed", "unit", "interval", "price", "excess_price", "per"];
const REACTIVE: [&str; 6] = ["name", "price", "free", "interval", "counts", "windows"];
const LEVY: [&str; 5] = ["name", "price", "share", "windows", "with_losses"];

/// The keys of a tariff that are read here.
pub const KEYS: [&str; 9] =
    ["standing_per_month", "loss_multiplier", "demand", "capacity", "reactive", "levy", "tax", "rounding", "decimals"];

/// The terms of a tariff; `None` where one of them is wrong, which is noted.
pub fn read(tariff: &Section<'_>) -> Option<Terms> {
    let standing = optional(tariff, "standing_per_month", |v| v.number(legal::AMOUNT));
    let losses = optional(tariff, "loss_multiplier", |v| v.number(legal::LOSSES));
    let list = |key: &str, keys: &[&str]| tariff.each(key, key, "name", keys);
    let demands: Vec<_> = list("demand", &DEMAND).iter().map(|section| demand(tariff, section)).collect();
    let section =
        |v: Value<'_>| v.section_about(&format!("{}: capacity", tariff.about()), &CAPACITY).and_then(capacity);
    let capacity = optional(tariff, "capacity", |v| section(v.clone()));
    let reactive: Vec<_> = list("reactive", &REACTIVE).iter().map(|section| wattless(tariff, section)).collect();
    let levies: Vec<_> = list("levy", &LEVY).iter().map(|section| levy(tariff, section)).collect();
    let taxes: Vec<_> = list("tax", &["name", "share"]).iter().map(tax).collect();
    let rounding = optional(tariff, "rounding", |v| v.one_of(&[("line", true), ("total", false)]));
    let decimals = tariff.get("decimals").map_or(Some(2), |v| v.whole(legal::DECIMALS));
    Some(Terms {
        standing_per_month: standing?,
        loss_multiplier: losses?,
        demands: all(demands)?,
        capacity: capacity?,
        reactive: all(reactive)?,
        levies: all(levies)?,
        taxes: all(taxes)?,
        rounding: match (rounding?, decimals?) {
            (Some(lines), decimals) => Some(Rounding { lines, decimals: decimals as u32 }),
            (None, _) => None,
        },
    })
}

fn all<T>(read: Vec<Option<T>>) -> Option<Vec<T>> {
    read.into_iter().collect()
}

/// `Some(None)` where the key is absent, `None` where its value is wrong.
fn optional<'a, T>(section: &Section<'a>, key: &str, read: impl Fn(&Value<'a>) -> Option<T>) -> Option<Option<T>> {
    match section.get(key) {
        None => Some(None),
        Some(value) => read(&value).map(Some),
    }
}

fn demand(tariff: &Section<'_>, section: &Section<'_>) -> Option<Demand> {
    let (name, price) = (name(section), section.need("price").and_then(|v| v.number(legal::PRICE)));
    let per = section.get("per").map_or(Some(Per::Month), |v| per(&v));
    let (unit, interval) = (unit(section), interval(section));
    let windows = windows(tariff, section);
    let rebilled = section.get("rebilled").map_or(Some(false), |v| v.flag());
    let over = section.get("over").map_or(Some(false), |v| v.one_of(&[("month", false), ("year", true)]));
    let ratchet = optional(section, "ratchet", ratchet);
    let minimum = optional(section, "minimum", |v| v.number(legal::CAPACITY));
    let whole = section.get("whole").map_or(Some(false), |v| v.flag());
    let adjustment = optional(section, "power_factor", adjustment);
    let losses = optional(section, "loss_multiplier", |v| v.number(legal::LOSSES));
    let (is_year, rebilled, ratchet) = (over?, rebilled?, ratchet?);
    if rebilled && !is_year {
        section.say("rebilled", "only the highest demand of a year can rise later: rebilled needs over = \"year\"");
    }
    if ratchet.is_some() && is_year {
        section.say("ratchet", "a demand of the year keeps its peak already: ratchet needs over = \"month\"");
    }
    Some(Demand {
        name: name?,
        price: price?,
        per: per?,
        unit: unit?,
        interval: interval?,
        windows: windows?,
        over: if is_year { Over::Year { rebilled } } else { Over::Month },
        ratchet,
        minimum: minimum?,
        whole: whole?,
        adjustment: adjustment?,
        loss_multiplier: losses?,
    })
}

fn name(section: &Section<'_>) -> Option<String> {
    section.need("name").and_then(|v| v.text()).map(String::from)
}

fn per(value: &Value<'_>) -> Option<Per> {
    value.one_of(&Per::ALL.map(|per| (per.word(), per)))
}

fn unit(section: &Section<'_>) -> Option<Measure> {
    let read = |v: Value<'_>| v.one_of(&Measure::ALL.map(|unit| (unit.word(), unit)));
    section.get("unit").map_or(Some(Measure::Kw), read)
}

/// The length of an interval; a quarter hour where nobody said.
fn interval(section: &Section<'_>) -> Option<i64> {
    section.get("interval").map_or(Some(15 * MINUTE), |v| length(&v))
}

fn length(value: &Value<'_>) -> Option<i64> {
    value.one_of(&[("15min", 15 * MINUTE), ("30min", 30 * MINUTE), ("60min", HOUR)])
}

fn ratchet(value: &Value<'_>) -> Option<Ratchet> {
    let section = value.section(&["share", "months"])?;
    let share = section.need("share").and_then(|v| v.number(legal::SHARE));
    let months = section.need("months").and_then(|v| v.whole(legal::MONTHS_BEFORE));
    Some(Ratchet { share: share?, months: months? as u32 })
}

fn adjustment(value: &Value<'_>) -> Option<Adjustment> {
    let section = value.section(&["below", "to", "per_point"])?;
    let below = section.need("below").and_then(|v| v.number(legal::POWER_FACTOR))?;
    let to = optional(&section, "to", |v| v.number(legal::POWER_FACTOR))?;
    let rule = match (to, optional(&section, "per_point", |v| v.number(legal::SHARE))?) {
        (Some(_), Some(_)) => {
            section.say("per_point", "demand is adjusted by `to` or by `per_point`, not by both");
            return None;
        }
        (to, None) => AdjustBy::Ratio(to.unwrap_or(below)),
        (None, Some(each)) => AdjustBy::Points(each),
    };
    Some(Adjustment { below, rule })
}

fn capacity(section: Section<'_>) -> Option<Capacity> {
    let number = |key: &str, legal| section.need(key).and_then(|v| v.number(legal));
    let (agreed, price) = (number("agreed", legal::CAPACITY), number("price", legal::AMOUNT));
    let excess = section.get("excess_price").map_or(Some(Decimal::whole(0)), |v| v.number(legal::AMOUNT));
    let per = section.get("per").map_or(Some(Per::Day), |v| per(&v));
    let (unit, interval) = (unit(&section), interval(&section));
    let (agreed, unit, interval) = (agreed?, unit?, interval?);
    Some(Capacity { agreed, unit, interval, price: price?, excess_price: excess?, per: per? })
}

fn wattless(tariff: &Section<'_>, section: &Section<'_>) -> Option<Wattless> {
    let number = |key: &str, legal| section.need(key).and_then(|v| v.number(legal));
    let (name, price, free) = (name(section), number("price", legal::PRICE), number("free", legal::FREE_REACTIVE));
    let interval = optional(section, "interval", length);
    let larger = section.get("counts").map_or(Some(false), |v| v.one_of(&[("inductive", false), ("larger", true)]));
    let windows = windows(tariff, section);
    let (name, price, free) = (name?, price?, free?);
    Some(Wattless { name, price, free, interval: interval?, larger: larger?, windows: windows? })
}

fn levy(tariff: &Section<'_>, section: &Section<'_>) -> Option<Levy> {
    let name = name(section);
    let price = optional(section, "price", |v| v.number(legal::PRICE))?;
    let share = optional(section, "share", |v| v.number(legal::SURCHARGE))?;
    let (windows, with_losses) =
        (windows(tariff, section)?, section.get("with_losses").map_or(Some(false), |v| v.flag())?);
    let on = match (price, share) {
        (Some(price), None) => Levied::Energy { price, windows, with_losses },
        (None, Some(share)) => Levied::Lines(share),
        _ => {
            section.say_help(
                "share",
                "a levy has either a price or a share",
                "price is for a kWh; share is of all that stands above it on the bill, below 0 for a discount",
            );
            return None;
        }
    };
    Some(Levy { name: name?, on })
}

fn tax(section: &Section<'_>) -> Option<Tax> {
    let share = section.need("share").and_then(|v| v.number(legal::SHARE));
    Some(Tax { name: name(section)?, share: share? })
}
