//! Remarks on the totals of a promise.

use super::{a_year, agrees, group};
use crate::names::PressId;
use crate::verify::promise::{Equipment, Group, Promise};
use crate::verify::words::number;

/// What is remarkable; each remark begins after "the promise".
pub fn check(promise: &Promise) -> Vec<String> {
    let totals = [energy(promise), money(promise), carbon(promise), power(promise), payback(promise), deemed(promise)];
    totals.into_iter().flatten().collect()
}

/// What the promise saves: what its groups state, or else give, and its shared loads; kWh a year.
fn of_parts(promise: &Promise) -> f64 {
    let groups: f64 = promise.groups.iter().map(|each| each.kwh.unwrap_or_else(|| group::own(each))).sum();
    groups + promise.shared.iter().map(|change| change.before - change.after).sum::<f64>()
}

/// The saving that the other totals rest on: as stated, else as its parts give.
fn kwh(promise: &Promise) -> f64 {
    promise.stated.kwh.unwrap_or_else(|| of_parts(promise))
}

fn energy(promise: &Promise) -> Option<String> {
    let (stated, own) = (promise.stated.kwh?, of_parts(promise));
    (!agrees(stated, own)).then(|| {
        format!(
            "states {} in total; its groups and shared loads add up to {}: ask the supplier what else is in the total",
            a_year(stated),
            a_year(own)
        )
    })
}

fn money(promise: &Promise) -> Option<String> {
    let (stated, own) = (promise.stated.money?, kwh(promise) * promise.price);
    (!agrees(stated, own)).then(|| {
        format!(
            "states {} a year in money; {} kWh at {} give {}: ask the supplier which price or which other lines it holds",
            number(stated, 0),
            number(kwh(promise), 0),
            number(promise.price, 3),
            number(own, 0)
        )
    })
}

fn carbon(promise: &Promise) -> Option<String> {
    let (stated, saved) = (promise.stated.co2e_kg?, kwh(promise));
    match promise.grid_kg {
        None => Some(format!(
            "states {} kg of CO2e a year without a grid factor; over its {} kWh that is {} kg a kWh: ask the supplier \
             for factor, source and year",
            number(stated, 0),
            number(saved, 0),
            number(stated / saved, 3)
        )),
        Some(factor) if agrees(stated, saved * factor) => None,
        Some(factor) => Some(format!(
            "states {} kg of CO2e a year; {} kWh at {} kg give {}: ask the supplier for factor, source and year",
            number(stated, 0),
            number(saved, 0),
            number(factor, 3),
            number(saved * factor, 0)
        )),
    }
}

/// Active power over power factor, of all stations at full level: what a supply has to be able to give. Apparent powers
/// of unlike angles add up to a little less; proposals add them as numbers, and so does the check.
fn power(promise: &Promise) -> Option<String> {
    let stated = promise.stated.kva?;
    match freed_kva(promise, None) {
        None => Some(format!(
            "states {} kVA freed, but no power factor of every lamp, so that it cannot be checked: ask the supplier for \
             the power factors of old and new supplies at full level",
            number(stated, 0)
        )),
        Some(own) if agrees(stated, own) => None,
        Some(own) => Some(format!(
            "states {} kVA freed; its lamps at full level and their power factors give {}: ask the supplier which \
             stations and which level are meant",
            number(stated, 0),
            number(own, 0)
        )),
    }
}

/// kVA that the lamps of a promise free at full level by its power factors, of a press or of all; `None` where a power
/// factor is not stated, or no lamp of the press is promised.
pub fn freed_kva(promise: &Promise, press: Option<&PressId>) -> Option<f64> {
    let groups = promise.groups.iter().filter(|group| press.is_none_or(|press| group.press == *press));
    let each = groups.map(freed).collect::<Option<Vec<f64>>>()?;
    (!each.is_empty()).then(|| each.iter().sum())
}

/// kVA that a group frees.
fn freed(group: &Group) -> Option<f64> {
    let kva = |lamp: Equipment| {
        Some(lamp.full_watts(group.length_cm) / lamp.power_factor? / 1e3 * group.stations.len() as f64)
    };
    Some(kva(group.old)? - kva(group.new)?)
}

fn payback(promise: &Promise) -> Option<String> {
    let (stated, investment) = (promise.stated.payback_years?, promise.investment?);
    let electricity = promise.stated.money.unwrap_or_else(|| kwh(promise) * promise.price);
    let declared: f64 = promise.declared.iter().map(|(_, money)| money).sum();
    let (alone, with) = (investment / electricity, investment / (electricity + declared));
    if agrees(stated, alone) || agrees(stated, with) {
        return None;
    }
    let years = |years: f64| if years > 0.0 { format!("{} years", number(years, 1)) } else { "never".into() };
    let lines = if promise.declared.is_empty() {
        String::new()
    } else {
        format!(", and {} with the declared lines", years(with))
    };
    Some(format!(
        "states a payback of {}; {} over {} a year give {} on electricity alone{lines}: ask the supplier what else pays \
         it back",
        years(stated),
        number(investment, 0),
        number(electricity, 0),
        years(alone)
    ))
}

