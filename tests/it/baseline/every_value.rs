//! Every value of `expected.json` that the program computes, through import, baseline and verify; the others stand below
//! by name with the reason. A value in neither list fails.

use super::*;
use inkwatt::stats::gum;
use inkwatt::stats::savings_uncertainty::effective_points;
use inkwatt::stats::student::two_sided;
use inkwatt::verify::baseline::{Least, Points, fit};
use inkwatt::verify::savings::{Metering, Parts};
use std::collections::{BTreeMap, BTreeSet};

/// What is not compared: places of the reference and all below them.
const NOT_COMPARED: &[(&str, &str)] = &[
    ("meta", "how the data were made"),
    ("daily/label", "a heading"),
    ("monthly/label", "a heading"),
    ("daily/poly_abc", "constants of formula C, of which the program states the result: poly_value"),
    ("monthly/poly_abc", "as of the daily model"),
    ("daily/cv_rmse_n", "the program states CV(RMSE) with n - p only"),
    ("monthly/cv_rmse_n", "as of the daily model"),
    ("daily/meter_combination/assumption", "a sentence"),
    ("daily/meter_combination/u_rel_meter", "the program keeps the two limits combined: u_rel_total"),
    ("daily/meter_combination/u_rel_ct", "as above"),
    ("daily/holdout_fit_jan_sep_test_oct_dec/nmbe_test_n_minus_1", "the program divides by n"),
    ("daily/holdout_fit_jan_sep_test_oct_dec/cv_rmse_test_n_minus_1", "as above"),
    ("daily/monitoring", "no step of verify; compared in tests/it/stats/press.rs"),
    ("daily/monte_carlo_coverage_90pct", "a simulation; ours is tests/it/coverage.rs"),
    ("float64_statsmodels_crosscheck/dffits_max_abs", "the program names days by Cook's distance and leverage"),
    ("float64_statsmodels_crosscheck/rstudent_max_abs", "as above"),
    ("float64_statsmodels_crosscheck/aic", "the program chooses by BIC"),
    ("float64_statsmodels_crosscheck/loglik", "as above"),
    ("float64_statsmodels_crosscheck/pred_first_day/se_mean", "no step of verify states the error of a single day"),
    ("float64_statsmodels_crosscheck/pred_first_day/se_obs", "as above; compared in tests/it/stats/press.rs"),
    ("float64_statsmodels_crosscheck/newey_west_se_lag7", "carry-over is taken by AR(1), formula E"),
];

const CONFIDENCES: [(f64, &str); 4] = [(0.68, "0.68"), (0.80, "0.80"), (0.90, "0.90"), (0.95, "0.95")];
const FORMULAS: [&str; 5] = [
    "fsu_A_uncorrelated_1_26",
    "fsu_B_autocorr_1_26_n_over_nprime",
    "fsu_C_poly_mse_prime_t_n",
    "fsu_D_exact_ols_iid",
    "fsu_E_exact_ols_ar1",
];

/// The values of the reference by their place, `daily/coef/0`, and which of them have been compared.
struct Reference {
    values: BTreeMap<String, Value>,
    compared: BTreeSet<String>,
}

impl Reference {
    fn read() -> Self {
        fn leaves(value: &Value, place: String, into: &mut BTreeMap<String, Value>) {
            let below = |key: &str| if place.is_empty() { key.to_owned() } else { format!("{place}/{key}") };
            match value {
                Value::Object(each) => each.iter().for_each(|(key, value)| leaves(value, below(key), into)),
                Value::Array(each) => {
                    each.iter().enumerate().for_each(|(k, value)| leaves(value, below(&k.to_string()), into));
                }
                value => drop(into.insert(place, value.clone())),
            }
        }
        let mut values = BTreeMap::new();
        leaves(&expected(), String::new(), &mut values);
        Self { values, compared: BTreeSet::new() }
    }

