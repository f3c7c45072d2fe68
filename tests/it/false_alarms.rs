//! The false alarms of a plant of which nothing is wrong, simulated over seeds, against the rate that was configured.

use chrono::{Days, NaiveDate};
use inkwatt::config;
use inkwatt::time::{At, HOUR, MINUTE, Period};
use inkwatt::units::{Energy, Money};
use inkwatt::verify::Cured;
use inkwatt::watch::{Day, Drew, Fitted, Gateways, Piece, Terms, Watch};
use rand_pcg::Pcg32;
use rand_pcg::rand_core::{Rng, SeedableRng};
use std::collections::BTreeMap;
use std::fs;
use tempfile::TempDir;

/// Stations of the plant.
const STATIONS: usize = 20;
/// Days that are simulated; a station cures on each of them.
const DAYS: u64 = 500;
/// Days of the reference, on which no chart runs.
const REFERENCE: u64 = 40;
/// Plants.
const SEEDS: u64 = 40;
/// Half hours of curing in a day.
const PIECES: i64 = 8;
/// What a day carries of the day before, as daily draws of presses do (rule 27 of the design; 0.35).
const RHO: f64 = 0.35;
/// A day differs by this part from the next, and a half hour by as much again.
const SPREAD: f64 = 0.01;

struct Chance(Pcg32);

impl Chance {
    /// A normal value (Box and Muller 1958).
    fn normal(&mut self) -> f64 {
        let mut uniform = || (f64::from(self.0.next_u32()) + 0.5) / 4_294_967_296.0;
        (-2.0 * uniform().ln()).sqrt() * (std::f64::consts::TAU * uniform()).cos()
    }
}

fn plant() -> inkwatt::plant::Plant {
    let folder = TempDir::new().expect("a folder");
    let stations: Vec<String> =
        (1..=STATIONS).map(|k| format!("{{ id = 's{k}', name = 'S{k}', does = 'ink', lamp = 'a{k}' }}")).collect();
    let assets: Vec<String> = (1..=STATIONS).map(|k| format!("{{ id = 'a{k}' }}")).collect();
    let text = format!(
        "[plant]\nname = 'Hall'\nzone = 'Europe/London'\ncurrency = 'GBP'\ngrid = 'GB'\n\
         [[lamps]]\ntype = 'arc'\nkind = 'arc'\nlength_mm = 400\nw_per_cm = 100\nrated_at = 'lamp'\n\
         bands = {{ standby_w = 600, curing_w = 1500, hysteresis_w = 50, dwell = '10s' }}\nassets = [{}]\n\
         [[press]]\nid = 'p1'\nname = 'Press 1'\nmoving_above = 3\nstations = [{}]\n\
         [[meter]]\nid = 'p1'\ncovers = {{ press = 'p1' }}\nboundary = {{ point = 'press-main' }}\nmax_kw = 100\n\
         interval = '1min'\ndevice = [{{ serial = 'X', wh_per_count = 1 }}]\n",
        assets.join(", "),
        stations.join(", ")
    );
    fs::create_dir(folder.path().join("config")).expect("a folder");
    fs::write(folder.path().join("config/plant.toml"), text).expect("written");
    config::load(folder.path()).expect("a configuration").plant
}

/// A day on which every station draws what it should.
fn day(date: NaiveDate, start: At, carried: &mut [f64], chance: &mut Chance) -> Day {
    let (mut drew, mut pieces) = (BTreeMap::new(), Vec::new());
    for (k, carried) in carried.iter_mut().enumerate() {
        *carried = RHO * *carried + (1.0 - RHO * RHO).sqrt() * SPREAD * chance.normal();
        let fitted: Fitted = (format!("p1/s{}", k + 1).as_str().into(), 1);
        let mut energy = Energy::ZERO;
        for piece in 0..PIECES {
            let watts = 2_000.0 * (1.0 + *carried + SPREAD * chance.normal());
            let drawn = Energy::from_mwh((watts * 500.0).round() as i64);
            let begin = start + 8 * HOUR + piece * 30 * MINUTE;
            let period = Period::new(begin, begin + 30 * MINUTE);
            let cured = Cured { millis: 30 * MINUTE, signalled: 0, level_millis: 0 };
            pieces.push((fitted.clone(), Piece { period, energy: drawn, cost: Money::ZERO, cured }));
            energy += drawn;
        }
        let cured = Cured { millis: PIECES * 30 * MINUTE, signalled: 0, level_millis: 0 };
        drew.insert(fitted, Drew { energy, cost: Money::ZERO, cured, is_lost: false });
    }
    pieces.sort_by(|(a, one), (b, other)| (a, one.period).cmp(&(b, other.period)));
    let until = Some(start + 24 * HOUR);
    Day { date, drew, pieces, stands: Vec::new(), waits: Vec::new(), peaks: Vec::new(), troubles: Vec::new(), until }
}

/// All findings are false here. False rises come in clusters, for a station with a poor reference tells of several: what the count leaves
/// unsure is taken from how far plants differ.
#[test]
fn a_plant_of_which_nothing_is_wrong_raises_no_more_than_was_configured() {
    let plant = plant();
    let terms = Terms { false_alarms_a_year: 4.0, ..Terms::default() };
    let (mut rates, mut of_hours) = (Vec::new(), 0);
    let years = (DAYS - REFERENCE) as f64 / 365.25;
    for seed in 0..SEEDS {
        let mut chance = Chance(Pcg32::seed_from_u64(20_261_127 + seed));
        let mut watch = Watch::new(&plant, terms, Gateways::new());
        let mut carried: Vec<f64> = (0..STATIONS).map(|_| SPREAD * chance.normal()).collect();
        let first = NaiveDate::from_ymd_opt(2025, 1, 1).expect("a day");
        for number in 0..DAYS {
            let date = first + Days::new(number);
            watch.take(&day(date, plant.zone.day(date).start, &mut carried, &mut chance));
        }
        let watched = watch.findings();
        assert_eq!(watched.charted, STATIONS);
        let by_hours =
            |evidence: &Vec<String>| evidence.iter().any(|sentence| sentence.contains("hours of its reference"));
        of_hours += watched.findings.iter().filter(|finding| by_hours(&finding.evidence)).count();
        rates.push(watched.findings.len() as f64 / years);
    }
    let mean = rates.iter().sum::<f64>() / rates.len() as f64;
    let variance = rates.iter().map(|rate| (rate - mean).powi(2)).sum::<f64>() / (rates.len() - 1) as f64;
    let error = (variance / rates.len() as f64).sqrt();
    println!(
        "{mean:.2} ± {error:.2} false alarms a year in {SEEDS} plants of {STATIONS} stations, where {} were configured; {of_hours} of {:.0} \
         are hours",
        terms.false_alarms_a_year,
        mean * years * SEEDS as f64
    );
    assert!(mean - 2.0 * error <= terms.false_alarms_a_year, "{mean} ± {error}");
    assert!(mean > 1.0, "a rate that nothing comes near would hide what is wrong: {mean}");
}
