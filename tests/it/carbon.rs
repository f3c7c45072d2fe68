//! Factors and the carbon of electricity against what is published.

use crate::config::Folder;
use inkwatt::carbon::{self, Beside, FactorSet, Gas, Status, warming};
use inkwatt::plant::Plant;
use inkwatt::time::{At, HOUR, Period};
use inkwatt::units::{Co2e, Energy};

fn factors() -> Vec<FactorSet> {
    Folder::sound().load().factors
}

fn plant(grid: &str) -> Plant {
    Plant { grid: grid.into(), ..Folder::sound().load().plant }
}

/// The carbon of whole kilowatt-hours in a grid on the first of June of a year.
fn of(sets: &[FactorSet], grid: &str, year: i32, kwh: i64) -> carbon::Footprint {
    let start = At::parse(&format!("{year}-06-01T10:00:00Z")).expect("an instant");
    let used = [(Period::new(start, start + HOUR / 4), Some(Energy::from_wh(kwh * 1_000)))];
    let found = carbon::of(&plant(grid), sets, used);
    assert_eq!(found.issues, [], "{grid} {year}");
    found.value
}

fn own(lines: &str) -> Vec<FactorSet> {
    Folder::sound().with("config/factors/own.toml", &set(lines)).load().factors
}

fn set(lines: &str) -> String {
    format!(
        "[[set]]\npublication = \"Own\"\nversion = \"1\"\npublished = \"2026\"\nvalid_from = 2025-01-01\nvalid_to = \
         2025-12-31\nstatus = \"final\"\ngrade = \"A\"\nsource = \"s\"\nlicence = \"l\"\n{lines}\n"
    )
}

/// eGRID 2020 to 2022, CO2e of all subregions (US EPA, public domain): the shipped rates in lb/MWh are those of the
/// workbook, which the table has in kg.
#[test]
fn a_megawatt_hour_in_every_subregion_has_the_carbon_of_egrid() {
    let (sets, table) = (factors(), include_str!("../reference/egrid_2020_2022_co2e.csv"));
    let mut rows = 0;
    for row in table.lines().skip(1).map(|row| row.split(',').collect::<Vec<_>>()) {
        let (year, kg): (i32, f64) = (row[0].parse().expect("a year"), row[2].parse().expect("kg"));
        let grid = if row[1] == "US" { "US".to_owned() } else { format!("US-{}", row[1]) };
        let ours = of(&sets, &grid, year, 1_000);
        // Milligrams.
        assert!((ours.co2e().mg() as f64 - kg * 1e6).abs() <= 1.0, "{grid} {year}");
        rows += 1;
    }
    assert_eq!(rows, sets.iter().filter(|set| set.region.starts_with("US")).count());
}

/// Icha and Lauf, UBA Climate Change 16/2026, table 2, as quoted by four copies (see `config/factors/de.toml`).
#[test]
fn german_factors_leave_the_supply_of_fuels_to_scope_3() {
    let sets = factors();
    let with_supply = [435, 477, 503, 442, 414, 406];
    for (year, with_supply) in (2020..).zip(with_supply) {
        let footprint = of(&sets, "DE", year, 1_000);
        let supply = footprint.beside(Beside::Supply).expect("published");
        assert_eq!(footprint.co2e() + supply, Co2e::from_mg(with_supply * 1_000_000), "{year}");
        assert_eq!(footprint.status() == Status::Provisional, year >= 2024);
    }
    assert_eq!(of(&sets, "DE", 2024, 1_000_000).co2e(), Co2e::from_mg(361_000_000_000));
}

/// eGRID2023 rev2 by gas: the sums under AR5 are beside them in the table (own calculation); `CAMX` is example E3 of
/// 10 MWh, 1,950.2612181283 kg.
#[test]
fn masses_of_gases_are_weighted_by_the_report_that_the_set_names() {
    let table = include_str!("../reference/egrid2023_rev2_per_gas.csv");
    for row in table.lines().skip(1).map(|row| row.split(',').collect::<Vec<_>>()) {
        let lines = format!(
            "region = \"X\"\nunit = \"lb/MWh\"\ngwp = \"AR5\"\nmasses = {{ CO2 = {}, CH4 = {}, N2O = {} }}",
            row[3], row[4], row[5]
        );
        let kg = row[8].parse::<f64>().expect("kg for a kWh");
        let found = of(&own(&lines), "X", 2025, 10_000).co2e().kg() / 10_000.0;
        assert!((found - kg).abs() <= 0.5e-6, "{}: {found} and {kg}", row[2]);
        if row[2] == "CAMX" {
            assert_eq!(of(&own(&lines), "X", 2025, 10_000).co2e(), Co2e::from_mg(1_950_261_218));
        }
    }
    // RFCW and CAMX in lb/MWh under four reports, own calculation, to three digits.
    let cases = [
        ("{ CO2 = 911.424, CH4 = 0.071, N2O = 0.010 }", [916.179, 916.062, 916.135, 916.270]),
        ("{ CO2 = 428.464, CH4 = 0.025, N2O = 0.003 }", [429.983, 429.959, 429.981, 430.028]),
    ];
    for (masses, expected) in cases {
        for (gwp, lb) in ["AR4", "AR5", "AR6", "AR6 fossil"].into_iter().zip(expected) {
            let lines = format!("region = \"X\"\nunit = \"lb/MWh\"\ngwp = \"{gwp}\"\nmasses = {masses}");
            let found = of(&own(&lines), "X", 2025, 1_000).co2e().kg() / 0.453_592_37;
            assert!((found - lb).abs() < 0.000_51, "{masses} {gwp}: {found}");
        }
    }
}

