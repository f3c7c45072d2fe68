//! The year's figures for disclosure: computed from the facts, printed under the data points of the mapping.

mod origin;
mod page;
mod site;
mod sites;
mod totals;
mod year;

pub use origin::{origin, year_ids};
pub use page::{Filing, filing};
pub use site::{SiteError, SiteMonth, SiteYear, Sites};
pub use totals::Totals;
pub use year::YearFacts;

use super::csv::scope2;
use super::csv::table::{CsvTable, Kind, Writer, column, measured};
use super::html::{TemplateError, render_as};
use super::input::{Text, Versions};
use super::render::ReportFile;
use super::scope2::{by_location, by_market};
use crate::carbon::filing::{Mapping, Unit};
use crate::closing::sha256;
use crate::plant::Plant;
use crate::units;
use serde_json::json;

/// Everything that the tables of a year are made from. No clock is read.
#[derive(Clone, Copy, Debug)]
pub struct FilingInput<'a> {
    /// The plant.
    pub plant: &'a Plant,
    /// The year.
    pub year: &'a YearFacts,
    /// The year before, where anything is known of it.
    pub before: Option<&'a YearFacts>,
    /// What the facts give today for the base year, where there is one and anything is known of it.
    pub base: Option<&'a YearFacts>,
    /// This plant and the others for which it files; `None` where it files for itself alone.
    pub sites: Option<&'a Sites>,
    /// The closed months of this plant, to be handed on; `None` where no month is closed.
    pub site: Option<&'a SiteYear>,
    /// Which months of this plant are closed.
    pub closed: &'a [SiteMonth],
    /// The data points.
    pub mapping: &'a Mapping,
    /// The configuration texts in force.
    pub texts: &'a [Text],
    /// What computed it.
    pub versions: Versions<'a>,
}

impl FilingInput<'_> {
    /// What the figures are made of: of all sites, where there are several.
    fn totals(&self) -> Totals {
        self.sites.map_or_else(|| self.year.totals(), Sites::totals)
    }

    /// What of the year before can be compared; nothing of several sites, whose files are of one year.
    fn totals_before(&self) -> Option<Totals> {
        self.before.filter(|_| self.sites.is_none()).map(YearFacts::totals)
    }
}

/// The files of a year: the page, its tables with their metadata, and the manifest.
///
/// # Errors
/// A template that cannot be used.
pub fn files(input: &FilingInput, templates: &[Text]) -> Result<Vec<ReportFile>, TemplateError> {
    let page = render_as("report/filing.html", &filing(input), templates)?;
    let mut files = vec![ReportFile { name: "filing.html".into(), bytes: page.into_bytes() }];
    for table in tables(input) {
        files.push(ReportFile { name: format!("{}.csv", table.name), bytes: table.bytes });
        files.push(ReportFile { name: format!("{}.csv-metadata.json", table.name), bytes: table.metadata });
    }
    files.extend(input.site.map(|site| ReportFile { name: "site.json".into(), bytes: site.file() }));
    files.push(ReportFile { name: "manifest.json".into(), bytes: manifest(input, &files) });
    Ok(files)
}

/// The tables of a year.
fn tables(input: &FilingInput) -> Vec<CsvTable> {
    let id = |method: &str| format!("{}/carbon/scope2/{method}", input.year.year);
    let (footprint, market) = (&input.year.footprint, &input.year.market);
    let own = [table(input), scope2::table(id, by_location(footprint), by_market(market))];
    own.into_iter().chain(input.sites.map(sites::table)).collect()
}

/// `filing.csv`: one row for each data point; of several sites first of all together, then of each.
fn table(input: &FilingInput) -> CsvTable {
    let mut table = Writer::new(
        "filing",
        "Figures of the year for disclosure; each row states its unit",
        vec![
            column("id", Kind::Words, "Id of the figure"),
            column("standard", Kind::Words, "Standard and edition"),
            column("identifier", Kind::Words, "Its data point"),
            column("text", Kind::Words, "What it asks for"),
            column("figure", Kind::Words, "Which figure stands there"),
            column("unit", Kind::Words, "Unit of value and value_before"),
            column("value", Kind::Number, "The figure; empty where it is not known"),
            column("value_before", Kind::Number, "That of the year before"),
            column("gases", Kind::Words, "CO2e, or CO2 where any factor is of carbon dioxide alone; empty for energy"),
            column("status", Kind::Words, "provisional or final, by the factor sets in use"),
            measured(
                "coverage_percent",
                Kind::Number,
                "%",
                "Days of the year whose draw is known from midnight to midnight",
            ),
            measured("estimated_percent", Kind::Number, "%", "Part of the energy that is estimated by a stated rule"),
            column("site", Kind::Words, "Of which site; \"all sites\" of several together"),
        ],
    );
    let before = input.totals_before();
    let each = input.sites.into_iter().flat_map(Sites::all).map(|site| (site.site.as_str(), site.totals.clone()));
    let whole = if input.sites.is_some() { "all sites" } else { input.plant.name.as_str() };
    for (site, totals) in std::iter::once((whole, input.totals())).chain(each) {
        let is_part = input.sites.is_some() && site != whole;
        for point in &input.mapping.points {
            let id = format!("{}/filing/{}", input.year.year, point.datum.word());
            let id = if is_part { format!("{id}/{site}") } else { id };
            let of =
                |totals: &Totals| totals.value(point.datum).map(|count| exact(count, point.unit)).unwrap_or_default();
            table.row([
                id.as_str(),
                &point.standard,
                &point.identifier,
                &point.text,
                point.datum.word(),
                point.unit.word,
                &of(&totals),
                &before.as_ref().map(of).unwrap_or_default(),
                totals.gases(point.datum),
                totals.status(),
                &totals.coverage().map(|share| units::decimal(share, 6)).unwrap_or_default(),
                &totals.estimated_share().map(|share| units::decimal(share, 6)).unwrap_or_default(),
                site,
            ]);
        }
    }
    table.finish()
}

/// All decimals of a figure in a unit.
fn exact(count: i64, unit: Unit) -> String {
    units::decimal(count * unit.times, unit.exponent)
}

fn manifest(input: &FilingInput, files: &[ReportFile]) -> Vec<u8> {
    let hashed = |(name, bytes): (&str, &[u8])| json!({ "name": name, "sha256": sha256(bytes) });
    let configuration: Vec<_> = input.texts.iter().map(|text| hashed((&text.path, text.text.as_bytes()))).collect();
    let files: Vec<_> = files.iter().map(|file| hashed((&file.name, &file.bytes))).collect();
    let others = input.sites.into_iter().flat_map(|sites| &sites.others);
    let sites: Vec<_> = others.map(|site| json!({ "name": site.site, "sha256": site.hash() })).collect();
    let text = json!({
        "plant": input.plant.name,
        "year": input.year.year,
        "program": format!("inkwatt {}", input.versions.program),
        "rules": input.versions.rules,
        "time_zones": input.versions.zones,
        "configuration": configuration,
        "sites": sites,
        "files": files,
    });
    format!("{text:#}\n").into_bytes()
}
