//! The closed months of a site as they are handed on to whoever files for several sites, and what several come to.

use super::{Totals, YearFacts};
use crate::carbon::{FactorSet, Supplied};
use crate::closing::sha256;
use crate::plant::Plant;
use crate::report::scope2::{Covered, by_location, by_market};
use crate::report::words;
use crate::time::Month;
use crate::verify::listed;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// A closed month in the file of a site.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SiteMonth {
    /// Such as `2026-03`.
    pub month: String,
    /// 0 for the closing, above for restatements.
    pub sequence: u32,
    /// Hash of the closing in the site's chain.
    pub closing: String,
    /// Whether its carbon is trued up.
    pub true_up: bool,
}

/// A factor or instrument in the file of a site, in words.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SiteFactor {
    /// `location` or `market`.
    pub method: String,
    /// What it is of, such as `grid average`.
    pub by: String,
    /// Which one.
    pub which: String,
    /// Its version; empty of an instrument.
    pub version: String,
    /// `provisional` or `final`; empty of an instrument.
    pub status: String,
    /// Where it was read; empty of an instrument.
    pub source: String,
    /// kg for a kWh.
    pub factor: String,
    /// kWh under it.
    pub energy_kwh: String,
    /// Its carbon in kg.
    pub co2e_kg: String,
    /// Assessment report of the warming potentials, or `CO2 alone`; empty of an instrument.
    pub potentials: String,
}

/// What a site draws from a certificate or contract.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Spent {
    /// Milliwatt-hours for which it stands.
    pub stands_for: i64,
    /// Of these, spent here.
    pub spent: i64,
}

/// A site's year, from its closed months.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SiteYear {
    /// Name of the site.
    pub site: String,
    /// The year.
    pub year: i32,
    /// Its grid region.
    pub grid: String,
    /// Its time zone.
    pub zone: String,
    /// The closed months.
    pub months: Vec<SiteMonth>,
    /// What they come to.
    pub totals: Totals,
    /// Its factors.
    pub factors: Vec<SiteFactor>,
    /// Certificates and contracts that it spends, by their numbers.
    pub spent: BTreeMap<String, Spent>,
    /// The program that wrote it.
    pub program: String,
}

/// What the file says of itself.
const ABOUT: &str = "Closed months of a site, for inkwatt filing --site at the plant that files for several";

/// The file of a site.
#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct SiteFile {
    about: String,
    content: SiteYear,
    /// SHA-256 of the content as compact JSON.
    sha256: String,
}

/// What is wrong with the file of a site.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SiteError {
    /// It is no such file.
    #[error("is no site.json as inkwatt filing writes it: {0}")]
    Form(String),
    /// Its hash is of other content.
    #[error("was changed after it was written: its hash is of other content; ask the site for the file again")]
    Changed,
}

impl SiteYear {
    /// The year of a plant from its closed months.
    pub fn of(plant: &Plant, year: &YearFacts, months: Vec<SiteMonth>, program: &str) -> Self {
        Self {
            site: plant.name.clone(),
            year: year.year,
            grid: plant.grid.clone(),
            zone: plant.zone.0.name().into(),
            months,
            totals: year.totals(),
            factors: factors(year),
            spent: spent(year),
            program: format!("inkwatt {program}"),
        }
    }

    /// The bytes of its file.
    pub fn file(&self) -> Vec<u8> {
        let file = SiteFile { about: ABOUT.into(), content: self.clone(), sha256: self.hash() };
        let text = serde_json::to_string_pretty(&file).expect("texts and numbers are JSON");
        format!("{text}\n").into_bytes()
    }

    /// Reads a file.
    ///
    /// # Errors
    /// Another form, content that is not that of the hash.
    pub fn parse(text: &str) -> Result<Self, SiteError> {
        let file: SiteFile = serde_json::from_str(text).map_err(|error| SiteError::Form(error.to_string()))?;
        if file.content.hash() == file.sha256 && file.about == ABOUT {
            Ok(file.content)
        } else {
            Err(SiteError::Changed)
        }
    }

    /// SHA-256 of its content.
    pub fn hash(&self) -> String {
        sha256(serde_json::to_string(self).expect("texts and numbers are JSON").as_bytes())
    }
}

/// The factor sets of a year by either method.
fn sets(year: &YearFacts) -> impl Iterator<Item = &FactorSet> {
    let of_market = year.market.lines.iter().filter_map(|line| match &line.by {
        Supplied::Supplier(set) | Supplied::Residual(set) | Supplied::Grid(set) => Some(set.as_ref()),
        Supplied::Instrument(_) => None,
    });
    year.footprint.sets.iter().map(|line| &line.set).chain(of_market)
}

