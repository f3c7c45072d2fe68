//! Claims about the figures of several sites, each with its closed months in a file.

use super::{configuration_in, year};
use crate::closing::{close, final_factors, known, trued_up};
use crate::report::command::{inkwatt, told};
use inkwatt::report::filing::{SiteError, SiteMonth, SiteYear, Totals};
use inkwatt::time::Month;
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use tempfile::TempDir;

/// A plant with January and February 2025 closed, under another name and in another grid where one is given.
fn site(name: &str) -> TempDir {
    let folder = known();
    let file = folder.path().join("config/plant.toml");
    let text = fs::read_to_string(&file).expect("a configuration");
    let line = text.lines().find(|line| line.starts_with("name = ")).expect("a name").to_owned();
    fs::write(&file, text.replacen(&line, &format!("name = \"{name}\""), 1)).expect("a file");
    for month in [1, 2] {
        close(folder.path(), Month { year: 2025, month });
    }
    folder
}

/// Files a year; gives the path of its site.json.
fn filed(folder: &Path, arguments: &[&str]) -> PathBuf {
    let output = inkwatt(folder, &[&["filing", "2025"], arguments].concat());
    assert_eq!(told(&output), (Some(0), String::new()));
    folder.join("reports/2025/site.json")
}

fn refusal(folder: &Path, files: &[&Path]) -> String {
    let mut arguments = vec!["filing", "2025"];
    for file in files {
        arguments.extend(["--site", file.to_str().expect("a path")]);
    }
    let (code, words) = told(&inkwatt(folder, &arguments));
    assert_eq!(code, Some(2), "{words}");
    words
}

/// The values of the figures, by site and figure with its unit.
fn values(folder: &Path) -> BTreeMap<(String, String), String> {
    let mut reader = csv::Reader::from_path(folder.join("reports/2025/filing.csv")).expect("a table");
    let rows = reader.records().map(|row| row.expect("a row"));
    rows.map(|row| ((row[12].into(), format!("{} {}", &row[4], &row[5])), row[6].into())).collect()
}

fn count(text: &str) -> i128 {
    text.replace('.', "").parse().unwrap_or_else(|_| panic!("{text}"))
}

#[test]
fn figures_of_several_sites_are_the_sum_of_theirs_to_the_unit() {
    let (own, north) = (site("Ours"), site("North"));
    let file = filed(north.path(), &[]);
    filed(own.path(), &[]);
    let alone = values(own.path());
    filed(own.path(), &["--site", file.to_str().expect("a path")]);
    let together = values(own.path());
    for figure in ["electricity MWh", "scope2-location t", "scope2-market t"] {
        let of = |site: &str| count(&together[&(site.to_owned(), figure.to_owned())]);
        assert_eq!(of("all sites"), of("Ours") + of("North"), "{figure}");
        assert_eq!(of("Ours"), count(&alone[&("Ours".into(), figure.into())]), "{figure}");
        assert!(of("North") > 0);
    }
    let page = fs::read_to_string(own.path().join("reports/2025/filing.html")).expect("a page");
    for part in [
        "<caption>Sites</caption>",
        "Of North 2 of 12 months are closed; 2025-03 to 2025-12 are in no figure.",
        "Ours: 2 of 12 months are closed; what is known of 2025-03 to 2025-12 is in the figures and may still change.",
    ] {
        assert!(page.contains(part), "{part}");
    }
    // Factor by factor the rows of a site and method come to its total, to the milligram.
    let mut reader = csv::Reader::from_path(own.path().join("reports/2025/sites.csv")).expect("a table");
    let rows: Vec<csv::StringRecord> = reader.records().map(|row| row.expect("a row")).collect();
    for (site, method) in [("Ours", "location"), ("North", "location"), ("Ours", "market"), ("North", "market")] {
        let of = rows.iter().filter(|row| (&row[0], &row[4]) == (site, method));
        let sum: i128 = of.clone().map(|row| count(&row[12])).sum();
        // A tonne is 1,000 kg: both are written with all their decimals.
        assert_eq!(sum, count(&together[&(site.to_owned(), format!("scope2-{method} t"))]), "{site} {method}");
        assert!(of.clone().count() > 0);
    }
    let first = &rows[0];
    assert_eq!([&first[0], &first[1], &first[3], &first[7]], ["Ours", "GB", "2025-01.0 2025-02.0", "2025"]);
}

#[test]
fn a_file_that_does_not_belong_there_is_refused_with_its_name() {
    let (own, north) = (site("Ours"), site("North"));
    let file = filed(north.path(), &[]);
    let ours = filed(own.path(), &[]);
    let twice = refusal(own.path(), &[&file, &file]);
    assert!(twice.contains("site.json: a file of North is given already, with the same months; name one"), "{twice}");
    assert!(refusal(own.path(), &[&ours]).contains("site.json: is of Ours, the plant that files"));
    let text = fs::read_to_string(&file).expect("a file");
    let other = own.path().join("north.json");
    fs::write(&other, text.replacen("\"estimated\": 0", "\"estimated\": 1", 1)).expect("a file");
    assert!(refusal(own.path(), &[&other]).contains("north.json: was changed after it was written"));
    fs::write(&other, "{}").expect("a file");
    assert!(refusal(own.path(), &[&other]).contains("north.json: is no site.json as inkwatt filing writes it"));
    assert!(refusal(own.path(), &[&own.path().join("none.json")]).contains("none.json: there is no such file"));
}

