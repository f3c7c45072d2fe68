//! A synthetic press, a year before and a quarter after its conversion: `expected.json` holds every statistic computed with
//! 50 digits by mpmath on the decimals of the tables, and a cross-check by statsmodels 0.15.0.

use super::{Table, assert_digits, number, numbers};
use inkwatt::stats::cusum::Cusum;
use inkwatt::stats::savings_uncertainty::{self as uncertainty, Interval, half_width};
use inkwatt::stats::{Column, Design, Fit, Model, ar1, diagnose, durbin_watson, fit, gum, robust};
use serde_json::Value;

/// Digits asked of each value: 1e-9 relative.
const DIGITS: f64 = 9.0;

const CONFIDENCES: [(f64, &str); 4] = [(0.68, "0.68"), (0.80, "0.80"), (0.90, "0.90"), (0.95, "0.95")];

macro_rules! table {
    ($name:literal) => {
        Table::of(include_str!(concat!("../../reference/mv_synthetic/", $name, ".csv")))
    };
}

fn expected() -> Value {
    serde_json::from_str(include_str!("../../reference/mv_synthetic/expected.json")).expect("JSON")
}

/// kWh a day over run hours and web length.
fn daily(table: &Table) -> Design {
    let drivers = ["run_h", "web_km"].map(|name| Column::new(name, table.column(name)));
    Design::with_constant(table.rows.len(), drivers.into()).expect("computable")
}

/// kWh a month over days, run hours and web length.
fn monthly(table: &Table) -> Design {
    Design::through_origin(["days", "run_h", "web_km"].map(|name| Column::new(name, table.column(name))).into())
        .expect("computable")
}

/// Every day of the table follows the one before.
fn consecutive(rows: usize) -> Vec<i64> {
    (0..rows as i64).collect()
}

#[track_caller]
fn assert_all(found: impl IntoIterator<Item = f64>, expected: &Value, what: &str) {
    let found: Vec<f64> = found.into_iter().collect();
    let expected = numbers(expected);
    assert_eq!(found.len(), expected.len());
    found.iter().zip(expected).for_each(|(found, expected)| assert_digits(*found, expected, DIGITS, what));
}

#[test]
fn the_daily_fit_and_its_statistics_agree_to_a_billionth() {
    let (table, expected) = (table!("baseline_daily"), expected());
    let daily_fit = fit(&daily(&table), &table.column("kwh")).unwrap();
    let daily = &expected["daily"];
    assert_statistics(&daily_fit, daily);
    let model = &daily_fit.model;
    assert_digits(daily_fit.r2().unwrap(), number(&daily["r2"]), DIGITS, "r2");
    assert_digits(daily_fit.r2_adjusted().unwrap(), number(&daily["r2_adj"]), DIGITS, "r2_adj");
    assert_digits(daily_fit.f().unwrap().value, number(&daily["F_stat"]), DIGITS, "F");
    for (row, expected) in model.inverse.iter().zip(daily["cov_unscaled"].as_array().unwrap()) {
        assert_all(row.iter().copied(), expected, "cov_unscaled");
    }
    let other = &expected["float64_statsmodels_crosscheck"];
    assert_digits(daily_fit.condition, number(&other["condition_number"]), DIGITS, "condition");
    assert_all(model.terms.iter().map(|term| model.p_value(term).unwrap()), &other["pvalues"], "p values");
    assert_eq!(daily_fit.f().unwrap().p_value(), Some(0.0));
}

