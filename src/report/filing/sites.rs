//! The factors of several sites: on the page, and in `sites.csv`.

use super::{SiteYear, Sites};
use crate::report::csv::table::{CsvTable, Kind, Writer, column, measured};
use crate::report::month::grid::{Cell, Grid, Table};
use crate::units::Decimal;

/// `sites.csv`: one row for each factor of each site; the rows of a site and method add up to its total.
pub fn table(sites: &Sites) -> CsvTable {
    let mut table = Writer::new(
        "sites",
        "Scope 2 of each site, factor by factor; the rows of a site and method add up to its total",
        vec![
            column("site", Kind::Words, "Name of the site"),
            column("grid", Kind::Words, "Its grid region"),
            column("zone", Kind::Words, "Its time zone, whose days and months are meant"),
            column("months_closed", Kind::Words, "The months that are closed, with the sequence of each"),
            column("method", Kind::Words, "location or market"),
            column(
                "covered_by",
                Kind::Words,
                "certificate, contract, rate of the supplier, residual mix or grid average",
            ),
            column("which", Kind::Words, "Which certificate or publication"),
            column("version", Kind::Words, "Version of the publication"),
            column("status", Kind::Words, "provisional or final"),
            column("potentials", Kind::Words, "Assessment report of the warming potentials, or CO2 alone"),
            measured("factor_kg_per_kwh", Kind::Number, "kg/kWh", "The factor"),
            measured("energy_kwh", Kind::Number, "kWh", "Energy under it"),
            measured("co2e_kg", Kind::Number, "kg", "Carbon; CO2 alone where potentials says so"),
            column("source", Kind::Words, "Where the factor was read"),
        ],
    );
    for site in sites.all() {
        let months = months(site);
        for of in &site.factors {
            table.row([
                site.site.as_str(),
                &site.grid,
                &site.zone,
                &months,
                &of.method,
                &of.by,
                &of.which,
                &of.version,
                &of.status,
                &of.potentials,
                &of.factor,
                &of.energy_kwh,
                &of.co2e_kg,
                &of.source,
            ]);
        }
    }
    table.finish()
}

fn months(site: &SiteYear) -> String {
    let of = site.months.iter().map(|month| format!("{}.{}", month.month, month.sequence));
    of.collect::<Vec<_>>().join(" ")
}

/// The same on the page.
pub fn grid(sites: &Sites) -> Table {
    let mut grid = Grid::new("Scope 2 of each site")
        .words("Site")
        .words("Method")
        .words("Covered by")
        .words("Which")
        .words("Status")
        .words("Warming potentials")
        .numbers("Factor", "kg/kWh")
        .numbers("Electricity", "kWh")
        .numbers("Carbon", "kg");
    for site in sites.all() {
        for of in &site.factors {
            let words = [&site.site, &of.method, &of.by, &of.which, &of.status, &of.potentials, &of.factor];
            let numbers = [&of.energy_kwh, &of.co2e_kg].map(|text| Cell::Number(millionths(text), String::new()));
            grid.row("plain", words.map(|text| Cell::from(text.as_str())).into_iter().chain(numbers).collect());
        }
    }
    grid.finish()
}

fn millionths(text: &str) -> Option<i64> {
    Decimal::parse(text)?.scale(1_000_000, 1, 1)
}