fn factors(year: &YearFacts) -> Vec<SiteFactor> {
    let set = |row: &Covered| sets(year).find(|set| set.publication == row.which && set.generation == row.factor);
    let potentials = |set: &FactorSet| if set.co2_only { "CO2 alone".into() } else { set.gwp.clone() };
    let methods = [("location", by_location(&year.footprint)), ("market", by_market(&year.market))];
    let rows = methods.into_iter().flat_map(|(method, rows)| rows.into_iter().map(move |row| (method, row)));
    rows.map(|(method, row)| {
        let of = |what: &dyn Fn(&FactorSet) -> String| set(&row).map(what).unwrap_or_default();
        SiteFactor {
            method: method.into(),
            by: row.by.into(),
            version: of(&|set| set.version.clone()),
            status: of(&|set| words::status(set.status).into()),
            source: of(&|set| set.source.clone()),
            factor: row.factor.to_string(),
            energy_kwh: row.energy.to_string(),
            co2e_kg: row.co2e.to_string(),
            potentials: of(&potentials),
            which: row.which,
        }
    })
    .collect()
}

fn spent(year: &YearFacts) -> BTreeMap<String, Spent> {
    let mut all: BTreeMap<String, Spent> = BTreeMap::new();
    for line in &year.market.lines {
        let Supplied::Instrument(one) = &line.by else { continue };
        let of = all.entry(one.id.clone()).or_insert(Spent { stands_for: one.energy.mwh(), spent: 0 });
        of.spent += line.energy.mwh();
    }
    all
}

/// The months of a year that are not closed, those in a row as one: `2025-03 to 2025-12`.
fn not_closed(year: i32, closed: &[SiteMonth]) -> Vec<String> {
    let is_open = |month: &Month| !closed.iter().any(|one| one.month == month.to_string());
    let open: Vec<Month> = (1..=12).map(|month| Month { year, month }).filter(is_open).collect();
    let rows = open.chunk_by(|a, b| a.next() == *b);
    rows.filter_map(|row| match row {
        [one] => Some(one.to_string()),
        [first, .., last] => Some(format!("{first} to {last}")),
        [] => None,
    })
    .collect()
}

/// How far a plant has closed the year that it files.
pub fn of_closing(year: i32, closed: &[SiteMonth]) -> String {
    let trued_up = closed.iter().filter(|month| month.true_up).count();
    let carbon = match trued_up {
        0 => format!("Carbon is provisional until inkwatt close --true-up {year}."),
        all if all == closed.len() => "Their carbon is trued up.".into(),
        some => format!("The carbon of {some} of them is trued up, that of the others is provisional."),
    };
    match not_closed(year, closed).as_slice() {
        _ if closed.is_empty() => "No month of the year is closed: every figure may still change.".into(),
        [] => format!("All 12 months of the year are closed. {carbon}"),
        open => {
            let (count, open) = (closed.len(), listed(open));
            format!(
                "{count} of 12 months are closed; what is known of {open} is in the figures and may still change. {carbon}"
            )
        }
    }
}

/// Several sites of a year.
#[derive(Clone, Debug)]
pub struct Sites {
    /// The plant that files, from all days that it knows.
    pub own: SiteYear,
    /// The other ones, by name.
    pub others: Vec<SiteYear>,
}

impl Sites {
    /// The plant that files and the others.
    pub fn all(&self) -> impl Iterator<Item = &SiteYear> {
        std::iter::once(&self.own).chain(&self.others)
    }

    /// What all come to.
    pub fn totals(&self) -> Totals {
        self.others.iter().fold(self.own.totals.clone(), |all, site| all.plus(&site.totals))
    }

    /// Instruments of which sites together spend more than they stand for, with the sites.
    pub fn overspent(&self) -> Vec<String> {
        let mut all: BTreeMap<&String, (i64, i64, Vec<&str>)> = BTreeMap::new();
        for site in self.all() {
            for (id, Spent { stands_for, spent }) in &site.spent {
                let (stands, sum, sites) = all.entry(id).or_insert((*stands_for, 0, Vec::new()));
                *stands = (*stands).min(*stands_for);
                *sum += spent;
                sites.push(&site.site);
            }
        }
        let over = all.into_iter().filter(|(_, (stands, sum, _))| sum > stands);
        over.map(|(id, (.., sites))| format!("{id} at {}", sites.join(" and "))).collect()
    }

    /// What must be said with figures of several sites.
    pub fn notes(&self) -> Vec<String> {
        let mut notes = Vec::new();
        for site in &self.others {
            let (name, closed, open) = (&site.site, site.months.len(), not_closed(site.year, &site.months));
            if !open.is_empty() {
                notes.push(format!("Of {name} {closed} of 12 months are closed; {} are in no figure.", listed(&open)));
            }
        }
        let zones: BTreeSet<&str> = self.all().map(|site| site.zone.as_str()).collect();
        if zones.len() > 1 {
            let zones = zones.into_iter().collect::<Vec<_>>().join(", ");
            notes.push(format!("Sites lie in several time zones ({zones}); days and months are those of each."));
        }
        let potentials = |site: &SiteYear| -> BTreeSet<String> {
            site.factors.iter().map(|of| of.potentials.clone()).filter(|text| !text.is_empty()).collect()
        };
        let used: BTreeSet<String> = self.all().flat_map(potentials).collect();
        if used.len() > 1 {
            let used = used.into_iter().collect::<Vec<_>>().join(", ");
            notes.push(format!("Sites use different warming potentials ({used}); their sum is of both."));
        }
        notes
    }
}