#[test]
fn every_residual_leverage_and_cook_distance_agrees_to_a_billionth() {
    let (table, each) = (table!("baseline_daily"), table!("baseline_residuals_expected"));
    let found = fit(&daily(&table), &table.column("kwh")).unwrap();
    let cook: Vec<f64> = diagnose::cook(&found).into_iter().map(Option::unwrap).collect();
    // A residual is a small difference of large numbers: its digits are those of the energy.
    for (found, expected) in found.residuals.iter().zip(each.column("residual_kwh")) {
        assert!((found - expected).abs() < 1e-9, "{found} for {expected}");
    }
    for (name, found) in [("leverage", &found.leverage), ("cooks_distance", &cook)] {
        found.iter().zip(each.column(name)).for_each(|(found, expected)| assert_digits(*found, expected, DIGITS, name));
    }
    let expected = &expected()["daily"];
    for (found, most, row) in
        [(&found.leverage, "leverage_max", "leverage_argmax_row"), (&cook, "cook_max", "cook_argmax_row")]
    {
        let most_at = (0..found.len()).max_by(|a, b| found[*a].total_cmp(&found[*b])).unwrap();
        assert_eq!(most_at as u64, expected[row].as_u64().unwrap());
        assert_digits(found[most_at], number(&expected[most]), DIGITS, most);
    }
}

#[test]
fn collinearity_shape_and_autocorrelation_are_found() {
    let (table, expected) = (table!("baseline_daily"), expected());
    let design = daily(&table);
    let found = fit(&design, &table.column("kwh")).unwrap();
    let other = &expected["float64_statsmodels_crosscheck"];
    let inflation = diagnose::variance_inflation(&design, &found.model);
    assert_all(inflation.iter().map(|(_, vif)| *vif), &other["vif"], "vif");
    assert_eq!(inflation[1].0, "web_km");
    let shape = diagnose::jarque_bera(&found.residuals).unwrap();
    let shape = [shape.statistic, shape.p_value, shape.skewness, shape.kurtosis];
    assert_all(shape, &other["jarque_bera"], "Jarque-Bera");
    let statistic = diagnose::durbin_watson(&found.residuals, &consecutive(365)).unwrap();
    let bounds = durbin_watson::bounds(365, 2, 0.05).unwrap();
    assert_eq!(bounds.judge(statistic), durbin_watson::Verdict::Autocorrelated);
}

#[test]
fn the_avoided_energy_of_each_day_agrees_to_a_billionth() {
    let (before, after) = (table!("baseline_daily"), table!("reporting_daily"));
    let model = fit(&daily(&before), &before.column("kwh")).unwrap().model;
    let each = table!("reporting_expected");
    let adjusted = model.predict(&daily(&after)).unwrap();
    for (found, expected) in adjusted.iter().zip(each.column("adjusted_baseline_kwh")) {
        assert_digits(*found, expected, DIGITS, "adjusted baseline");
    }
    // The standard error of a predicted point: RMSE √(1 + h), h its leverage in the baseline.
    let first = model.rmse * (1.0 + model.leverage(&daily(&after)).unwrap()[0]).sqrt();
    let statsmodels = &expected()["float64_statsmodels_crosscheck"]["pred_first_day"]["se_obs"];
    assert_digits(first, number(statsmodels), DIGITS, "first day");
}

#[test]
fn all_five_formulas_agree_to_a_billionth_for_daily_and_monthly_models() {
    let expected = expected();
    let (before, after) = (table!("baseline_daily"), table!("reporting_daily"));
    assert_savings([&before, &after], [daily(&before), daily(&after)], Interval::Daily, &expected["daily"]);
    let (before, after) = (table!("baseline_monthly"), table!("reporting_monthly"));
    assert_savings([&before, &after], [monthly(&before), monthly(&after)], Interval::Monthly, &expected["monthly"]);
}

