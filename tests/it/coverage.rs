//! Whether a stated interval holds what it claims: savings of invented presses whose truth is known, noise, drivers and
//! meter errors drawn anew for each seed. The truth is the noisy counterfactual less the actual draw.

use crate::baseline::PRESS;
use chrono::{Days, NaiveDate};
use inkwatt::config;
use inkwatt::plant::{Load, Plant};
use inkwatt::time::{At, Period};
use inkwatt::units::Energy;
use inkwatt::verify::baseline::{Form, Frozen, Kind, Least, Provenance, boundaries, fit};
use inkwatt::verify::savings::{Reporting, savings};
use inkwatt::verify::{Conditions, Confidence, Day, DayType, Driver, LoadBy, Scope};
use std::collections::BTreeMap;
use std::fs;
use tempfile::TempDir;

/// Autocorrelation and spread of the noise, as of the synthetic press of `tests/reference/mv_synthetic`.
const RHO: f64 = 0.35;
const SPREAD: f64 = 70.0;

/// Numbers that look random and are the same everywhere: splitmix64 (Steele, Lea, Flood 2014).
struct Chance(u64);

impl Chance {
    fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Box and Muller 1958.
    fn normal(&mut self) -> f64 {
        let (u, v) = (1.0 - self.uniform(), self.uniform());
        (-2.0 * u.ln()).sqrt() * (std::f64::consts::TAU * v).cos()
    }

    /// Noise of consecutive days: AR(1) with the stationary spread.
    fn noise(&mut self, days: usize) -> Vec<f64> {
        let mut last = self.normal() * SPREAD;
        let innovation = SPREAD * (1.0 - RHO * RHO).sqrt();
        let mut noise = Vec::with_capacity(days);
        for _ in 0..days {
            noise.push(last);
            last = RHO * last + innovation * self.normal();
        }
        noise
    }
}

fn date(text: &str) -> NaiveDate {
    text.parse().expect("a date")
}

/// Days of work and rest: web length on five days a week, none on two.
fn web(chance: &mut Chance, days: usize) -> Vec<f64> {
    (0..days).map(|day| if day % 7 < 5 { 40.0 + 60.0 * chance.uniform() } else { 0.0 }).collect()
}

fn day(first: NaiveDate, nth: usize, web_km: f64, kwh: f64) -> Day {
    let energy = Energy::from_mwh((kwh * 1e6).round() as i64);
    Day {
        date: first + Days::new(nth as u64),
        hours: 24.0,
        kind: if web_km > 0.0 { DayType::Running } else { DayType::Idle },
        energy,
        aside: None,
        worked: BTreeMap::new(),
        on_job_h: None,
        outside_h: None,
        curing: BTreeMap::new(),
        powers: BTreeMap::new(),
        loads: BTreeMap::from([(("p1-main".into(), Load::Unrated, LoadBy::Usual), energy)]),
        drivers: BTreeMap::from([(Driver::WebKm, web_km)]),
    }
}

/// Whether the 90 % interval of one invented press holds its true saving.
fn holds(plant: &Plant, seed: u64) -> bool {
    let mut chance = Chance(seed.wrapping_mul(0x5851_F42D_4C95_7F2D));
    let old = |web: f64| 210.0 + 9.6 * web;
    let new = |web: f64| 150.0 + 5.4 * web;
    // Class 1 with transformers of class 0.5, rectangular.
    let gain = 1.0 + 0.010 * (2.0 * chance.uniform() - 1.0) + 0.005 * (2.0 * chance.uniform() - 1.0);
    let (web_before, web_after) = (web(&mut chance, 365), web(&mut chance, 90));
    let (noise_before, noise_after) = (chance.noise(365), chance.noise(90));
    let actual: Vec<f64> = web_after.iter().map(|web| new(*web) + 20.0 * chance.normal()).collect();
    let counterfactual: f64 = web_after.iter().zip(&noise_after).map(|(web, noise)| old(*web) + noise).sum();
    let truth = counterfactual - actual.iter().sum::<f64>();

    let (first, then) = (date("2023-01-01"), date("2024-02-01"));
    let before: Vec<Day> =
        (0..365).map(|k| day(first, k, web_before[k], gain * (old(web_before[k]) + noise_before[k]))).collect();
    let after: Vec<Day> = (0..90).map(|k| day(then, k, web_after[k], gain * actual[k])).collect();
    let scope = Scope::of(plant, &"p1".into()).expect("a press");
    let span = Period::new(plant.zone.day(then).start, plant.zone.day(after[89].date).end);
    let boundary = boundaries(plant, &scope, span).expect("measured");
    let fitted = fit(&Form::daily(&[Driver::WebKm]), &before, Least::Usual).expect("a fit");
    let provenance = Provenance {
        at: At::parse("2024-01-01T00:00:00Z").expect("an instant"),
        author: "test".into(),
        reason: "coverage".into(),
        data: String::new(),
        program: String::new(),
        rules: 0,
    };
    let period = (first, before[364].date);
    let conditions = Conditions::of(plant, &before);
    let frozen = Frozen::new(&scope, Kind::Metered, period, &fitted, boundary.clone(), conditions, provenance);
    let reporting = Reporting { plant, boundary, events: &[], baseline: &before };
    let saved = savings(&frozen.expect("frozen"), &after, &reporting).expect("a saving");
    assert!(saved.parts.meters.is_some_and(|kwh| kwh > 0.0), "the meters' part is counted");
    let (low, high) = saved.avoided.interval(Confidence::P90);
    (low..=high).contains(&truth)
}

fn covered(seeds: u64) -> usize {
    let folder = TempDir::new().expect("a folder");
    fs::create_dir(folder.path().join("config")).expect("a folder");
    fs::write(folder.path().join("config/plant.toml"), PRESS).expect("written");
    let plant = config::load(folder.path()).expect("a configuration").plant;
    (0..seeds).filter(|seed| holds(&plant, *seed)).count()
}

/// Of 500 independent intervals at 90 %, 87 to 93 % hold the truth: the spread of a binomial count is 6.7, so this is
/// within about two of it.
#[test]
fn an_interval_at_90_per_cent_holds_the_truth_in_87_to_93_of_100_presses() {
    let covered = covered(500);
    println!("{covered} of 500 intervals at 90 % hold the true saving");
    assert!((435..=465).contains(&covered), "{covered} of 500");
}