    /// A value is the reference's to a billionth; where that is zero, to 1e-12.
    #[track_caller]
    fn same(&mut self, place: &str, found: f64) {
        let value = self.values.get(place).unwrap_or_else(|| panic!("{place} is not in the reference"));
        let expected = number(value);
        let near = if expected.abs() < 1e-40 { found.abs() < 1e-12 } else { (found / expected - 1.0).abs() < 1e-9 };
        assert!(near, "{place}: {found:e} for {expected:e}");
        self.compared.insert(place.to_owned());
    }

    #[track_caller]
    fn all(&mut self, within: &str, found: &[(&str, f64)]) {
        found.iter().for_each(|(name, found)| self.same(&format!("{within}/{name}"), *found));
    }

    #[track_caller]
    fn list(&mut self, place: &str, found: impl IntoIterator<Item = f64>) {
        let found: Vec<f64> = found.into_iter().collect();
        let within = format!("{place}/");
        let expected = self.values.keys().filter(|key| key.starts_with(&within)).count();
        assert_eq!(found.len(), expected, "{place}");
        found.iter().enumerate().for_each(|(k, found)| self.same(&format!("{place}/{k}"), *found));
    }
}

/// The model that the command prints.
fn model_agrees(reference: &mut Reference, part: &str, found: &Value) {
    let of = |name: &str| number(&found[name]);
    for name in ["coef", "se", "t"] {
        let ours = if name == "coef" { "coefficient" } else { name };
        let terms = found["terms"].as_array().expect("terms").iter();
        reference.list(&format!("{part}/{name}"), terms.map(|term| number(&term[ours])));
    }
    let (n, p, sse, r2, effective) = (of("n"), of("p"), of("sse"), of("r2_about_mean"), of("effective_points"));
    goes_together(found);
    let bias = found["criteria"].as_array().expect("criteria").iter().find(|c| c["what"] == "NMBE in sample");
    let row = |most: &str| row_of(&found["interval"], found[most][0].as_str().expect("a date"));
    let (cook, leverage) = (row("cook_max"), row("leverage_max"));
    reference.all(
        part,
        &[
            ("n", n),
            ("p", p),
            ("sse", sse),
            ("sst", sse / (1.0 - r2)),
            ("mse", of("rmse_kwh").powi(2)),
            ("rmse", of("rmse_kwh")),
            ("ybar", of("mean_kwh")),
            ("cv_rmse_n_minus_p", of("cv_rmse")),
            ("nmbe_in_sample", number(&bias.expect("a bias")["found"])),
            ("r2", r2),
            // The reference has these about the mean also of a monthly model, whose days stand for the constant; the
            // program has them about zero there, and says so, as NIST has them.
            ("r2_adj", 1.0 - (1.0 - r2) * (n - 1.0) / (n - p)),
            ("F_stat", r2 / (1.0 - r2) * (n - p) / (p - 1.0)),
            ("durbin_watson", of("durbin_watson")),
            ("rho_sum_form", of("rho")),
            ("rho_pearson_form", of("rho_pearson")),
            ("n_prime", effective),
            ("n_prime_from_pearson", effective_points(n as usize, of("rho_pearson"))),
            ("mse_prime", sse / (effective - p)),
            ("cook_max", number(&found["cook_max"][1])),
            ("leverage_max", number(&found["leverage_max"][1])),
            ("cook_argmax_row", cook),
            ("leverage_argmax_row", leverage),
        ],
    );
}

/// R2, adjusted R2 and F of a model are about the same: F = (R2 / k) / ((1 - R2) / (n - p)) with k terms beside what it is
/// about.
fn goes_together(found: &Value) {
    let of = |name: &str| number(&found[name]);
    let constant = match found["about"].as_str() {
        Some("mean") => 1.0,
        Some("zero") => 0.0,
        other => panic!("{other:?}"),
    };
    assert_eq!(found["about"] == "mean", found["terms"][0]["name"] == "constant", "{found:#}");
    let (n, p, r2) = (of("n"), of("p"), of("r2"));
    let adjusted = 1.0 - (1.0 - r2) * (n - constant) / (n - p);
    let f = r2 / (p - constant) / ((1.0 - r2) / (n - p));
    assert!((of("r2_adjusted") - adjusted).abs() < 1e-12, "{found:#}");
    // Without constant the fitted values alone make up what is explained; both are one sum by the normal equations.
    assert!((of("f") / f - 1.0).abs() < 1e-9, "{found:#}");
}