/// The table of potentials, but for AR6, where it has methane of biomass and the program that of all sources together.
#[test]
fn warming_potentials_are_those_of_the_reports() {
    for row in include_str!("../reference/gwp100.csv").lines().skip(1) {
        let cells: Vec<&str> = row.split(',').collect();
        for (gas, cell) in [(Gas::Ch4, cells[1]), (Gas::N2o, cells[3])] {
            let known = warming(cells[0], gas).map(|weight| weight.to_f64());
            match (cells[0], gas) {
                ("AR5_ccf", _) => assert_eq!(known, None),
                ("AR6", Gas::Ch4) => assert_eq!(known, Some(27.9)),
                _ => assert_eq!(known, cell.parse().ok(), "{row}"),
            }
        }
    }
    let fossil = warming("AR6 fossil", Gas::Ch4).map(|weight| weight.to_f64());
    assert_eq!(fossil, Some(29.8));
}

/// National Greenhouse Accounts Factors 2025 (AU), example 1, as quoted by a copy: NSW 11,300,000 kWh x 0.64 and VIC
/// 14,600,000 x 0.78 are 18,620 t; with scope 3 at 0.03 and 0.09, 20,273 t. And the notice of Korea: 400 MWh x 0.4 = 160 t.
#[test]
fn national_examples_of_the_location_based_method() {
    let grid = |region, factor, supply| {
        set(&format!(
            "region = \"{region}\"\nunit = \"t/MWh\"\ngwp = \"AR5\"\ngeneration = {factor}\nsupply = {supply}"
        ))
    };
    let text = grid("NSW", "0.64", "0.03") + &grid("VIC", "0.78", "0.09") + &grid("KR", "0.4", "0");
    let sets = Folder::sound().with("config/factors/own.toml", &text).load().factors;
    let states = [("NSW", 11_300_000), ("VIC", 14_600_000)].map(|(grid, kwh)| of(&sets, grid, 2025, kwh));
    let tonnes = |sum: Co2e| sum.mg() / 1_000_000_000;
    assert_eq!(tonnes(states.iter().map(carbon::Footprint::co2e).sum()), 18_620);
    let supply = states.iter().map(|state| state.beside(Beside::Supply).expect("given"));
    assert_eq!(tonnes(states.iter().map(carbon::Footprint::co2e).chain(supply).sum()), 20_273);
    assert_eq!(tonnes(of(&sets, "KR", 2025, 400_000).co2e()), 160);
}

/// Dataset UCI 851 of 2018 has 959,636.71 kWh: its year under each set, own calculation.
#[test]
fn a_year_of_the_open_dataset_under_each_british_set() {
    let sets = factors();
    let start = |year| At::parse(&format!("{year}-06-01T10:00:00Z")).expect("an instant");
    let tonnes = |year| {
        let used = [(Period::new(start(year), start(year) + HOUR / 4), Some(Energy::from_wh(959_636_710)))];
        format!("{:.3}", carbon::of(&plant("GB"), &sets, used).value.co2e().kg() / 1_000.0)
    };
    let expected = ["223.730", "203.760", "185.575", "198.716", "198.693", "169.856", "125.674"];
    assert_eq!([2020, 2021, 2022, 2023, 2024, 2025, 2026].map(tonnes), expected);
}

#[test]
fn what_is_wrong_with_a_factor_is_told_with_what_to_do() {
    let told = |lines: &str| Folder::sound().with("config/factors/own.toml", &set(lines)).told().join("\n");
    let head = "region = \"X\"\ngwp = \"AR5\"\n";
    let cases = [
        ("generation = 770.9", "must be 0 to 5 kg for a kWh, found 770.9\nhelp: which unit has the publication?"),
        (
            "unit = \"lb/MWh\"\ngeneration = 0.35",
            "0.35 lb/MWh is less than any grid has\nhelp: is its unit \"kg/kWh\"?",
        ),
        ("unit = \"lb/kWh\"\ngeneration = 0.35", "unit \"lb/kWh\" is not known"),
        ("generation = \"NA\"", "must be 0 to 10000 in its unit, found \"NA\""),
        ("masses = { CO2 = 1, CH4 = 0, N2O = 0 }\ngeneration = 0.2", "keep one"),
        ("masses = { CO2 = 0.2, CH4 = 0.1 }", "N2O is missing"),
        ("boundary = \"delivered\"\nlosses = 0.01\ngeneration = 0.2", "has the losses of the grid inside"),
        ("supply_inside = true\nsupply = 0.01\ngeneration = 0.2", "would be counted twice"),
        ("regions = { Y = 0.2 }", "region does not go with regions"),
    ];
    for (lines, expected) in cases {
        let told = told(&format!("{head}{lines}"));
        assert!(told.contains(expected), "{lines}: {told}");
    }
    let lines = "region = \"X\"\ngwp = \"AR9\"\nmasses = { CO2 = 0.2, CH4 = 0, N2O = 0 }";
    assert!(told(lines).contains("gwp \"AR9\" is not known\nhelp: known: SAR, TAR, AR4, AR5, AR6, AR6 fossil"));
}
