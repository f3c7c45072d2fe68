//! Factor sets.

use super::document::Document;
use super::legal;
use super::section::Section;
use super::value::Value;
use crate::carbon::{Basis, Beside, FactorSet, Gas, Method, Status, WARMING, warming};
use crate::units::Decimal;
use toml::Spanned;
use toml::de::DeTable;

const SET: [&str; 28] = [
    "region",
    "publication",
    "version",
    "published",
    "data_year",
    "valid_from",
    "valid_to",
    "status",
    "method",
    "boundary",
    "supply_inside",
    "unit",
    "generation",
    "regions",
    "gases",
    "masses",
    "co2_only",
    "gwp",
    "losses",
    "supply",
    "supply_of_losses",
    "biogenic",
    "grade",
    "source",
    "licence",
    "url",
    "sha256",
    "note",
];

/// Units in which factors are published, and what each is in kilograms for a kWh. A pound is 0.45359237 kg exactly
/// (international yard and pound, 1959).
const UNITS: [(&str, &str); 5] =
    [("kg/kWh", "1"), ("g/kWh", "0.001"), ("kg/MWh", "0.001"), ("t/MWh", "1"), ("lb/MWh", "0.00045359237")];

/// The sets of a file, each with its section.
pub fn read<'a>(document: &'a Document, table: &'a Spanned<DeTable<'a>>) -> Vec<(Section<'a>, FactorSet)> {
    let root = Section::new("", document.spot(0), table.get_ref(), &["set"]);
    let sections = root.each("set", "set", "publication", &SET);
    sections.into_iter().flat_map(|section| sets(&section).into_iter().map(move |set| (section.clone(), set))).collect()
}

/// The sets of a section: one, or one for each of its regions.
fn sets(section: &Section<'_>) -> Vec<FactorSet> {
    let unit = match section.get("unit") {
        Some(value) => value.one_of(&UNITS.map(|unit| (unit.0, unit))),
        None => Some(UNITS[0]),
    };
    let Some((unit, set)) = unit.map(Unit::of).and_then(|unit| Some((unit, common(section, unit)?))) else {
        return Vec::new();
    };
    let with = |region: &str, (generation, printed): (Decimal, String)| {
        let set = FactorSet { region: region.into(), generation, printed, ..set.clone() };
        add_up(section, &set);
        set
    };
    match section.get("regions") {
        Some(regions) => {
            ["region", "generation", "masses", "gases"].into_iter().filter(|key| section.get(key).is_some()).for_each(
                |key| section.say(key, &format!("{key} does not go with regions, each of which has its own factor")),
            );
            let each = regions.entries().unwrap_or_default();
            each.into_iter().filter_map(|(region, value)| Some(with(region, unit.generation(&value)?))).collect()
        }
        None => {
            let region = section.need("region").and_then(|value| value.text());
            let generation = generation(section, unit, &set.gwp);
            region.zip(generation).map(|(region, generation)| with(region, generation)).into_iter().collect()
        }
    }
}

/// What all regions of a section have in common.
fn common(section: &Section<'_>, unit: Unit) -> Option<FactorSet> {
    let need = |key: &str| section.need(key).and_then(|v| v.text()).map(String::from);
    let flag = |key: &str| section.get(key).is_some_and(|v| v.flag().unwrap_or_default());
    let status = [("provisional", Status::Provisional), ("final", Status::Final)];
    let status = section.need("status").and_then(|v| v.one_of(&status));
    let grade = section.need("grade").and_then(|v| v.one_of(&[("A", "A"), ("B+", "B+"), ("B", "B")]));
    let method = match section.get("method") {
        Some(v) => v.one_of(&Method::WORDS),
        None => Some(Method::Location),
    };
    let boundary = match section.get("boundary") {
        Some(v) => v.one_of(&[("generated", Basis::Generated), ("delivered", Basis::Delivered)]),
        None => Some(Basis::Generated),
    };
    let (valid_from, valid_to) =
        (section.need("valid_from").and_then(|v| v.day()), section.need("valid_to").and_then(|v| v.day()));
    let each = Beside::ALL.into_iter().filter_map(|what| Some((what, section.get(what.word())?)));
    let set = FactorSet {
        region: String::new(),
        generation: Decimal::whole(0),
        printed: String::new(),
        publication: need("publication").unwrap_or_default(),
        version: need("version").unwrap_or_default(),
        published: need("published").unwrap_or_default(),
        gwp: need("gwp").unwrap_or_default(),
        source: need("source").unwrap_or_default(),
        licence: need("licence").unwrap_or_default(),
        url: section.label("url"),
        sha256: section.label("sha256"),
        note: section.label("note"),
        data_year: section.get("data_year").and_then(|v| v.whole(legal::YEAR)),
        co2_only: flag("co2_only"),
        supply_inside: flag("supply_inside"),
        gases: gases(section, unit)?,
        beside: each.map(|(what, value)| Some((what, unit.factor(&value)?))).collect::<Option<_>>()?,
        method: method?,
        boundary: boundary?,
        valid_from: valid_from?,
        valid_to: valid_to?,
        status: status?,
        grade: grade?.into(),
    };
    agree(section, &set);
    Some(set)
}

