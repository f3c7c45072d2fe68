//! What each factor of a difference accounts for, whatever the order in which the factors change.

use std::ops::Range;

/// The most factors: beyond it 2^n values are no longer a moment's work.
const MOST: usize = 16;

/// Shapley values of `value`, which gives the worth of a set of factors, bit i standing for factor i.
///
/// φ_i = Σ |S|! (n - |S| - 1)! / n! (v(S ∪ i) - v(S)) over the sets without i (Shapley 1953; as a decomposition
/// Shorrocks 1999/2013). They add up to v(all) - v(none) but for rounding; a caller that needs whole units shares the
/// exact difference by them. `value` is asked once for each of the 2^n sets. `None` for more than 16 factors.
pub fn values(factors: usize, value: impl FnMut(u32) -> f64) -> Option<Vec<f64>> {
    if factors > MOST {
        return None;
    }
    let worth: Vec<f64> = all(factors).map(value).collect();
    let weights: Vec<f64> = (0..factors).map(|size| weight(factors, size)).collect();
    let of = |factor: usize| {
        let without = all(factors).filter(|set| set >> factor & 1 == 0);
        without
            .map(|set| weights[set.count_ones() as usize] * (worth[(set | 1 << factor) as usize] - worth[set as usize]))
            .sum()
    };
    Some((0..factors).map(of).collect())
}

/// Every set of the factors.
fn all(factors: usize) -> Range<u32> {
    0..1 << factors
}

/// s! (n - s - 1)! / n! = 1 / (n C(n - 1, s)).
fn weight(factors: usize, size: usize) -> f64 {
    let choices = (0..size).fold(1.0, |c, i| c * (factors - 1 - i) as f64 / (i + 1) as f64);
    1.0 / (factors as f64 * choices)
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::Value;

    fn assert_close(found: &[f64], expected: &Value) {
        let expected: Vec<f64> = expected.as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect();
        assert_eq!(found.len(), expected.len());
        let scale = expected.iter().fold(1.0, |most: f64, v| most.max(v.abs()));
        assert!(found.iter().zip(&expected).all(|(f, e)| (f - e).abs() < 1e-14 * scale), "{found:?} for {expected:?}");
    }

    fn cases() -> Value {
        serde_json::from_str(include_str!("../../tests/reference/charts/decomp_gum_checks.json")).unwrap()
    }

    /// A runway for three sizes of aeroplane costs what the largest needs (Littlechild and Owen 1973; numbers as set in
    /// many courses): (100, 190, 310) / 3.
    #[test]
    fn the_runway_is_paid_by_those_who_need_its_length() {
        let cost = |set: u32| {
            [100.0, 160.0, 200.0]
                .iter()
                .enumerate()
                .filter(|(i, _)| set >> i & 1 == 1)
                .fold(0.0, |most: f64, (_, c)| most.max(*c))
        };
        assert_close(&values(3, cost).unwrap(), &cases()["shapley_airport"]["phi"]);
    }

    /// One left and two right gloves: a pair is worth one.
    #[test]
    fn the_single_left_glove_is_worth_two_thirds() {
        let pairs = |set: u32| f64::from(u8::from(set & 1 == 1 && set & 0b110 != 0));
        assert_close(&values(3, pairs).unwrap(), &cases()["shapley_glove"]);
    }

    /// Eight lamps of 8 kW for 4,000 h become eight of 3 kW for 3,600 h: own computation.
    #[test]
    fn a_press_divides_between_draw_and_hours_and_a_factor_that_stays_has_no_part() {
        let case = &cases()["press_product_three_factor"];
        let at = |key: &str, i: usize| case[key][i].as_f64().unwrap();
        let kwh = |set: u32| (0..3).map(|i| at(if set >> i & 1 == 1 { "xT" } else { "x0" }, i)).product();
        let found = values(3, kwh).unwrap();
        assert_close(&found, &case["shapley"]);
        assert_eq!(found.iter().sum::<f64>(), -169_600.0);
    }

    #[test]
    fn the_parts_add_up_and_do_not_depend_on_the_order_of_the_factors() {
        let factors = [1.3, 0.4, 2.2, 0.9, 1.7, 0.2, 1.1, 3.0];
        let product = |order: &[usize]| {
            let order = order.to_vec();
            move |set: u32| {
                order.iter().enumerate().filter(|(i, _)| set >> i & 1 == 1).map(|(_, f)| factors[*f]).product()
            }
        };
        let found = values(8, product(&[0, 1, 2, 3, 4, 5, 6, 7])).unwrap();
        let turned = values(8, product(&[7, 6, 5, 4, 3, 2, 1, 0])).unwrap();
        assert!((found.iter().sum::<f64>() - (factors.iter().product::<f64>() - 1.0)).abs() < 1e-14);
        assert!(found.iter().zip(turned.iter().rev()).all(|(a, b)| (a - b).abs() < 1e-14));
    }

    #[test]
    fn no_factor_has_no_part_and_too_many_are_refused() {
        assert_eq!(values(0, |_| 5.0), Some(Vec::new()));
        assert_eq!(values(17, |_| 5.0), None);
    }
}
