//! How figures are computed, in sentences; and the prices and factors behind them.

use super::parts::{Chosen, Quantity};
use super::{Cited, OfFactor, OfPrice};
use crate::attribute::Claim;
use crate::carbon::FactorSet;
use crate::names::MeterId;
use crate::plant::{Covers, Plant, ShareRule};
use crate::report::input::{MonthInput, Text};
use crate::report::lines::Ledger;
use crate::report::peak::Peak;
use crate::report::scope2::Covered;
use crate::report::words;
use crate::time::Zone;
use crate::units::{Co2e, Decimal, Energy, Money, fixed};

/// What a slice is.
const SLICE: &str = "It is a sum of slices. A slice is what a meter shows between two instants, with one owner; it crosses no quarter \
                     hour, shift, job, state, lamp or device.";

/// What a meter shows.
pub const METER: &str =
    "It is the difference of the meter's register over the days, by its intervals; whoever the energy belongs to.";

/// How instruments cover energy.
pub const MARKET: &str = "Certificates and contracts cover energy of the year, each day of their generation alike, best rank first; what \
                          nothing covers has the residual mix, or the average of the grid where none is known.";

/// How a quantity is computed.
pub fn of(quantity: Quantity) -> Vec<String> {
    let then = match quantity {
        Quantity::Cost => Some(
            "Each slice has the price of its time by the local clock. What a price comes to is rounded once and then split, so that \
             slices add up to it.",
        ),
        Quantity::Carbon => Some(
            "Each slice has the factor of its day. What a factor comes to is rounded once and then split, so that slices add up to it.",
        ),
        Quantity::MakeReady => {
            Some("It takes the slices while the press made ready: from the start of the job until the web ran.")
        }
        Quantity::Peak => {
            Some("Energy of the slices is added up interval by interval; the figure is the highest mean.")
        }
        _ => None,
    };
    [Some(SLICE), then].into_iter().flatten().map(ToOwned::to_owned).collect()
}

/// When the highest mean was.
pub fn highest(zone: Zone, peak: &Peak) -> String {
    let (start, end) = (zone.stamp(peak.period.start), zone.stamp(peak.period.end));
    format!("The highest interval is {start} to {end}, with {} kWh.", peak.energy)
}

/// A length or area with its unit.
pub fn size(count: i128, per_unit: i128, unit: &str) -> String {
    format!("{} {unit}", fixed(count * 1_000_000 / per_unit, 6, 3))
}

/// What covers energy by the market.
pub fn covered(part: &Covered) -> String {
    format!("{} kWh by {}, {}, at {} kg/kWh: {} kg.", part.energy, part.by, part.which, part.factor, part.co2e)
}

/// What the slices of a meter are, by what right an owner has them.
pub fn how(plant: &Plant, id: &MeterId, claim: Option<Claim>) -> String {
    let Some(meter) = plant.meter(id) else { return String::new() };
    let name = &meter.name;
    match claim {
        None => format!("the register of {name}"),
        Some(Claim::Own) => format!("the register of {name}, which measures this alone"),
        Some(Claim::Rest) => {
            let below =
                plant.meters.iter().filter(|other| other.below.as_ref() == Some(id)).map(|other| other.id.as_str());
            format!("what {name} shows beyond {}", below.collect::<Vec<_>>().join(", "))
        }
        Some(Claim::Shared) => match &meter.covers {
            Covers::Load(load) => plant.load(load).map_or_else(String::new, |load| {
                let by = match load.rule {
                    ShareRule::Energy => "the energy of the stations served",
                    ShareRule::LampTime => "the time for which lamps are not off",
                    ShareRule::WebTime => "the time for which the web moves",
                    ShareRule::Equal => "equal parts",
                };
                let only = load
                    .only
                    .map_or_else(String::new, |kind| format!(", of stations with {} lamps", words::lamp(kind)));
                format!("a part of {}, shared by {by}{only}", load.name)
            }),
            _ => format!("a part of {name}"),
        },
        Some(Claim::Unassigned) => format!("what {name} shows and no owner could be found for"),
    }
}

/// The prices of the chosen slices, band by band; where all of the plant is chosen, standing charges as well.
pub fn prices(input: &MonthInput, ledger: &Ledger, chosen: &Chosen) -> Vec<OfPrice> {
    let places = places(ledger, chosen);
    let mut all = Vec::new();
    let source = |name: &str| {
        let tariff = input.tariffs.iter().find(|tariff| tariff.name == name);
        tariff.map_or_else(String::new, |tariff| tariff.source.clone())
    };
    for line in &ledger.bill.bands {
        let shares = || line.shares.iter().filter(|share| places[share.place]);
        let (energy, cost): (Energy, Money) = (shares().map(|s| s.energy).sum(), shares().map(|s| s.cost).sum());
        if energy != Energy::ZERO {
            all.push(OfPrice {
                tariff: line.tariff.clone(),
                line: line.band.clone(),
                price: line.price.to_string(),
                energy_kwh: energy.to_string(),
                amount: cost.to_string(),
                source: source(&line.tariff),
                text: cited(input.texts, "tariffs/", &line.tariff),
            });
        }
    }
    all
}

/// The factor sets of the chosen slices.
pub fn factors(input: &MonthInput, ledger: &Ledger, chosen: &Chosen) -> Vec<OfFactor> {
    if !chosen.is_carbon() {
        return Vec::new();
    }
    let places = places(ledger, chosen);
    let mut all = Vec::new();
    for line in &ledger.footprint.sets {
        let shares = || line.shares.iter().filter(|share| places[share.place]);
        let (energy, co2e): (Energy, Co2e) = (shares().map(|s| s.energy).sum(), shares().map(|s| s.co2e).sum());
        if energy != Energy::ZERO {
            all.push(under(input.texts, &line.set, line.set.generation, (energy, co2e)));
        }
    }
    all
}

/// Energy and its carbon under a factor of a set.
pub fn under(texts: &[Text], set: &FactorSet, factor: Decimal, (energy, co2e): (Energy, Co2e)) -> OfFactor {
    OfFactor {
        set: format!("{}, {}", set.publication, set.version),
        factor: factor.to_string(),
        energy_kwh: energy.to_string(),
        amount: co2e.to_string(),
        terms: format!(
            "{}, {} to {}, {}, grade {}",
            set.region,
            set.valid_from,
            set.valid_to,
            words::status(set.status),
            set.grade
        ),
        source: set.source.clone(),
        text: cited(texts, "factors/", &set.publication),
    }
}

/// Which lines are chosen.
fn places(ledger: &Ledger, chosen: &Chosen) -> Vec<bool> {
    let mut places = vec![false; ledger.lines.len()];
    chosen.parts.iter().filter_map(|part| part.place).for_each(|place| places[place] = true);
    places
}

/// The one configuration text of a kind that names a thing.
fn cited(texts: &[Text], kind: &str, name: &str) -> Option<Cited> {
    let mut found = texts.iter().filter(|text| text.path.contains(kind) && text.text.contains(name));
    let first = found.next()?;
    found.next().is_none().then(|| Cited::of(first))
}