/// Avoided energy with A to E at four confidences.
fn assert_savings(tables: [&Table; 2], designs: [Design; 2], interval: Interval, expected: &Value) {
    let ([before, after], [base, rows]) = (tables, designs);
    let found = fit(&base, &before.column("kwh")).expect("computable");
    let (model, n, m) = (&found.model, base.rows(), rows.rows());
    let rho = diagnose::lag1(&found.residuals, &consecutive(n)).expect("computable").sum_form;
    let adjusted: f64 = model.predict(&rows).expect("computable").iter().sum();
    let saved = adjusted - after.column("kwh").iter().sum::<f64>();
    let q = model.parameter_term(&rows).expect("computable");
    let cross = ar1::cross_product(&base.values(), &consecutive(n), rho);
    let carried = model.autocorrelated_term(&rows, &cross).expect("computable");
    let noise = ar1::variance_of_total(&consecutive(m), rho);
    let standard = [
        ("fsu_A_uncorrelated_1_26", uncertainty::uncorrelated(model, adjusted, m).expect("computable")),
        (
            "fsu_B_autocorr_1_26_n_over_nprime",
            uncertainty::autocorrelated(model, rho, adjusted, m).expect("computable"),
        ),
        ("fsu_C_poly_mse_prime_t_n", uncertainty::polynomial(model, rho, interval, 3.0, m).expect("computable")),
        ("fsu_D_exact_ols_iid", uncertainty::independent(model, m, q)),
        ("fsu_E_exact_ols_ar1", uncertainty::exact(model, carried, noise)),
    ];
    for (found, name) in [
        (adjusted, "adjusted_baseline_kwh"),
        (saved, "avoided_energy_kwh"),
        (saved / adjusted, "fraction_saved"),
        (q, "q_parameter_term"),
        (carried, "ar1_model_term"),
        (noise, "ar1_noise_term"),
        (interval.coefficient(3.0), "poly_value"),
        (standard[3].1, "se_savings_iid_kwh"),
        (standard[4].1, "se_savings_ar1_kwh"),
    ] {
        assert_digits(found, number(&expected[name]), DIGITS, name);
    }
    for (confidence, text) in CONFIDENCES {
        for (name, standard) in standard {
            let fractional = half_width(standard, confidence, model).expect("computable") / saved;
            assert_digits(fractional, number(&expected["by_confidence"][text][name]), DIGITS, name);
        }
    }
}

#[test]
fn the_monthly_fit_agrees_to_a_billionth() {
    let (table, expected) = (table!("baseline_monthly"), expected());
    let found = fit(&monthly(&table), &table.column("kwh")).unwrap();
    assert_statistics(&found, &expected["monthly"]);
    // The reference gives R² about the mean although the model has no constant; the model's own R² is about zero.
    assert_digits(found.r2_centred.unwrap(), number(&expected["monthly"]["r2"]), DIGITS, "r2");
    assert_eq!(found.r2(), found.r2_uncentred);
}

/// What daily and monthly fits have in common.
fn assert_statistics(found: &Fit, expected: &Value) {
    let model = &found.model;
    assert_all(model.terms.iter().map(|term| term.coefficient), &expected["coef"], "coef");
    assert_all(model.terms.iter().map(|term| term.se), &expected["se"], "se");
    assert_all(model.terms.iter().map(|term| term.t().expect("computable")), &expected["t"], "t");
    let days = consecutive(model.points);
    let lag1 = diagnose::lag1(&found.residuals, &days).expect("computable");
    for (found, name) in [
        (found.sse, "sse"),
        (model.rmse, "rmse"),
        (model.mean, "ybar"),
        (model.cv().expect("computable"), "cv_rmse_n_minus_p"),
        (diagnose::durbin_watson(&found.residuals, &days).expect("computable"), "durbin_watson"),
        (lag1.sum_form, "rho_sum_form"),
        (lag1.pearson.expect("computable"), "rho_pearson_form"),
        (uncertainty::effective_points(model.points, lag1.sum_form), "n_prime"),
    ] {
        assert_digits(found, number(&expected[name]), DIGITS, name);
    }
}

#[test]
fn a_model_of_nine_months_foretells_the_last_three_as_the_reference_does() {
    let table = table!("baseline_daily");
    let expected = &expected()["daily"]["holdout_fit_jan_sep_test_oct_dec"];
    let part = |rows: std::ops::Range<usize>| Table { heading: table.heading.clone(), rows: table.rows[rows].to_vec() };
    let (early, late) = (part(0..273), part(273..365));
    let model = fit(&daily(&early), &early.column("kwh")).unwrap().model;
    assert_all(model.terms.iter().map(|term| term.coefficient), &expected["coef"], "coef");
    let holdout = diagnose::holdout(&late.column("kwh"), &model.predict(&daily(&late)).unwrap()).unwrap();
    assert_digits(holdout.nmbe, number(&expected["nmbe_test_n"]), DIGITS, "nmbe");
    assert_digits(holdout.cv_rmse, number(&expected["cv_rmse_test_n"]), DIGITS, "cv_rmse");
}