/// What came late, or factors that changed since the closing, keep a site from handing on what was not closed.
#[test]
fn only_what_was_closed_is_handed_on() {
    let north = site("North");
    final_factors(north.path(), "0.20000");
    let output = inkwatt(north.path(), &["filing", "2025"]);
    let words = String::from_utf8(output.stdout).expect("UTF-8");
    assert!(words.contains("site.json is not written: its closed months have"), "{words}");
    assert!(words.contains("`inkwatt close --true-up 2025` states them anew"), "{words}");
    assert!(!north.path().join("reports/2025/site.json").exists());
    let page = || fs::read_to_string(north.path().join("reports/2025/filing.html")).expect("a page");
    assert!(page().contains("Closed months come out otherwise today than they were closed"));
    assert!(page().contains("Carbon is provisional until inkwatt close --true-up 2025."));
    trued_up(north.path(), "").expect("trued up");
    let site = SiteYear::parse(&fs::read_to_string(filed(north.path(), &[])).expect("a file")).expect("a site");
    assert!(site.months.iter().all(|month| month.true_up && month.sequence == 1), "{site:?}");
    assert_eq!((site.totals.provisional, site.months.len()), (false, 2));
    assert!(page().contains("Their carbon is trued up.") && !page().contains("otherwise today"));
}

fn of_a_site(name: &str, certificate_kwh: i64) -> SiteYear {
    let configuration = configuration_in(name);
    let month = SiteMonth { month: "2025-01".into(), sequence: 0, closing: "c0ffee".into(), true_up: false };
    SiteYear::of(&configuration.plant, &year(&configuration, 2025, certificate_kwh), vec![month], "0.1.0")
}

/// Whichever bit of the file is flipped, it is not read.
#[test]
fn a_flipped_bit_of_the_file_of_a_site_is_found() {
    let site = of_a_site("North", 100);
    let bytes = site.file();
    assert_eq!(SiteYear::parse(std::str::from_utf8(&bytes).expect("UTF-8")), Ok(site));
    for k in 0..bytes.len() - 1 {
        let mut changed = bytes.clone();
        changed[k] ^= 1;
        let found = SiteYear::parse(std::str::from_utf8(&changed).expect("the lowest bit of ASCII"));
        assert!(matches!(found, Err(SiteError::Form(_) | SiteError::Changed)), "byte {k}");
    }
}

/// What one site does not know, all together do not know either; a certificate is spent once.
#[test]
fn the_unknown_of_one_site_is_unknown_of_all_and_a_certificate_is_not_spent_twice() {
    use inkwatt::carbon::filing::Datum;
    let known = of_a_site("North", 100).totals;
    let both = known.plus(&Totals { location: None, web: None, ..known.clone() });
    assert_eq!((both.value(Datum::Location), both.value(Datum::ElectricityPerWeb)), (None, None));
    assert_eq!(both.value(Datum::Electricity), known.value(Datum::Electricity).map(|count| 2 * count));
    // 30,000 of 35,040 kWh each, of a certificate that stands for 30,000.
    let sites =
        |kwh| inkwatt::report::filing::Sites { own: of_a_site("Ours", kwh), others: vec![of_a_site("North", kwh)] };
    assert_eq!(sites(30_000).overspent(), ["c at Ours and North"]);
    assert_eq!(sites(0).overspent(), Vec::<String>::new());
}

/// What is not alike at all sites is said, and what is alike is not.
#[test]
fn sites_with_other_time_zones_or_warming_potentials_are_labelled() {
    let mut sites = inkwatt::report::filing::Sites { own: of_a_site("Ours", 0), others: vec![of_a_site("North", 0)] };
    assert_eq!(sites.notes(), ["Of North 1 of 12 months are closed; 2025-02 to 2025-12 are in no figure."]);
    let north = &mut sites.others[0];
    north.zone = "Europe/Oslo".into();
    north.factors.iter_mut().for_each(|of| of.potentials = "AR6".into());
    let month = |month| SiteMonth { month: format!("2025-{month:02}"), ..north.months[0].clone() };
    north.months = (1..=12).filter(|each| ![3, 7, 8].contains(each)).map(month).collect();
    assert_eq!(
        sites.notes(),
        [
            "Of North 9 of 12 months are closed; 2025-03 and 2025-07 to 2025-08 are in no figure.",
            "Sites lie in several time zones (Europe/London, Europe/Oslo); days and months are those of each.",
            "Sites use different warming potentials (AR5, AR6); their sum is of both.",
        ]
    );
}
