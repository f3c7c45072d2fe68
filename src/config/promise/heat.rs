//! What a plant states about the heat of its lamps.

use super::{optional, real};
use crate::config::legal;
use crate::config::section::Section;
use crate::config::value::Value;
use crate::verify::{HeatStated, MakeUpAir, Seasons};

const HEAT: [&str; 7] = [
    "heating_months",
    "cooling_months",
    "old_ducted_out",
    "new_ducted_out",
    "heating_efficiency",
    "cooling_cop",
    "make_up_air",
];

/// The assumptions.
pub fn read(value: &Value<'_>) -> Option<HeatStated> {
    let section = value.section_about("heat", &HEAT)?;
    let (heating, cooling) = (months(&section, "heating_months"), months(&section, "cooling_months"));
    if let (Some(heating), Some(cooling)) = (&heating, &cooling)
        && let Some(both) = heating.iter().find(|month| cooling.contains(month))
    {
        section
            .say("cooling_months", &format!("month {both} cannot be heated and cooled: keep it in one of the lists"));
    }
    let seasons = |key: &str| section.need(key).and_then(|v| seasons(&v));
    let (old, new) = (seasons("old_ducted_out"), seasons("new_ducted_out"));
    let efficiency = real(section.need("heating_efficiency"), legal::HEATING_EFFICIENCY);
    let cop = optional(&section, "cooling_cop", legal::COOLING_COP);
    let air = section.get("make_up_air").map_or(Some(None), |v| air(&v).map(Some));
    Some(HeatStated {
        heating_months: heating?,
        cooling_months: cooling?,
        old_ducted_out: old?,
        new_ducted_out: new?,
        heating_efficiency: efficiency?,
        cooling_cop: cop?,
        make_up_air: air?,
    })
}

fn months(section: &Section<'_>, key: &str) -> Option<Vec<u32>> {
    let month = |value: &Value<'_>| value.whole(legal::MONTH).map(|month| month as u32);
    let read: Vec<Option<u32>> = section.get(key).map_or(Vec::new(), |v| v.list()).iter().map(month).collect();
    read.into_iter().collect()
}

fn seasons(value: &Value<'_>) -> Option<Seasons> {
    let section = value.section(&["heating", "cooling"])?;
    let [heating, cooling] = ["heating", "cooling"].map(|key| real(section.need(key), legal::SHARE));
    Some(Seasons { heating: heating?, cooling: cooling? })
}

fn air(value: &Value<'_>) -> Option<MakeUpAir> {
    let section = value.section(&["before_m3_h", "after_m3_h", "hall_c"])?;
    let [before, after] = ["before_m3_h", "after_m3_h"].map(|key| real(section.need(key), legal::AIR));
    let hall_c = real(section.need("hall_c"), legal::HALL);
    Some(MakeUpAir { before_m3_h: before?, after_m3_h: after?, hall_c: hall_c? })
}