#[test]
fn both_models_under_the_same_conditions_give_the_normalised_saving() {
    let (before, after) = (table!("baseline_daily"), table!("reporting_daily"));
    let total = |model: &Model| model.predict(&daily(&before)).unwrap().iter().sum::<f64>();
    let [base, report] = [&before, &after].map(|table| fit(&daily(table), &table.column("kwh")).unwrap().model);
    let expected = &expected()["daily"]["normalised_savings_standard_conditions_2023"];
    assert_all(report.terms.iter().map(|term| term.coefficient), &expected["reporting_model_coef"], "coef");
    assert_all(report.terms.iter().map(|term| term.se), &expected["reporting_model_se"], "se");
    assert_digits(total(&base) - total(&report), number(&expected["normalised_savings_kwh"]), DIGITS, "normalised");
}

/// Meter class 1 and transformer class 0.5, their limits rectangular: once the same meter before and after, whose error is one of
/// the saving, once two meters.
#[test]
fn meter_and_model_combine_as_in_the_reference() {
    let expected = &expected()["daily"];
    let kwh = |name: &str| number(&expected[name]);
    let meters = &expected["meter_combination"];
    let relative = gum::combined([gum::rectangular(0.01), gum::rectangular(0.005)]);
    assert_digits(relative, number(&meters["u_rel_total"]), 14.0, "u_rel_total");
    let same = relative * kwh("avoided_energy_kwh");
    let different = gum::combined(["adjusted_baseline_kwh", "actual_reporting_kwh"].map(|name| relative * kwh(name)));
    for (meter, case) in [(same, "fully_correlated_same_meter"), (different, "uncorrelated_different_meters")] {
        assert_digits(meter, number(&meters[case]["u_meter_kwh"]), DIGITS, case);
        let both = gum::combined([meter, kwh("se_savings_ar1_kwh")]);
        assert_digits(both, number(&meters[case]["u_combined_kwh"]), DIGITS, case);
        assert_digits(2.0 * both, number(&meters[case]["U_k2_kwh"]), DIGITS, case);
    }
}

/// Sixty days after the quarter, 60 kWh a day more from day 31 on.
#[test]
fn a_drift_raises_the_alarm_on_the_day_of_the_reference() {
    let (after, watched, each) = (table!("reporting_daily"), table!("monitoring_daily"), table!("monitoring_expected"));
    let found = fit(&daily(&after), &after.column("kwh")).unwrap();
    let expected = &expected()["daily"]["monitoring"];
    let rho = diagnose::lag1(&found.residuals, &consecutive(90)).unwrap().sum_form;
    let reference: Vec<f64> = ar1::innovations(&found.residuals, &consecutive(90), rho).into_iter().flatten().collect();
    // One more degree of freedom is spent on rho.
    let freedom = (reference.len() - found.model.parameters() - 1) as f64;
    let deviation = (reference.iter().map(|u| u * u).sum::<f64>() / freedom).sqrt();
    assert_digits(rho, number(&expected["rho"]), DIGITS, "rho");
    assert_digits(deviation, number(&expected["innovation_sd"]), DIGITS, "innovation_sd");
    assert_digits(robust::mad(&reference).unwrap(), number(&expected["innovation_mad_x_1_4826"]), DIGITS, "mad");

    let forecast = found.model.predict(&daily(&watched)).unwrap();
    let residuals = watched.column("kwh").into_iter().zip(&forecast).map(|(kwh, expected)| kwh - expected);
    let run: Vec<f64> = found.residuals.last().copied().into_iter().chain(residuals).collect();
    let (mut up, mut down, mut alarm) = (Cusum::default(), Cusum::default(), None);
    for (day, u) in ar1::innovations(&run, &consecutive(61), rho).into_iter().flatten().enumerate() {
        let z = u / deviation;
        (up, down) = (up.step(z, 0.5), down.step(-z, 0.5));
        for (found, name) in [(z, "u_std_innovation"), (up.sum, "cusum_plus"), (down.sum, "cusum_minus")] {
            assert!((found - each.column(name)[day]).abs() < 1e-9, "day {} {name}", day + 1);
        }
        if up.alarms(5.0) || down.alarms(5.0) {
            alarm = alarm.or(Some(day + 1));
        }
    }
    assert_eq!(alarm, Some(number(&expected["first_cusum_alarm_day"]) as usize));
}