/// The row of a day or of a month in the tables of 2023, from zero.
fn row_of(interval: &Value, day: &str) -> f64 {
    use chrono::Datelike;
    let day = date(day);
    f64::from(if *interval == "monthly" { day.month0() } else { day.ordinal0() })
}

/// The saving against the frozen model, with every formula at every confidence.
fn saving_agrees(reference: &mut Reference, part: &str, (frozen, saved): &(Frozen, Savings), months: f64) {
    let (model, formulas, m) = (&frozen.model, saved.formulas.as_ref().expect("a model"), saved.points.len());
    let (n, rows, effective) = (model.points as f64, m as f64, formulas.effective);
    let reference_d = model.rmse * (rows * (1.0 + 2.0 / n)).sqrt();
    reference.all(
        part,
        &[
            ("m", rows),
            ("M_months", months),
            ("poly_value", frozen.form.interval.coefficient(months)),
            ("m_prime_same_rho", effective_points(m, frozen.rho)),
            ("adjusted_baseline_kwh", saved.expected),
            ("actual_reporting_kwh", saved.actual),
            ("avoided_energy_kwh", saved.avoided.value),
            ("fraction_saved", saved.avoided.value / saved.expected),
            ("n_prime", effective),
            ("q_parameter_term", formulas.parameter_term),
            ("ar1_model_term", formulas.carried_term),
            ("ar1_noise_term", formulas.noise_term),
            ("se_savings_iid_kwh", formulas.d),
            ("se_savings_ar1_kwh", saved.parts.model),
            ("implied_coefficient_exact_iid_over_1", formulas.d / reference_d),
        ],
    );
    for (k, row) in model.inverse.iter().enumerate() {
        reference.list(&format!("{part}/cov_unscaled/{k}"), row.iter().copied());
    }
    for (confidence, text) in CONFIDENCES {
        let within = format!("{part}/by_confidence/{text}");
        let t = |freedom: f64| two_sided(confidence, freedom).expect("a t");
        let narrow = t(effective - model.parameters() as f64);
        let fractional = |t: f64, standard: f64| t * standard / saved.avoided.value;
        for ((_, standard), name) in formulas.each().into_iter().zip(FORMULAS) {
            reference.all(&within, &[(name, fractional(t(model.freedom()), standard.expect("computable")))]);
        }
        let c = fractional(narrow, formulas.c.expect("computable"));
        let ts = [("t_df_n_minus_p", t(model.freedom())), ("t_df_nprime_minus_p", narrow)];
        reference.all(&within, &[ts[0], ts[1], ("fsu_C_poly_mse_prime_t_nprime", c)]);
    }
}

/// Class 1 with transformers of class 0.5, whose rated current nobody stated: both limits at every load.
fn meters_agree(reference: &mut Reference, (frozen, saved): &(Frozen, Savings)) {
    let within = "daily/meter_combination";
    reference.same(&format!("{within}/u_rel_total"), saved.metering.relative.0.expect("stated"));
    for (case, alike) in [("fully_correlated_same_meter", true), ("uncorrelated_different_meters", false)] {
        let metering = Metering { alike, ..saved.metering.clone() };
        let meters = metering.standard(saved.expected, saved.actual, saved.avoided.value).expect("stated");
        let parts = Parts { meters: Some(meters), ..saved.parts };
        let combined = parts.estimate(saved.avoided.value, frozen.model.freedom()).se;
        reference.all(
            &format!("{within}/{case}"),
            &[
                ("u_meter_kwh", meters),
                ("u_model_ar1_kwh", parts.model),
                ("u_combined_kwh", combined),
                ("U_k2_kwh", 2.0 * combined),
                ("U_k2_relative", 2.0 * combined / saved.avoided.value),
            ],
        );
        if alike {
            assert_eq!((saved.parts.meters, saved.avoided.se), (Some(meters), combined), "the case at hand");
        }
    }
    assert!((gum::combined([saved.parts.model, saved.parts.meters.expect("stated")]) - saved.avoided.se).abs() < 1e-9);
}