/// Notes what one set cannot be at once.
fn agree(section: &Section<'_>, set: &FactorSet) {
    if set.valid_to < set.valid_from {
        section.say("valid_to", &format!("valid_to {} lies before valid_from {}", set.valid_to, set.valid_from));
    }
    if set.boundary == Basis::Delivered && set.beside(Beside::Losses).is_some() {
        let help = "leave losses out, or say boundary = \"generated\"";
        section.say_help("losses", "a factor for delivered electricity has the losses of the grid inside", help);
    }
    if set.supply_inside && set.beside(Beside::Supply).is_some() {
        let help = "leave supply out, or supply_inside";
        section.say_help("supply", "the supply of fuels is inside the factor and would be counted twice", help);
    }
}

/// The factor of a set for one region in kilograms for a kWh, and as it is printed; its gases, where they are masses,
/// weighted by the warming potentials that the set names.
fn generation(section: &Section<'_>, unit: Unit, gwp: &str) -> Option<(Decimal, String)> {
    let Some(masses) = section.get("masses") else { return unit.generation(&section.need("generation")?) };
    if section.get("generation").is_some() || section.get("gases").is_some() {
        section.say("masses", "masses come in the place of generation and gases: keep one");
    }
    let masses = masses.section(&Gas::ALL.map(Gas::word))?;
    let mut printed = Vec::new();
    let mut sum = Decimal::whole(0);
    for gas in Gas::ALL {
        let value = masses.need(gas.word())?;
        let Some(weight) = warming(gwp, gas) else {
            let known: Vec<&str> = WARMING.iter().map(|(report, ..)| *report).collect();
            section.say_help("gwp", &format!("gwp \"{gwp}\" is not known"), format!("known: {}", known.join(", ")));
            return None;
        };
        let mass = value.number(legal::FACTOR_AS_PRINTED)?;
        printed.push(format!("{} {mass}", gas.word()));
        sum = sum.plus(mass.times(unit.kg)?.times(weight)?)?;
    }
    if !legal::FACTOR.allows(sum) {
        let text = format!("the masses give {:.3} kg for a kWh, which no grid has", sum.to_f64());
        section.say_help("masses", &text, "is the unit right?");
    }
    Some((sum, format!("{} {}", printed.join(", "), unit.word)))
}

fn gases(section: &Section<'_>, unit: Unit) -> Option<Vec<(Gas, Decimal)>> {
    let Some(table) = section.get("gases") else { return Some(Vec::new()) };
    let gases = table.section(&Gas::ALL.map(Gas::word))?;
    let each = Gas::ALL.into_iter().filter_map(|gas| Some((gas, gases.get(gas.word())?)));
    each.map(|(gas, value)| Some((gas, unit.factor(&value)?))).collect()
}

/// A unit in which factors are published.
#[derive(Clone, Copy)]
struct Unit {
    word: &'static str,
    /// Kilograms for a kWh.
    kg: Decimal,
}

impl Unit {
    fn of((word, kg): (&'static str, &str)) -> Self {
        Self { word, kg: Decimal::parse(kg).unwrap_or(Decimal::whole(1)) }
    }

    /// A factor in kilograms for a kWh.
    fn factor(self, value: &Value<'_>) -> Option<Decimal> {
        self.read(value).map(|(kg, _)| kg)
    }

    /// A factor in kilograms for a kWh, and as it is printed.
    fn read(self, value: &Value<'_>) -> Option<(Decimal, Decimal)> {
        let printed = value.number(legal::FACTOR_AS_PRINTED)?;
        let kg = printed.times(self.kg).filter(|kg| legal::FACTOR.allows(*kg));
        let kg = kg.or_else(|| {
            value.wrong_help(legal::FACTOR.word, "which unit has the publication? Say so: unit = \"lb/MWh\"")
        });
        Some((kg?, printed))
    }

    /// The factor of generation, and as it is printed. A number below one in thousandths has another unit than is said.
    fn generation(self, value: &Value<'_>) -> Option<(Decimal, String)> {
        let (kg, printed) = self.read(value)?;
        if self.kg.to_f64() < 1.0 && 0.0 < printed.to_f64() && printed.to_f64() < 1.0 {
            value.say_help(&format!("{printed} {} is less than any grid has", self.word), "is its unit \"kg/kWh\"?");
        }
        Some((kg, format!("{printed} {}", self.word)))
    }
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
            other.region == set.region
                && other.method == set.method
                && other.valid_from <= set.valid_to
                && set.valid_from <= other.valid_to
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