/// `fsu_unit_cases.csv`: own computation, t from scipy.
#[test]
fn formulas_a_and_b_agree_with_the_unit_cases() {
    let table = Table::of(include_str!("../../reference/stats/fsu_unit_cases.csv"));
    let columns =
        ["n", "m", "p", "cv", "F", "rho", "conf", "t", "n_prime", "fsu_A", "fsu_B"].map(|name| table.column(name));
    for i in 0..table.rows.len() {
        let [n, m, p, cv, saved, rho, confidence, t, effective, a, b] = columns.each_ref().map(|column| column[i]);
        let model = bare_model(n as usize, p as usize, cv);
        let rows = m as usize;
        assert_digits(uncertainty::effective_points(model.points, rho), effective, 12.0, "n'");
        assert_digits(half_width(1.0, confidence, &model).unwrap(), t, 12.0, "t");
        // An adjusted baseline of one makes the saving the fraction F.
        for (standard, expected) in [
            (uncertainty::uncorrelated(&model, 1.0, rows), a),
            (uncertainty::autocorrelated(&model, rho, 1.0, rows), b),
        ] {
            let fractional = half_width(standard.unwrap(), confidence, &model).unwrap() / saved;
            assert_digits(fractional, expected, 11.0, "fractional savings uncertainty");
        }
    }
    assert_eq!(table.rows.len(), 8);
}

/// A model of which only n, p and CV(RMSE) matter; its mean is one.
fn bare_model(points: usize, parameters: usize, cv: f64) -> Model {
    let term = inkwatt::stats::Term { name: "any".into(), coefficient: 0.0, se: 0.0 };
    Model { terms: vec![term; parameters], constant: false, inverse: Vec::new(), points, rmse: cv, mean: 1.0 }
}

/// Coefficients of C for 1 to 24 months, computed from the published a, b and c.
#[test]
fn the_coefficient_of_formula_c_grows_with_the_reporting_period() {
    for (months, daily, monthly) in
        [(1.0, 1.03797, 0.97338), (6.0, 1.20632, 1.13098), (12.0, 1.39250, 1.30558), (24.0, 1.71302, 1.60726)]
    {
        assert!((Interval::Daily.coefficient(months) - daily).abs() < 1e-12);
        assert!((Interval::Monthly.coefficient(months) - monthly).abs() < 1e-12);
    }
}

#[test]
fn a_negative_autocorrelation_takes_no_credit() {
    let model = bare_model(365, 3, 0.1);
    assert_eq!(uncertainty::effective_points(365, -0.4), 365.0);
    let without = uncertainty::uncorrelated(&model, 1.0, 90).unwrap();
    assert_digits(uncertainty::autocorrelated(&model, -0.4, 1.0, 90).unwrap(), without, 14.0, "B");
}

#[test]
fn what_a_formula_does_not_cover_has_no_figure() {
    let model = bare_model(12, 3, 0.1);
    assert_eq!(uncertainty::polynomial(&model, 0.7, Interval::Monthly, 3.0, 3), None, "n' = 2.1 is below p = 3");
    assert_eq!(uncertainty::polynomial(&model, 0.0, Interval::Monthly, 25.0, 25), None, "stated up to 24 months");
    assert_eq!(uncertainty::uncorrelated(&model, 1.0, 0), None);
    assert_eq!(uncertainty::autocorrelated(&model, 0.0, 1.0, 0), None);
    assert_eq!(uncertainty::uncorrelated(&bare_model(12, 3, f64::NAN), 1.0, 0), None);
}
