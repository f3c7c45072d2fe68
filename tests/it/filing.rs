//! Claims about the figures of a year for disclosure.

#[cfg(feature = "demo")]
mod sites;

use crate::carbon::certificate;
use crate::config::Folder;
use chrono::NaiveDate;
use inkwatt::attribute::DaySums;
use inkwatt::carbon::filing::Datum;
use inkwatt::config::Configuration;
use inkwatt::report::filing::{FilingInput, YearFacts, files, filing};
use inkwatt::report::{ReportFile, Versions};
use inkwatt::units::Energy;
use std::process::Command;

/// Every day of a year drew 1 kWh a quarter hour, over 2,000 m of web.
fn days(configuration: &Configuration, year: i32) -> Vec<DaySums> {
    let first = NaiveDate::from_ymd_opt(year, 1, 1).expect("a date");
    let of = |date: NaiveDate| {
        let quarters = configuration.plant.zone.day(date).millis() / 900_000;
        DaySums {
            date,
            quarters: vec![Some(Energy::from_wh(1_000)); quarters as usize],
            whole: true,
            worked: Some(true),
            web: [("p1".into(), 2_000_000)].into(),
        }
    };
    first.iter_days().take_while(|date| date.format("%Y").to_string() == year.to_string()).map(of).collect()
}

fn year(configuration: &Configuration, year: i32, covered_kwh: i64) -> YearFacts {
    let papers = [certificate("c", "GB", year, covered_kwh)];
    let sums = days(configuration, year);
    let found = YearFacts::of(&configuration.plant, &configuration.factors, &papers, &sums, Energy::from_wh(350_400));
    found.expect("a year with data")
}

/// A sound configuration of a plant of that name.
#[cfg(feature = "demo")]
fn configuration_in(name: &str) -> Configuration {
    let mut configuration = Folder::sound().load();
    configuration.plant.name = name.into();
    configuration
}

fn made(
    configuration: &Configuration,
    this: &YearFacts,
    before: Option<&YearFacts>,
    base: Option<&YearFacts>,
) -> Vec<ReportFile> {
    files(&input(configuration, this, before, base), &[]).expect("usable templates")
}

fn input<'a>(
    configuration: &'a Configuration,
    this: &'a YearFacts,
    before: Option<&'a YearFacts>,
    base: Option<&'a YearFacts>,
) -> FilingInput<'a> {
    FilingInput {
        plant: &configuration.plant,
        year: this,
        before,
        base,
        sites: None,
        site: None,
        closed: &[],
        mapping: &configuration.filing,
        texts: &[],
        versions: Versions { program: "0.1.0", rules: 1, zones: "2025b" },
    }
}

fn text(files: &[ReportFile], name: &str) -> String {
    let file = files.iter().find(|file| file.name == name).unwrap_or_else(|| panic!("no {name}"));
    String::from_utf8(file.bytes.clone()).expect("UTF-8")
}

/// 35,040 kWh of 2025 under the UK set of that year: 0.177 kg for a kWh, 0.01853 for the losses (see
/// `config/factors/gb.toml`). 1 kWh is 3.6 MJ.
#[test]
fn a_year_is_filed_in_the_units_of_each_standard() {
    let configuration = Folder::sound().load();
    let (this, before) = (year(&configuration, 2025, 7_008), year(&configuration, 2024, 0));
    let table = text(&made(&configuration, &this, Some(&before), None), "filing.csv");
    let row = |identifier: &str| -> Vec<String> {
        let mut reader = csv::Reader::from_reader(table.as_bytes());
        let found = reader.records().map(|row| row.expect("a row")).find(|row| &row[2] == identifier);
        found.unwrap_or_else(|| panic!("no {identifier}")).iter().map(str::to_owned).collect()
    };
    assert_eq!(row("302-1-c")[5..8], ["GJ", "126.1440000000", "126.4896000000"]);
    assert_eq!(row("E1-5 §37")[5..7], ["MWh", "35.040000000"]);
    assert_eq!(row("305-2-a")[5..10], ["t", "6.202080000", "7.274908800", "CO2e", "provisional"].map(String::from)[..]);
    // A fifth of the energy is covered by what emits nothing.
    assert_eq!(row("305-2-b")[6], "4.961664000");
    assert_eq!(row("305-3")[6], "0.649291200");
    assert_eq!(row("302-3")[5..7], ["kWh/1000m", "48.000000"]);
    assert_eq!(row("305-4")[6], "8.496000");
    assert_eq!(row("energy use")[10..12], ["100.000000", "1.000000"]);
}

