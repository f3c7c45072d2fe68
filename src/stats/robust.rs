//! Estimates that a few wild days do not move.

use super::design::{Column, Design, Refusal};
use super::least_squares;

/// 1 / Φ⁻¹(3/4): makes the median absolute deviation of normal values their standard deviation.
const NORMAL: f64 = 1.482_602_218_505_602;

/// The middle value, or the mean of the two middle ones; `None` without values or where one is not a number.
pub fn median(values: &[f64]) -> Option<f64> {
    if values.is_empty() || values.iter().any(|value| value.is_nan()) {
        return None;
    }
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let half = sorted.len() / 2;
    Some(if sorted.len() % 2 == 1 { sorted[half] } else { 0.5 * (sorted[half - 1] + sorted[half]) })
}

/// Median absolute deviation from the median, scaled by 1.4826 to the standard deviation of normal values.
pub fn mad(values: &[f64]) -> Option<f64> {
    let middle = median(values)?;
    Some(NORMAL * median(&values.iter().map(|value| (value - middle).abs()).collect::<Vec<_>>())?)
}

/// Huber's tuning constant: 95 % efficiency where the errors are normal.
const HUBER: f64 = 1.345;

/// A fit that weighs down points far from it.
#[derive(Clone, Debug, PartialEq)]
pub struct Robust {
    /// Coefficients in the order of the design.
    pub coefficients: Vec<f64>,
    /// Scale of the residuals: median absolute residual x 1.4826.
    pub scale: f64,
    /// Weight of each point, from 1 for one that fits down to 0.
    pub weights: Vec<f64>,
}

/// Huber's regression with c = 1.345 (Huber 1981), by iteratively reweighted least squares from the ordinary fit, its
/// scale taken anew at each step as the median absolute residual about zero, as statsmodels does.
///
/// Refused as by [`super::fit`]. A fit that passes through half of the points has no scale and is returned as it is.
pub fn huber(design: &Design, y: &[f64]) -> Result<Robust, Refusal> {
    const STEPS: u32 = 500;
    let ordinary = least_squares::fit(design, y)?;
    let mut coefficients: Vec<f64> = ordinary.model.terms.iter().map(|term| term.coefficient).collect();
    let mut residuals = ordinary.residuals;
    for _ in 0..STEPS {
        let (scale, weights) = weigh(&residuals);
        let next = weighted(design, y, &weights)?;
        let moved = next.iter().zip(&coefficients).any(|(new, old)| (new - old).abs() > 1e-12 * new.abs());
        residuals = rest(design, y, &next);
        coefficients = next;
        if !moved || scale == 0.0 {
            break;
        }
    }
    let (scale, weights) = weigh(&residuals);
    Ok(Robust { coefficients, scale, weights })
}

/// Scale of the residuals, and min(1, c s / |e|) for each of them.
fn weigh(residuals: &[f64]) -> (f64, Vec<f64>) {
    let sizes: Vec<f64> = residuals.iter().map(|e| e.abs()).collect();
    let scale = NORMAL * median(&sizes).unwrap_or_default();
    let weight = |size: &f64| if *size <= HUBER * scale || scale == 0.0 { 1.0 } else { HUBER * scale / size };
    (scale, sizes.iter().map(weight).collect())
}

/// Least squares with each row multiplied by the root of its weight.
fn weighted(design: &Design, y: &[f64], weights: &[f64]) -> Result<Vec<f64>, Refusal> {
    let times = |values: &[f64]| values.iter().zip(weights).map(|(value, weight)| value * weight.sqrt()).collect();
    let columns = design.columns().iter().map(|column| Column::new(&column.name, times(&column.values))).collect();
    let fit = least_squares::fit(&Design::through_origin(columns)?, &times(y))?;
    Ok(fit.model.terms.into_iter().map(|term| term.coefficient).collect())
}

fn rest(design: &Design, y: &[f64], coefficients: &[f64]) -> Vec<f64> {
    let fitted = |i: usize| -> f64 { design.values().iter().zip(coefficients).map(|(x, b)| b * x[i]).sum() };
    y.iter().enumerate().map(|(i, y)| y - fitted(i)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_median_of_an_even_number_lies_between_the_middle_two() {
        assert_eq!(median(&[3.0, 1.0, 2.0]), Some(2.0));
        assert_eq!(median(&[4.0, 1.0, 3.0, 2.0]), Some(2.5));
        assert_eq!((median(&[]), median(&[1.0, f64::NAN])), (None, None));
    }

    #[test]
    fn one_wild_value_does_not_move_the_scale() {
        assert_eq!(mad(&[1.0, 2.0, 3.0, 4.0, 1e9]), Some(NORMAL));
        assert_eq!(mad(&[]), None);
    }

    #[test]
    fn one_wild_day_does_not_move_the_fit() {
        let hours: Vec<f64> = (0..20).map(f64::from).collect();
        let mut kwh: Vec<f64> = hours.iter().map(|h| 200.0 + 50.0 * h + f64::from(*h as i32 % 3)).collect();
        kwh[7] += 5_000.0;
        let design = Design::with_constant(20, vec![Column::new("run_h", hours)]).unwrap();
        let found = huber(&design, &kwh).unwrap();
        assert!((found.coefficients[0] - 200.0).abs() < 3.0, "{:?}", found.coefficients);
        assert!((found.coefficients[1] - 50.0).abs() < 0.2, "{:?}", found.coefficients);
        assert!(found.weights[7] < 0.01);
    }

    #[test]
    fn an_exact_fit_stays_as_it_is() {
        let hours: Vec<f64> = (0..9).map(f64::from).collect();
        let kwh: Vec<f64> = hours.iter().map(|h| 3.0 * h).collect();
        let found = huber(&Design::with_constant(9, vec![Column::new("run_h", hours)]).unwrap(), &kwh).unwrap();
        assert!((found.coefficients[1] - 3.0).abs() < 1e-12 && found.scale < 1e-12);
    }
}