/// The first three quarters of the year foretell the last.
fn held_out_agrees(reference: &mut Reference, found: &Value, points: &Points, days: &[Day], form: &Form) {
    let within = "daily/holdout_fit_jan_sep_test_oct_dec";
    let seen = points.len() * 3 / 4;
    let early = fit(form, &days[..seen], Least::Usual).expect("a model");
    reference.list(&format!("{within}/coef"), early.fit.model.terms.iter().map(|term| term.coefficient));
    let held = &found["held_out"];
    reference.all(
        within,
        &[
            ("n_fit", seen as f64),
            ("n_test", (points.len() - seen) as f64),
            ("nmbe_test_n", number(&held[0])),
            ("cv_rmse_test_n", number(&held[1])),
        ],
    );
}

/// The reporting period under the conditions of the baseline.
fn normalised_agrees(reference: &mut Reference, saved: &Savings) {
    let within = "daily/normalised_savings_standard_conditions_2023";
    let other = saved.normalised.as_ref().expect("enough days");
    let model = &other.model.fit.model;
    reference.list(&format!("{within}/reporting_model_coef"), model.terms.iter().map(|term| term.coefficient));
    reference.list(&format!("{within}/reporting_model_se"), model.terms.iter().map(|term| term.se));
    reference.all(
        within,
        &[
            ("reporting_model_cv_rmse", model.cv().expect("a mean")),
            ("reporting_rho", other.model.rho),
            ("baseline_model_kwh", other.before),
            ("reporting_model_kwh", other.after),
            ("normalised_savings_kwh", other.saved.value),
            ("fraction", other.saved.value / other.before),
        ],
    );
}

/// The same by another program, which knows a little more.
fn crosscheck_agrees(reference: &mut Reference, found: &Value, fitted: &Fitted, saved: &Savings) {
    let within = "float64_statsmodels_crosscheck";
    let of = |name: &str| number(&found[name]);
    let terms = |name: &str| -> Vec<f64> {
        let terms = found["terms"].as_array().expect("terms").iter();
        terms.filter(|term| !term[name].is_null()).map(|term| number(&term[name])).collect()
    };
    for (place, ours) in [("coef", "coefficient"), ("se", "se"), ("t", "t"), ("pvalues", "p"), ("vif", "vif")] {
        reference.list(&format!("{within}/{place}"), terms(ours));
    }
    let shape = fitted.shape.expect("enough points");
    assert_eq!([shape.statistic, shape.p_value], [0, 1].map(|k| number(&found["jarque_bera"][k])));
    let shape = [shape.statistic, shape.p_value, shape.skewness, shape.kurtosis];
    reference.list(&format!("{within}/jarque_bera"), shape);
    // The program leaves out of BIC what is the same for every model of the same points.
    let constant = of("n") * (1.0 + std::f64::consts::TAU.ln());
    reference.all(
        within,
        &[
            ("r2", of("r2")),
            ("r2_adj", of("r2_adjusted")),
            ("F", of("f")),
            ("F_pvalue", of("f_p")),
            ("mse", of("rmse_kwh").powi(2)),
            ("cv_rmse", of("cv_rmse")),
            ("durbin_watson", of("durbin_watson")),
            ("rho_sum", of("rho")),
            ("rho_pearson", of("rho_pearson")),
            ("condition_number", of("condition")),
            ("cook_max", number(&found["cook_max"][1])),
            ("leverage_max", number(&found["leverage_max"][1])),
            ("bic", of("bic") + constant),
            ("adjusted_baseline", saved.expected),
            ("avoided", saved.avoided.value),
            ("pred_first_day/mean", saved.points[0].1),
        ],
    );
}