#[test]
fn both_methods_of_a_year_add_up_to_its_totals() {
    let configuration = Folder::sound().load();
    let this = year(&configuration, 2025, 50_000);
    let table = text(&made(&configuration, &this, None, None), "scope2.csv");
    let mut reader = csv::Reader::from_reader(table.as_bytes());
    let rows: Vec<csv::StringRecord> = reader.records().map(|row| row.expect("a row")).collect();
    let sum = |method: &str, column: usize| -> f64 {
        rows.iter().filter(|row| &row[1] == method).map(|row| row[column].parse::<f64>().expect("a number")).sum()
    };
    assert_eq!([sum("location", 5), sum("market", 5)], [35_040.0, 35_040.0]);
    assert_eq!(sum("market", 6), 0.0);
    let page = text(&made(&configuration, &this, None, None), "filing.html");
    assert!(page.contains("14,960 kWh of c are left over: all the energy is covered."), "what is left is said");
}

/// A factor that is missing makes no total smaller.
#[test]
fn a_total_without_a_factor_for_some_of_its_energy_is_not_stated() {
    let mut configuration = Folder::sound().load();
    configuration.plant.grid = "XX".into();
    let this = year(&configuration, 2025, 0);
    let unknown = [Datum::Location, Datum::Market, Datum::LocationPerWeb, Datum::Category3];
    assert!(unknown.iter().all(|datum| this.totals().value(*datum).is_none()));
    assert_eq!(this.totals().value(Datum::Electricity), Some(35_040_000_000));
    let told = filing(&input(&configuration, &this, None, None)).notes.join(" ");
    assert!(told.contains("no factor set of grid \"XX\" is known; 35,040 kWh have no carbon figure"), "{told}");
}

#[test]
fn sums_of_a_part_of_a_year_are_not_compared_with_a_whole_one() {
    let configuration = Folder::sound().load();
    let before = year(&configuration, 2024, 0);
    let sums = &days(&configuration, 2025)[..100];
    let this = YearFacts::of(&configuration.plant, &configuration.factors, &[], sums, Energy::ZERO).expect("a part");
    let page = filing(&input(&configuration, &this, Some(&before), None));
    let [first, second] = [0, 1].map(|k| page.standards[0].rows[k].cells[5].text.clone());
    assert_eq!((first.as_str(), second.as_str()), ("–", "0.0"));
    assert!(page.notes[1].starts_with("These are the figures of a part of the year"), "{:?}", page.notes);
}

#[test]
fn the_base_year_is_recalculated_beyond_its_threshold_only() {
    let base = |location: &str| {
        let own = format!("[base]\nyear = 2024\nlocation_t = {location}\nthreshold_percent = 5\n");
        let configuration = Folder::sound().with("config/filing.toml", &own).load();
        let (this, then) = (year(&configuration, 2025, 0), year(&configuration, 2024, 0));
        filing(&input(&configuration, &this, Some(&then), Some(&then))).base
    };
    let stand_in = "Base year 2024: it has no market-based figure; the location-based one stands in.";
    let far = "Base year 2024, location-based: filed 6.00 t, the facts give 7.27 t today (+21.2 %), beyond the threshold of \
               5 %: recalculate the base year.";
    assert_eq!(base("6"), [stand_in, far]);
    let near = "Base year 2024, location-based: filed 7.20 t, the facts give 7.27 t today (+1.0 %), within the threshold of \
                5 %: it stands.";
    assert_eq!(base("7.2"), [stand_in, near]);
}

#[test]
fn what_is_wrong_in_the_mapping_is_told() {
    let point = "[[figure]]\nstandard = \"S\"\nidentifier = \"1\"\ntext = \"t\"\n";
    let wrong = |lines: &str| {
        let folder = Folder::sound().with("config/filing.toml", &format!("{point}{lines}"));
        inkwatt::config::load(folder.path()).expect_err("refused").to_string()
    };
    let told = wrong("figure = \"electricity\"\nunit = \"t\"\n");
    assert!(
        told.contains(
            "config/filing.toml:6:8: figure \"1\": electricity is no quantity in t\nhelp: known for it: kWh, MWh, GJ"
        ),
        "{told}"
    );
    let told = wrong("figure = \"electricty\"\nunit = \"kWh\"\n");
    assert!(told.contains("electricity"), "{told}");
}

#[test]
fn a_year_of_which_nothing_is_known_is_one_clear_error() {
    let folder = Folder::sound();
    let run = |arguments: &[&str]| {
        let mut command = Command::new(env!("CARGO_BIN_EXE_inkwatt"));
        let output = command.arg("--plant").arg(folder.path()).args(arguments).output().expect("it runs");
        (output.status.code(), String::from_utf8_lossy(&output.stderr).into_owned())
    };
    let zone = folder.load().plant.zone;
    drop(inkwatt::store::Store::open(folder.path(), zone, inkwatt::store::Access::Command).expect("a store"));
    let (code, told) = run(&["filing", "2019"]);
    assert_eq!(
        (code, told.as_str()),
        (Some(2), "error: nothing is known of 2019: no meter of the store has a reading in it\n")
    );
}
