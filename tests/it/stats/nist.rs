//! NIST Statistical Reference Datasets, linear regression: certified values and the same recomputed with 80 digits.

use super::{Table, assert_digits, number, numbers};
use inkwatt::stats::{Column, Design, Fit, diagnose, fit};
use serde_json::Value;

/// A set with the number of digits asked of its coefficients.
macro_rules! set {
    ($name:literal, $digits:literal) => {
        (
            $digits,
            include_str!(concat!("../../reference/nist/", $name, ".csv")),
            include_str!(concat!("../../reference/nist/", $name, ".json")),
        )
    };
}

const SETS: [(f64, &str, &str); 10] = [
    set!("norris", 12.0),
    set!("pontius", 11.0),
    set!("noint1", 14.0),
    set!("noint2", 14.0),
    set!("longley", 9.0),
    set!("wampler1", 8.0),
    set!("wampler2", 8.0),
    set!("wampler3", 8.0),
    set!("wampler4", 7.0),
    set!("wampler5", 5.0),
];

#[test]
fn coefficients_errors_and_statistics_have_the_certified_digits() {
    for (digits, rows, expected) in SETS {
        let expected: Value = serde_json::from_str(expected).unwrap();
        let found = fitted(rows, &expected);
        let exact = &expected["recomputed_80_digit"];
        let name = expected["dataset"].as_str().unwrap();
        let certified = numbers(&expected["certified"]["beta"]);
        for (term, certified) in found.model.terms.iter().zip(certified) {
            // 15 digits are certified.
            assert_digits(term.coefficient, certified, digits.min(14.0), name);
        }
        for ((term, beta), se) in found.model.terms.iter().zip(numbers(&exact["beta"])).zip(numbers(&exact["se"])) {
            assert_digits(term.coefficient, beta, digits, name);
            // Where the fit is exact, rounding of y, some 1e6 wide, is all that is left.
            assert_digits(term.se, se, if se == 0.0 { 6.0 } else { digits }, name);
        }
        assert_digits(found.r2().unwrap(), number(&exact["r2"]), 12.0, name);
        assert_digits(found.r2_adjusted().unwrap(), number(&exact["r2_adj"]), 12.0, name);
        if number(&exact["residual_sd"]) > 1e-6 {
            assert_digits(found.model.rmse, number(&exact["residual_sd"]), digits, name);
            assert_digits(found.f().unwrap().value, number(&exact["F"]), digits.min(10.0), name);
            let consecutive: Vec<i64> = (0..found.model.points as i64).collect();
            let dw = diagnose::durbin_watson(&found.residuals, &consecutive).unwrap();
            assert_digits(dw, number(&exact["durbin_watson"]), digits.min(9.0), name);
            let lag1 = diagnose::lag1(&found.residuals, &consecutive).unwrap();
            assert_digits(lag1.sum_form, number(&exact["rho_lag1_sum_form"]), digits.min(8.0), name);
        }
    }
}

/// NIST's designs are a constant with their columns as they stand, or the powers of the one column.
fn fitted(rows: &str, expected: &Value) -> Fit {
    let table = Table::of(rows);
    let constant = expected["intercept"].as_bool().expect("yes or no");
    let terms = expected["p"].as_u64().expect("a count") as i32 - i32::from(constant);
    let drivers: Vec<Column> = match table.heading.len() {
        2 => (1..=terms).map(|power| powers(&table.column("x"), power)).collect(),
        _ => table.heading[1..].iter().map(|name| Column::new(name, table.column(name))).collect(),
    };
    let design = match constant {
        true => Design::with_constant(table.rows.len(), drivers),
        false => Design::through_origin(drivers),
    };
    fit(&design.expect("a design"), &table.column("y")).expect("computable")
}

fn powers(x: &[f64], power: i32) -> Column {
    Column::new(format!("x^{power}"), x.iter().map(|x| x.powi(power)).collect())
}
