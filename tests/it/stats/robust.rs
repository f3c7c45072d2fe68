//! Ordinary and robust fits of an ammonia plant (Brownlee's stack loss) and of Longley's data: statsmodels 0.15.0.

use super::{Table, assert_digits, number, numbers};
use inkwatt::stats::{Column, Design, diagnose, fit, robust};
use serde_json::Value;

fn stack_loss() -> (Design, Vec<f64>) {
    let table = Table::of(include_str!("../../reference/stats/stackloss.csv"));
    let drivers = ["AIRFLOW", "WATERTEMP", "ACIDCONC"].map(|name| Column::new(name, table.column(name)));
    (Design::with_constant(table.rows.len(), drivers.into()).expect("a design"), table.column("STACKLOSS"))
}

fn expected(name: &str) -> Value {
    let file: Value = serde_json::from_str(include_str!("../../reference/stats/robust_vif_cook.json")).expect("JSON");
    file["results"][name].clone()
}

#[track_caller]
fn assert_all(found: impl IntoIterator<Item = f64>, expected: &Value, digits: f64, what: &str) {
    let found: Vec<f64> = found.into_iter().collect();
    let expected = numbers(expected);
    assert_eq!(found.len(), expected.len());
    found.iter().zip(expected).for_each(|(found, expected)| assert_digits(*found, expected, digits, what));
}

#[test]
fn the_ordinary_fit_with_its_influence_agrees_with_statsmodels() {
    let ((design, y), expected) = (stack_loss(), expected("stackloss_ols"));
    let found = fit(&design, &y).unwrap();
    assert_all(found.model.terms.iter().map(|term| term.coefficient), &expected["coef"], 11.0, "coef");
    assert_all(found.model.terms.iter().map(|term| term.se), &expected["se"], 11.0, "se");
    assert_digits(found.model.rmse, number(&expected["rse"]), 12.0, "rse");
    assert_digits(found.r2().unwrap(), number(&expected["r2"]), 12.0, "r2");
    let days: Vec<i64> = (0..21).collect();
    assert_digits(diagnose::durbin_watson(&found.residuals, &days).unwrap(), number(&expected["dw"]), 11.0, "dw");
    assert_all(diagnose::cook(&found).into_iter().map(Option::unwrap), &expected["cook"], 9.0, "cook");
    assert_all(found.leverage.iter().copied(), &expected["leverage"], 11.0, "leverage");
    let inflation = diagnose::variance_inflation(&design, &found.model);
    assert_all(inflation.into_iter().map(|(_, vif)| vif), &expected["vif"], 11.0, "vif");
    let shape = diagnose::jarque_bera(&found.residuals).unwrap();
    let shape = [shape.statistic, shape.p_value, shape.skewness, shape.kurtosis];
    assert_all(shape, &expected["jb"], 10.0, "Jarque-Bera");
}

#[test]
fn only_what_moves_the_fit_is_called_influential() {
    let (design, y) = stack_loss();
    let found = fit(&design, &y).unwrap();
    let cook: Vec<f64> = diagnose::cook(&found).into_iter().map(Option::unwrap).collect();
    let above =
        |values: &[f64], limit: f64| -> Vec<usize> { (0..21).filter(|i| values[*i] > limit).map(|i| i + 1).collect() };
    // The largest distance is 0.69 at day 21, below the median of F(4, 17); the largest leverage 0.41 at day 17.
    assert!(above(&cook, diagnose::cook_threshold(&found.model).unwrap()).is_empty());
    assert_eq!(above(&cook, 0.5), [21]);
    // 2 p / n (Hoaglin and Welsch 1978).
    assert_eq!(above(&found.leverage, 2.0 * 4.0 / 21.0), [17]);
}

#[test]
fn the_huber_fit_agrees_with_statsmodels() {
    let ((design, y), expected) = (stack_loss(), expected("stackloss_rlm_huber_1.345"));
    let found = robust::huber(&design, &y).unwrap();
    // statsmodels stops when the deviance moves by less than 1e-8.
    assert_all(found.coefficients, &expected["coef"], 6.0, "coef");
    assert_digits(found.scale, number(&expected["scale"]), 6.0, "scale");
    assert_all(found.weights, &expected["weights"], 6.0, "weights");
}

#[test]
fn longley_s_drivers_are_collinear() {
    let table = Table::of(include_str!("../../reference/nist/longley.csv"));
    let drivers = table.heading[1..].iter().map(|name| Column::new(name, table.column(name))).collect();
    let design = Design::with_constant(table.rows.len(), drivers).unwrap();
    let found = fit(&design, &table.column("y")).unwrap();
    let inflation = diagnose::variance_inflation(&design, &found.model);
    assert_all(inflation.into_iter().map(|(_, vif)| vif), &expected("longley_vif")["vif"], 9.0, "vif");
    assert!(found.condition_scaled > 30.0 && found.condition > found.condition_scaled);
    let cook: Vec<f64> = diagnose::cook(&found).into_iter().map(Option::unwrap).collect();
    let most = (0..cook.len()).max_by(|a, b| cook[*a].total_cmp(&cook[*b])).unwrap();
    assert_all([cook[most], most as f64 + 1.0], &serde_json::json!([0.613_916_838_203_344_5, 5.0]), 8.0, "cook");
}