/// What `inkwatt verify` says of the same saving.
fn verify_agrees(reference: &mut Reference, found: &Value) {
    let found = &found["presses"][0];
    reference.all(
        "daily",
        &[
            ("adjusted_baseline_kwh", number(&found["expected_kwh"])),
            ("actual_reporting_kwh", number(&found["actual_kwh"])),
            ("avoided_energy_kwh", number(&found["avoided_kwh"]["value"])),
            (
                "normalised_savings_standard_conditions_2023/normalised_savings_kwh",
                number(&found["normalised_kwh"]["value"]),
            ),
        ],
    );
}

/// The press of the reference, frozen over the drivers of the reference, with its model as the command printed it.
fn frozen_press(more: &[&str]) -> (Press, Value) {
    let press = Press::with(&["baseline_daily.csv", "reporting_daily.csv"]);
    let mut fits = json(&press, &[&["baseline", "fit"], HOURS.as_slice(), more].concat());
    freeze(&press, more);
    let mut model = fits["candidates"][0].take();
    model["interval"] = fits["interval"].take();
    (press, model)
}

#[test]
fn every_value_of_the_reference_comes_out_of_import_baseline_and_verify() {
    let mut reference = Reference::read();
    let (press, model) = frozen_press(&[]);
    let found = saved(&press);
    let (form, days) = (&found.0.form, press.days("2023-01-01", "2023-12-31"));
    let months = form.points(&press.days("2024-02-01", "2024-04-30")).months;
    let fitted = fit(form, &days, Least::Usual).expect("a model");
    model_agrees(&mut reference, "daily", &model);
    saving_agrees(&mut reference, "daily", &found, months);
    meters_agree(&mut reference, &found);
    held_out_agrees(&mut reference, &model, &form.points(&days), &days, form);
    normalised_agrees(&mut reference, &found.1);
    crosscheck_agrees(&mut reference, &model, &fitted, &found.1);
    verify_agrees(&mut reference, &json(&press, &["verify", "p1", "--json"]));

    let (press, model) = frozen_press(&["--monthly"]);
    model_agrees(&mut reference, "monthly", &model);
    saving_agrees(&mut reference, "monthly", &saved(&press), months);

    let listed = |place: &str| {
        NOT_COMPARED
            .iter()
            .find(|(key, _)| place == *key || place.strip_prefix(key).is_some_and(|r| r.starts_with('/')))
    };
    for place in reference.values.keys() {
        match (reference.compared.contains(place), listed(place)) {
            (true, Some((_, reason))) => panic!("{place} is compared, and listed as not: {reason}"),
            (false, None) => panic!("{place} is neither compared nor listed with a reason"),
            _ => {}
        }
    }
    for (key, reason) in NOT_COMPARED {
        let known = reference.values.keys().any(|place| listed(place).is_some_and(|(found, _)| found == key));
        assert!(known, "{key} is not in the reference: {reason}");
    }
}

#[test]
fn the_monthly_model_comes_out_of_bills_alike() {
    let press = Press::with(&["baseline_daily.csv"]);
    let monthly = fs::read_to_string(reference("baseline_monthly.csv")).expect("a file");
    let bill = |line: &str| {
        let cells: Vec<&str> = line.split(',').collect();
        format!("{},{}\n", cells[0], cells[4])
    };
    let bills: String = monthly.lines().map(bill).collect();
    fs::write(press.path().join("bills.csv"), bills).expect("written");
    let arguments = [&["baseline", "fit"], HOURS.as_slice(), &["--kind", "billed", "--bills", "bills.csv"]].concat();
    let mut billed = json(&press, &arguments);
    assert_eq!((&billed["kind"], &billed["interval"]), (&"billed".into(), &"monthly".into()));
    let mut model = billed["candidates"][0].take();
    model["interval"] = billed["interval"].take();
    model_agrees(&mut Reference::read(), "monthly", &model);
}