/// Hours that a contract deems worked and nobody works keep a guarantee by themselves.
fn deemed(promise: &Promise) -> Option<String> {
    let deemed = promise.contract.as_ref()?.deemed_hours?;
    let longest = promise.groups.iter().map(|group| group.hours.curing).fold(0.0, f64::max);
    (deemed > longest && !agrees(deemed, longest)).then(|| {
        format!(
            "deems {} curing hours worked in its contract; its own groups cure in at most {}: ask the supplier to \
             guarantee the saving at the hours that are worked",
            number(deemed, 0),
            number(longest, 0)
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::verify::promise::example::{group, lamp, promise};
    use crate::verify::{Basis, Contract};

    /// 8 x 40 cm x 87 W/cm x 1,800 h = 50,112 kWh a year; at 0.2 that is 10,022.
    fn sound() -> Promise {
        promise(vec![group(8, lamp(140.0), lamp(53.0))])
    }

    fn only(spoil: impl FnOnce(&mut Promise)) -> String {
        let mut promise = sound();
        spoil(&mut promise);
        let remarks = check(&promise);
        assert_eq!(remarks.len(), 1, "{remarks:#?}");
        remarks.into_iter().next().expect("one")
    }

    #[test]
    fn totals_that_multiply_out_are_left_alone() {
        let mut promise = sound();
        (promise.stated.kwh, promise.stated.money, promise.stated.co2e_kg) =
            (Some(50_000.0), Some(10_000.0), Some(10_350.0));
        (promise.grid_kg, promise.investment, promise.stated.payback_years) =
            (Some(0.207), Some(100_000.0), Some(10.0));
        assert_eq!(check(&promise), Vec::<String>::new());
    }

    #[test]
    fn a_total_that_its_parts_do_not_make_is_told() {
        assert_eq!(
            only(|p| p.stated.kwh = Some(113_000.0)),
            "states 113,000 kWh a year in total; its groups and shared loads add up to 50,112 kWh a year: ask the \
             supplier what else is in the total"
        );
    }

    #[test]
    fn money_is_energy_times_price() {
        assert_eq!(
            only(|p| p.stated.money = Some(14_000.0)),
            "states 14,000 a year in money; 50,112 kWh at 0.200 give 10,022: ask the supplier which price or which \
             other lines it holds"
        );
    }

    #[test]
    fn carbon_is_energy_times_a_factor_that_is_stated() {
        assert_eq!(
            only(|p| p.stated.co2e_kg = Some(20_000.0)),
            "states 20,000 kg of CO2e a year without a grid factor; over its 50,112 kWh that is 0.399 kg a kWh: ask \
             the supplier for factor, source and year"
        );
        assert_eq!(
            only(|p| (p.stated.co2e_kg, p.grid_kg) = (Some(20_000.0), Some(0.207))),
            "states 20,000 kg of CO2e a year; 50,112 kWh at 0.207 kg give 10,373: ask the supplier for factor, source \
             and year"
        );
    }

    /// Eight lamps of 5.6 kW at 0.9 less eight of 2.12 kW at 0.95: 49.78 - 17.85 = 31.93 kVA, 64 % of the lamps' share;
    /// about 60 % is common practice, no source.
    #[test]
    fn apparent_power_is_watts_over_power_factor() {
        assert_eq!(
            only(|p| {
                (p.groups[0].old.power_factor, p.groups[0].new.power_factor) = (Some(0.9), Some(0.95));
                p.stated.kva = Some(50.0);
            }),
            "states 50 kVA freed; its lamps at full level and their power factors give 32: ask the supplier which \
             stations and which level are meant"
        );
        assert_eq!(
            only(|p| p.stated.kva = Some(30.0)),
            "states 30 kVA freed, but no power factor of every lamp, so that it cannot be checked: ask the supplier \
             for the power factors of old and new supplies at full level"
        );
    }

    #[test]
    fn deemed_hours_beyond_those_of_the_groups_are_asked_about() {
        let contract = |deemed| Contract {
            basis: Basis::Deemed,
            guaranteed_kwh: 45_000.0,
            deemed_hours: Some(deemed),
            floor_price: None,
            share: None,
            cap: None,
            signs: None,
            dates: Vec::new(),
        };
        assert_eq!(
            only(|p| p.contract = Some(contract(4_000.0))),
            "deems 4,000 curing hours worked in its contract; its own groups cure in at most 1,800: ask the supplier to \
             guarantee the saving at the hours that are worked"
        );
        assert_eq!(check(&Promise { contract: Some(contract(1_800.0)), ..sound() }), Vec::<String>::new());
    }

    #[test]
    fn payback_is_investment_over_money_with_or_without_the_declared_lines() {
        let spoiled = |p: &mut Promise| (p.investment, p.stated.payback_years) = (Some(100_000.0), Some(5.0));
        assert_eq!(
            only(spoiled),
            "states a payback of 5.0 years; 100,000 over 10,022 a year give 10.0 years on electricity alone: ask the \
             supplier what else pays it back"
        );
        let mut lines = sound();
        spoiled(&mut lines);
        lines.declared = vec![("arc lamps".into(), 9_900.0)];
        assert_eq!(check(&lines), Vec::<String>::new());
    }
}
