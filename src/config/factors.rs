//! Factor sets.

use super::document::Document;
use super::legal;
use super::section::Section;
use crate::carbon::{FactorSet, Gas, Status};
use crate::units::Decimal;
use toml::Spanned;
use toml::de::DeTable;

const SET: [&str; 15] = [
    "region",
    "publication",
    "version",
    "published",
    "valid_from",
    "valid_to",
    "status",
    "co2_only",
    "gwp",
    "generation",
    "gases",
    "losses",
    "grade",
    "source",
    "licence",
];

/// The sets of a file, each with its section.
pub fn read<'a>(document: &'a Document, table: &'a Spanned<DeTable<'a>>) -> Vec<(Section<'a>, FactorSet)> {
    let root = Section::new("", document.spot(0), table.get_ref(), &["set"]);
    let sections = root.each("set", "set", "publication", &SET);
    sections.into_iter().filter_map(|section| Some((section.clone(), set(&section)?))).collect()
}

fn set(section: &Section<'_>) -> Option<FactorSet> {
    let text = |key: &str| section.need(key).and_then(|v| v.text()).map(String::from);
    let status = section
        .need("status")
        .and_then(|v| v.one_of(&[("provisional", Status::Provisional), ("final", Status::Final)]));
    let grade = section.need("grade").and_then(|v| v.one_of(&[("A", "A"), ("B+", "B+"), ("B", "B")]));
    let (valid_from, valid_to) =
        (section.need("valid_from").and_then(|v| v.day()), section.need("valid_to").and_then(|v| v.day()));
    let set = FactorSet {
        region: text("region").unwrap_or_default(),
        publication: text("publication").unwrap_or_default(),
        version: text("version").unwrap_or_default(),
        published: text("published").unwrap_or_default(),
        gwp: text("gwp").unwrap_or_default(),
        source: text("source").unwrap_or_default(),
        licence: text("licence").unwrap_or_default(),
        co2_only: section.get("co2_only").is_some_and(|v| v.flag().unwrap_or_default()),
        generation: section.need("generation").and_then(|v| v.number(legal::FACTOR))?,
        gases: gases(section)?,
        losses: match section.get("losses") {
            Some(v) => Some(v.number(legal::FACTOR)?),
            None => None,
        },
        valid_from: valid_from?,
        valid_to: valid_to?,
        status: status?,
        grade: grade?.into(),
    };
    if set.valid_to < set.valid_from {
        section.say("valid_to", &format!("valid_to {} lies before valid_from {}", set.valid_to, set.valid_from));
    }
    add_up(section, &set);
    Some(set)
}

fn gases(section: &Section<'_>) -> Option<Vec<(Gas, Decimal)>> {
    let Some(table) = section.get("gases") else { return Some(Vec::new()) };
    let gases = table.section(&Gas::ALL.map(Gas::word))?;
    let each = Gas::ALL.into_iter().filter_map(|gas| Some((gas, gases.get(gas.word())?)));
    each.map(|(gas, value)| Some((gas, value.number(legal::FACTOR)?))).collect()
}

/// Gases that are published must add up to the total, each rounded to five decimals.
fn add_up(section: &Section<'_>, set: &FactorSet) {
    const ROUNDING: f64 = 0.000_02;
    let sum: f64 = set.gases.iter().map(|(_, value)| value.to_f64()).sum();
    if set.gases.len() == Gas::ALL.len() && !set.co2_only && (sum - set.generation.to_f64()).abs() > ROUNDING {
        section.say_help(
            "gases",
            &format!("the gases add up to {sum:.5}, but generation is {}", set.generation),
            "enter each gas as CO2 equivalent",
        );
    }
}

/// Notes sets of one region that claim the same days.
pub fn overlaps(sets: &[(Section<'_>, FactorSet)]) {
    for (k, (section, set)) in sets.iter().enumerate() {
        let clash = sets[..k].iter().find(|(_, other)| {
            other.region == set.region && other.valid_from <= set.valid_to && set.valid_from <= other.valid_to
        });
        if let Some((_, other)) = clash {
            section.say_help(
                "valid_from",
                &format!(
                    "its days overlap those of \"{}\" ({} to {}) for {}",
                    other.publication, other.valid_from, other.valid_to, set.region
                ),
                "a file of the same name in config/factors/ takes the place of a shipped one",
            );
        }
    }
}
