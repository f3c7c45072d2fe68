//! `scope2.csv`: scope 2 by both methods, with what covers the energy.

use super::table::{CsvTable, Kind, Writer, column, measured};
use crate::report::scope2::Covered;

/// One row for each factor under either method; the rows of a method add up to its total.
pub fn table(id: impl Fn(&str) -> String, location: Vec<Covered>, market: Vec<Covered>) -> CsvTable {
    let mut table = Writer::new(
        "scope2",
        "Scope 2 by both methods; the rows of a method add up to its total. By month, certificates are an indication",
        vec![
            column("id", Kind::Words, "Id of the total that the row is part of"),
            column("method", Kind::Words, "location or market"),
            column(
                "covered_by",
                Kind::Words,
                "certificate, contract, rate of the supplier, residual mix or grid average; own generation, certificates sold, is \
                 beside what was drawn",
            ),
            column("which", Kind::Words, "Which certificate or publication"),
            measured("factor_kg_per_kwh", Kind::Number, "kg/kWh", "Its factor"),
            measured("energy_kwh", Kind::Number, "kWh", "Energy under it"),
            measured("co2e_kg", Kind::Number, "kg", "Carbon; CO2 alone where gases says so"),
            column("gases", Kind::Words, "CO2e, or CO2 for a factor of carbon dioxide alone"),
        ],
    );
    let mut rows = |method: &str, parts: Vec<Covered>| {
        let id = id(method);
        for part in parts {
            table.row([
                id.as_str(),
                method,
                part.by,
                &part.which,
                &part.factor.to_string(),
                &part.energy.to_string(),
                &part.co2e.to_string(),
                if part.co2_only { "CO2" } else { "CO2e" },
            ]);
        }
    };
    rows("location", location);
    rows("market", market);
    table.finish()
}
