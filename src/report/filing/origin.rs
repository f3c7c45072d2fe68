//! How a figure of a year came about: the months that add up to it, and the factors and instruments behind it.

use super::{FilingInput, YearFacts, filing, tables};
use crate::carbon::filing::{Datum, Dimension};
use crate::carbon::{Beside, Gas, MarketLine, SetLine, Supplied};
use crate::report::number::fixed;
use crate::report::origin::rules::{MARKET, under};
use crate::report::origin::shown::{ids_on, laid_out, on};
use crate::report::origin::{OfFactor, OfMonth, Origin};
use crate::report::scope2::{Covered, by_market};
use crate::time::Month;
use crate::units::{Co2e, Decimal, Energy, decimal};
use std::collections::BTreeSet;

/// A figure that can be explained.
struct Asked {
    datum: Datum,
    /// What it is, in words.
    about: String,
    /// Whether it rests on instruments and the residual mix.
    is_market: bool,
}

/// Finds out how a figure of a year came about, by its path below the year; `None` where no figure has that path. The months are
/// those of the year of which something is known.
pub fn origin(input: &FilingInput, months: &[(Month, YearFacts)], path: &str) -> Option<Origin> {
    let (year, asked) = (input.year, asked(input, path)?);
    let id = format!("{}/{path}", year.year);
    let (totals, dimension) = (year.totals(), asked.datum.dimension());
    let adds_up = matches!(dimension, Dimension::Energy | Dimension::Carbon) && !rests_on_instruments(asked.datum);
    Some(Origin {
        shown: on(("filing.html", &laid_out(&filing(input))), &tables(input), &id),
        about: format!("{}, {}", asked.about, year.year),
        exact: totals.value(asked.datum).map(|count| decimal(count, 6)),
        unit: unit(dimension, totals.gases(asked.datum)),
        rules: rules(year, &asked),
        factors: factors(input, &asked),
        months: if adds_up { months.iter().map(|month| of_month(month, asked.datum)).collect() } else { Vec::new() },
        id,
        ..Origin::default()
    })
}

/// Every id of the page and the tables of a year.
pub fn year_ids(input: &FilingInput) -> BTreeSet<String> {
    ids_on(&laid_out(&filing(input)), &tables(input))
}

fn asked(input: &FilingInput, path: &str) -> Option<Asked> {
    if let Some(word) = path.strip_prefix("filing/") {
        let point = input.mapping.points.iter().find(|point| point.datum.word() == word)?;
        let is_market = rests_on_instruments(point.datum);
        return Some(Asked { datum: point.datum, about: point.text.clone(), is_market });
    }
    let (method, what) =
        path.strip_prefix("carbon/scope2/").map(|rest| rest.split_once('/').unwrap_or((rest, "carbon")))?;
    let datum = match (method, what) {
        ("location" | "market", "energy") => Datum::Electricity,
        ("location", "carbon") => Datum::Location,
        ("market", "carbon") => Datum::Market,
        _ => return None,
    };
    Some(Asked { datum, about: format!("Scope 2, {method}-based: {what}"), is_market: method == "market" })
}

/// Whether a figure is known only once the instruments of the year are applied.
const fn rests_on_instruments(datum: Datum) -> bool {
    use Datum::{BundledShare, Covered, CoveredShare, Market, MarketPerWeb};
    matches!(datum, Market | MarketPerWeb | Covered | CoveredShare | BundledShare(_))
}

fn unit(dimension: Dimension, gases: &str) -> String {
    match dimension {
        Dimension::Energy => "kWh".into(),
        Dimension::Carbon => format!("kg{gases}"),
        Dimension::Share => "%".into(),
        Dimension::EnergyPerWeb => "kWh/1,000 m".into(),
        Dimension::CarbonPerWeb => format!("kg{gases}/1,000 m"),
    }
}

