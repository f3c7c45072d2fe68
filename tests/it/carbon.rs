//! Factors and the carbon of electricity against what is published.

use crate::config::Folder;
use chrono::NaiveDate;
use inkwatt::carbon::{self, Beside, FactorSet, Gas, Market, Method, Status, warming};
use inkwatt::plant::Plant;
use inkwatt::readings::{Fate, Instrument, InstrumentKind};
use inkwatt::time::{At, HOUR, Month, Period};
use inkwatt::units::{Co2e, Decimal, Energy};

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

/// The same year under sets that a plant enters itself: Germany 2024, CO2 alone (UBA 16/2026: 353 g), and France 2024 (RTE annual
/// balance: 21.3 g); own calculation of the tonnes.
#[test]
fn a_year_of_the_open_dataset_under_sets_that_are_entered() {
    let start = At::parse("2025-06-01T10:00:00Z").expect("an instant");
    let used = || [(Period::new(start, start + HOUR / 4), Some(Energy::from_wh(959_636_710)))];
    let tonnes = |lines: &str| {
        let lines = format!("region = \"XX\"\nunit = \"g/kWh\"\n{lines}");
        let found = carbon::of(&plant("XX"), &own(&lines), used()).value;
        (format!("{:.3}", found.co2e().kg() / 1_000.0), found.co2_only())
    };
    assert_eq!(tonnes("generation = 353\nco2_only = true\ngwp = \"none\""), ("338.752".into(), true));
    assert_eq!(tonnes("generation = 21.3\ngwp = \"AR5\""), ("20.440".into(), false));
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

/// The market-based carbon of whole kilowatt-hours in a grid, all on the first of June of a year.
fn by_market(sets: &[FactorSet], plant: &Plant, year: i32, kwh: i64, papers: &[Instrument]) -> Market {
    let start = At::parse(&format!("{year}-06-01T10:00:00Z")).expect("an instant");
    let used = [(Period::new(start, start + HOUR / 4), Some(Energy::from_wh(kwh * 1_000)))];
    carbon::market(plant, sets, papers, year_of(year), used)
}

fn year_of(year: i32) -> (NaiveDate, NaiveDate) {
    let date = |month, day| NaiveDate::from_ymd_opt(year, month, day).expect("a date");
    (date(1, 1), date(12, 31))
}

/// A cancelled certificate of a year with nothing emitted.
pub fn certificate(id: &str, market: &str, year: i32, kwh: i64) -> Instrument {
    let (from, to) = year_of(year);
    Instrument {
        id: id.into(),
        kind: InstrumentKind::Certificate,
        energy: Energy::from_wh(kwh * 1_000),
        from,
        to,
        market: market.into(),
        source: "wind".into(),
        factor: Decimal::whole(0),
        fate: Fate::Cancelled { on: to, beneficiary: "Quillhaven Labels".into() },
        own_site: false,
        bundled: None,
        carries_rate: Some(true),
        only_claim: Some(true),
    }
}

fn residual(region: &str, factor: &str, more: &str) -> Vec<FactorSet> {
    own(&format!("method = \"residual\"\nregion = \"{region}\"\ngeneration = {factor}\ngwp = \"AR5\"\n{more}"))
}

/// Australian NGA Factors 2025, example 2 (quoted by a third party; arithmetic checked): 11.3 GWh, a renewable power
/// percentage of 18.195 %, 1,300 certificates of 1 MWh surrendered, 500 of them from the site's own generation, residual
/// mix 0.81: 8,443,965 kWh and 6,839.61165 t.
#[test]
fn the_national_example_of_the_market_based_method_comes_out() {
    let sets = residual("AU", "0.81", "");
    let own_roof = Instrument { own_site: true, ..certificate("own roof", "AU", 2025, 500_000) };
    // 11,300,000 x 0.18195 kWh come by law with what the supplier surrenders.
    let by_law = Instrument { energy: Energy::from_wh(2_056_035_000), ..certificate("by law", "AU", 2025, 0) };
    let papers = [certificate("bought", "AU", 2025, 800_000), own_roof, by_law];
    let plant = Plant { markets: vec!["AU".into()], ..plant("AU") };
    let found = by_market(&sets, &plant, 2025, 11_300_000, &papers);
    assert_eq!(found.lines.last().expect("a rest").energy, Energy::from_wh(8_443_965_000));
    assert_eq!(found.co2e(), Co2e::from_mg(6_839_611_650_000));
    assert_eq!(found.refused.iter().map(|(one, _)| one.id.as_str()).collect::<Vec<_>>(), ["own roof"]);
}

/// 1,000 MWh in Germany in 2024 with guarantees of origin for 400 MWh (own computation from UBA 16/2026, 0.361 kg CO2e, and
/// a residual mix of 724.56 g CO2 in one third-party file): 361.000 t by location, 434.736 t CO2 by the market.
#[test]
fn both_methods_stand_side_by_side_and_carbon_dioxide_alone_is_labelled() {
    let mut sets = factors();
    let lines =
        "method = \"residual\"\nregion = \"DE\"\nunit = \"g/kWh\"\ngeneration = 724.56\nco2_only = true\ngwp = \"AR5\"";
    let text = set(lines).replace("2025-01-01", "2024-01-01").replace("2025-12-31", "2024-12-31");
    sets.extend(
        Folder::sound().with("config/factors/own.toml", &text).load().factors.into_iter().filter(|s| s.co2_only),
    );
    let plant = Plant { markets: vec!["DE".into()], ..plant("DE") };
    assert_eq!(of(&sets, "DE", 2024, 1_000_000).co2e(), Co2e::from_mg(361_000_000_000));
    let found = by_market(&sets, &plant, 2024, 1_000_000, &[certificate("GO", "DE", 2024, 400_000)]);
    assert_eq!((found.co2e(), found.co2_only()), (Co2e::from_mg(434_736_000_000), true));
    assert!(!found.lacks_residual());
}

#[test]
fn without_a_residual_mix_the_grid_average_stands_in_and_that_is_said() {
    let plant = plant("GB");
    let found = by_market(&factors(), &plant, 2025, 1_000, &[]);
    assert_eq!((found.co2e(), found.lacks_residual()), (of(&factors(), "GB", 2025, 1_000).co2e(), true));
    assert_eq!(
        by_market(&factors(), &Plant { grid: "XX".into(), ..plant }, 2025, 1_000, &[]).without,
        Energy::from_wh(1_000_000)
    );
}

#[test]
fn a_supplier_rate_ranks_before_the_residual_mix_and_below_certificates() {
    let mut sets = residual("GB", "0.35", "");
    sets.extend(
        own("method = \"supplier\"\nregion = \"GB\"\ngeneration = 0.1\ngwp = \"AR5\"")
            .into_iter()
            .filter(|s| s.method == Method::Supplier),
    );
    let found = by_market(&sets, &plant("GB"), 2025, 1_000, &[certificate("c", "GB", 2025, 400)]);
    let ranks: Vec<(usize, i64)> =
        found.lines.iter().map(|line| (line.by.rank(), line.energy.mwh() / 1_000_000)).collect();
    assert_eq!((ranks, found.co2e()), (vec![(0, 400), (2, 600)], Co2e::from_mg(60_000_000)));
}

#[test]
fn an_instrument_that_fails_a_criterion_covers_nothing_and_the_criterion_is_named() {
    let fails = |one: Instrument| -> Vec<usize> {
        let found = by_market(&factors(), &plant("GB"), 2025, 1_000, &[one]);
        assert_eq!(found.covered(), Energy::ZERO);
        let failed = |check: &&carbon::Check| matches!(check.answer, carbon::Answer::Failed(_));
        found.refused[0].1.iter().filter(failed).map(|check| check.criterion.number()).collect()
    };
    let sound = certificate("c", "GB", 2025, 400);
    assert_eq!(fails(Instrument { carries_rate: Some(false), ..sound.clone() }), [1]);
    assert_eq!(fails(Instrument { only_claim: Some(false), ..sound.clone() }), [2]);
    assert_eq!(fails(Instrument { fate: Fate::Held, ..sound.clone() }), [3]);
    assert_eq!(fails(Instrument { fate: Fate::Sold, ..sound.clone() }), [3]);
    assert_eq!(fails(certificate("c", "GB", 2024, 400)), [4]);
    assert_eq!(fails(certificate("c", "DE", 2025, 400)), [5]);
    let asked = Instrument { carries_rate: None, only_claim: None, ..sound };
    let found = by_market(&factors(), &plant("GB"), 2025, 1_000, &[asked]);
    assert_eq!(found.covered(), Energy::from_wh(400_000));
    let open = |check: &&carbon::Check| matches!(check.answer, carbon::Answer::Asked(_));
    assert_eq!(found.checks[0].1.iter().filter(open).count(), 2);
}

/// Certificates for a year, applied month by month: the months add up to the year, whatever its months drew, and nothing
/// is counted twice. What a month cannot use is left over and said.
#[test]
fn a_certificate_is_never_counted_twice() {
    let plant = plant("GB");
    let mut seed = 7_u64;
    let mut next = |below: u64| {
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (seed >> 33) % below
    };
    for _ in 0..200 {
        let (first, last) = year_of(2025);
        let from = first + chrono::Days::new(next(200));
        let to = from + chrono::Days::new(next(400));
        let mut one = certificate("c", "GB", 2025, next(5_000) as i64 + 1);
        (one.from, one.to) = (from, to);
        let drawn: Vec<(Period, Option<Energy>)> = first
            .iter_days()
            .take_while(|day| *day <= last)
            .map(|day| {
                let start = plant.zone.day(day).start;
                (Period::new(start, start + HOUR / 4), Some(Energy::from_mwh(next(20_000_000) as i64)))
            })
            .collect();
        let papers = std::slice::from_ref(&one);
        let mut used = Energy::ZERO;
        for month in 1..=12 {
            let month = Month { year: 2025, month };
            let days = (month.first(), month.days().last().expect("a day"));
            let span = plant.zone.month(month);
            let of_month: Vec<_> = drawn.iter().copied().filter(|(period, _)| span.contains(period.start)).collect();
            let found = carbon::market(&plant, &factors(), papers, days, of_month.iter().copied());
            let all: Energy = of_month.iter().filter_map(|(_, energy)| *energy).sum();
            assert_eq!(found.lines.iter().map(|line| line.energy).sum::<Energy>() + found.without, all);
            used += found.covered() + found.left.iter().map(|(_, energy)| *energy).sum::<Energy>();
        }
        let whole = carbon::market(&plant, &factors(), papers, (first, last), drawn.iter().copied());
        assert_eq!(used, whole.covered() + whole.left.iter().map(|(_, energy)| *energy).sum::<Energy>());
        let later = (last.succ_opt().expect("a day"), NaiveDate::from_ymd_opt(2026, 12, 31).expect("a date"));
        let rest = carbon::market(&plant, &factors(), papers, later, []);
        assert_eq!(used + rest.left.iter().map(|(_, energy)| *energy).sum::<Energy>(), one.energy);
    }
}
