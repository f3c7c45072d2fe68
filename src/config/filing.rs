//! What is filed: `filing.toml`.

use super::document::Document;
use super::legal;
use super::section::Section;
use crate::carbon::filing::{Base, Datum, Mapping, Point, UNITS};

const POINT: [&str; 5] = ["standard", "identifier", "text", "figure", "unit"];
const BASE: [&str; 4] = ["year", "location_t", "market_t", "threshold_percent"];

/// The mapping of a file; `None` where something is wrong in it.
pub fn read(document: &Document) -> Option<Mapping> {
    let table = document.parse()?;
    let root = Section::new("", document.spot(0), table.get_ref(), &["base", "figure"]);
    let base = match root.get("base") {
        Some(value) => Some(base(&value.section_about("base", &BASE)?)?),
        None => None,
    };
    let sections = root.each("figure", "figure", "identifier", &POINT);
    let points: Option<Vec<Point>> = sections.iter().map(point).collect();
    Some(Mapping { points: points?, base })
}

fn point(section: &Section<'_>) -> Option<Point> {
    let text = |key: &str| section.need(key).and_then(|value| value.text()).map(String::from);
    let datum = section.need("figure").and_then(|value| value.one_of(&Datum::WORDS));
    let unit = section.need("unit").and_then(|value| value.one_of(&UNITS.map(|unit| (unit.word, unit))));
    let (standard, identifier, words) = (text("standard"), text("identifier"), text("text"));
    let (datum, unit) = (datum?, unit?);
    if unit.dimension != datum.dimension() {
        let fitting = UNITS.iter().filter(|unit| unit.dimension == datum.dimension()).map(|unit| unit.word);
        let help = format!("known for it: {}", fitting.collect::<Vec<_>>().join(", "));
        section.say_help("unit", &format!("{} is no quantity in {}", datum.word(), unit.word), help);
        return None;
    }
    Some(Point { standard: standard?, identifier: identifier?, text: words?, datum, unit })
}

fn base(section: &Section<'_>) -> Option<Base> {
    let number = |key: &str| section.get(key).map(|value| value.number(legal::TONNES).map(|number| number.to_f64()));
    let year = section.need("year").and_then(|value| value.whole(legal::YEAR));
    let location = section.need("location_t").and_then(|value| value.number(legal::TONNES));
    let threshold = section.need("threshold_percent").and_then(|value| value.number(legal::PER_CENT));
    let market_t = match number("market_t") {
        Some(market) => Some(market?),
        None => None,
    };
    Some(Base { year: year? as i32, location_t: location?.to_f64(), market_t, threshold_percent: threshold?.to_f64() })
}