fn rules(year: &YearFacts, asked: &Asked) -> Vec<String> {
    let (totals, web) = (
        year.totals(),
        year.web.map_or_else(|| "an unknown length".into(), |mm| format!("{} m", fixed(mm / 1_000, 0))),
    );
    let mut said = vec![format!(
        "{} of {} days are known from midnight to midnight; {} kWh of {} kWh are estimated by a stated rule.",
        year.whole, year.days, year.estimated, year.energy
    )];
    let carbon =
        |count: Option<i64>| count.map_or_else(|| "an unknown mass".into(), |mg| format!("{} kg", decimal(mg, 6)));
    said.push(match asked.datum {
        Datum::Electricity => "It is what the meters of the plant's boundary show, day by day; nothing is added for days that are not known.".into(),
        Datum::Location => "Each day has the factor of its day of consumption; rows of factors add up to it.".into(),
        Datum::Gas(gas) => format!("It is the part of {} in the location-based figure, in CO2 equivalent.", gas.word()),
        Datum::Beside(_) => "It stands beside scope 2 and is in no figure of it.".into(),
        Datum::Category3 => "It adds losses of the grid, supply of fuels, and supply of the fuels of the losses.".into(),
        Datum::Market => "What covers the energy is listed below, best rank first; its rows add up to it.".into(),
        Datum::Covered => "It is the energy of the year that contracts and certificates cover.".into(),
        Datum::CoveredShare => format!("It is {} kWh covered of {} kWh.", year.market.covered(), year.energy),
        Datum::BundledShare(is_bundled) => {
            let part = if is_bundled { totals.bundled } else { totals.unbundled };
            let how = if is_bundled { "came with the electricity" } else { "came apart from the electricity" };
            format!("It is {} kWh under instruments that {how}, of {} kWh.", Energy::from_mwh(part), year.energy)
        }
        Datum::ElectricityPerWeb => format!("It is {} kWh for {web} of web.", year.energy),
        Datum::LocationPerWeb => format!("It is {} for {web} of web.", carbon(totals.location)),
        Datum::MarketPerWeb => format!("It is {} for {web} of web.", carbon(totals.market)),
    });
    if asked.is_market {
        said.push(MARKET.into());
        if rests_on_instruments(asked.datum) {
            said.push("Instruments are settled by year, so that no month has a part of it.".into());
        }
    }
    said
}

fn factors(input: &FilingInput, asked: &Asked) -> Vec<OfFactor> {
    if asked.is_market {
        return market(input);
    }
    let parts: Vec<Part> = match asked.datum {
        Datum::Electricity | Datum::ElectricityPerWeb => vec![],
        Datum::Gas(gas) => vec![Part::Gas(gas)],
        Datum::Beside(what) => vec![Part::Beside(what)],
        Datum::Category3 => Beside::CATEGORY3.map(Part::Beside).into(),
        _ => vec![Part::Generation],
    };
    let sets = &input.year.footprint.sets;
    parts.iter().flat_map(|part| sets.iter().filter_map(|line| part.under(input, line))).collect()
}

/// Which factor of a set.
enum Part {
    Generation,
    Gas(Gas),
    Beside(Beside),
}

impl Part {
    fn under(&self, input: &FilingInput, line: &SetLine) -> Option<OfFactor> {
        let of = |factor: Decimal, co2e: Co2e| under(input.texts, &line.set, factor, (line.energy, co2e));
        let named = |found: OfFactor, word: &str| OfFactor { set: format!("{word}: {}", found.set), ..found };
        match self {
            Self::Generation => Some(of(line.set.generation, line.co2e)),
            Self::Gas(gas) => {
                let factor = line.set.gases.iter().find(|(other, _)| other == gas)?.1;
                let co2e = line.gases.iter().find(|(other, _)| other == gas)?.1;
                Some(named(of(factor, co2e), gas.word()))
            }
            Self::Beside(what) => {
                let co2e = line.beside.iter().find(|(other, _)| other == what)?.1;
                Some(named(of(line.set.beside(*what)?, co2e), what.word()))
            }
        }
    }
}

/// What covers the energy of the year by the market.
fn market(input: &FilingInput) -> Vec<OfFactor> {
    let of = |(line, covered): (&MarketLine, Covered)| match &line.by {
        Supplied::Instrument(one) => OfFactor {
            set: format!("{} {}", covered.by, covered.which),
            factor: covered.factor.to_string(),
            energy_kwh: covered.energy.to_string(),
            amount: covered.co2e.to_string(),
            terms: String::new(),
            source: format!("inkwatt record list, {}", one.id),
            text: None,
        },
        Supplied::Supplier(set) | Supplied::Residual(set) | Supplied::Grid(set) => {
            let found = under(input.texts, set, covered.factor, (covered.energy, covered.co2e));
            OfFactor { set: format!("{}: {}", covered.by, found.set), ..found }
        }
    };
    input.year.market.lines.iter().zip(by_market(&input.year.market)).map(of).collect()
}

fn of_month((month, facts): &(Month, YearFacts), datum: Datum) -> OfMonth {
    let path = match datum {
        Datum::Electricity => Some("energy/plant"),
        Datum::Location => Some("carbon/scope2/location/carbon"),
        _ => None,
    };
    OfMonth {
        month: month.to_string(),
        amount: facts.totals().value(datum).map(|count| decimal(count, 6)).unwrap_or_default(),
        id: path.map(|path| format!("{month}/{path}")),
    }
}
