//! Whether a fit can be trusted: influence, collinearity, autocorrelation, shape of the residuals.

use super::design::Design;
use super::fisher;
use super::least_squares::Fit;
use super::model::Model;

/// Cook's distance of each point: D_i = e_i² h_i / (p s² (1 - h_i)²) (Cook 1977).
/// `None` where a point alone fixes a coefficient (h_i = 1), or the fit is exact.
pub fn cook(fit: &Fit) -> Vec<Option<f64>> {
    let scale = fit.model.parameters() as f64 * fit.model.rmse.powi(2);
    let distance = |(e, h): (&f64, &f64)| {
        let distance = e * e * h / (scale * (1.0 - h).powi(2));
        distance.is_finite().then_some(distance)
    };
    fit.residuals.iter().zip(&fit.leverage).map(distance).collect()
}

/// The distance from which a point moves the coefficients to the edge of their 50 % region: median of F(p, n - p).
pub fn cook_threshold(model: &Model) -> Option<f64> {
    fisher::quantile(0.5, model.parameters() as f64, model.freedom())
}

/// Variance inflation 1 / (1 - R_j²) of each driver, where R_j² is that of the driver on the others; above 5 with care,
/// above 10 the coefficient cannot be read on its own (common practice). The constant has none.
///
/// Taken from the inverse: (X'X)⁻¹_jj times the sum of squares of the driver, about its mean where there is a constant.
pub fn variance_inflation(design: &Design, model: &Model) -> Vec<(String, f64)> {
    let drivers = design.columns().iter().enumerate().skip(usize::from(model.constant));
    drivers
        .map(|(j, column)| {
            let middle = if model.constant { mean(&column.values) } else { 0.0 };
            let squares: f64 = column.values.iter().map(|x| (x - middle).powi(2)).sum();
            (column.name.clone(), model.inverse[j][j] * squares)
        })
        .collect()
}

/// Autocorrelation of residuals from one day to the next, in both usual forms.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lag1 {
    /// Σ e_t e_{t-1} / Σ e_t²: the form used for n' and for formula E.
    pub sum_form: f64,
    /// Correlation of the residuals with those of the day before; `None` where one side does not vary.
    pub pearson: Option<f64>,
    /// How many pairs of consecutive days there were.
    pub pairs: usize,
}

/// Lag-1 autocorrelation over consecutive days only; `None` without a pair or without any residual.
///
/// With gaps the sum of products is scaled by (n - 1) / pairs, so that missing days do not look like independence.
pub fn lag1(residuals: &[f64], days: &[i64]) -> Option<Lag1> {
    let pairs = pairs(residuals, days);
    let squares: f64 = residuals.iter().map(|e| e * e).sum();
    if pairs.is_empty() || squares == 0.0 {
        return None;
    }
    let products: f64 = pairs.iter().map(|(before, now)| before * now).sum();
    let (before, now): (Vec<f64>, Vec<f64>) = pairs.iter().copied().unzip();
    Some(Lag1 {
        sum_form: products / squares * (residuals.len() - 1) as f64 / pairs.len() as f64,
        pearson: correlation(&before, &now),
        pairs: pairs.len(),
    })
}

/// Durbin-Watson statistic Σ (e_t - e_{t-1})² / SSE over consecutive days only, scaled for gaps as in [`lag1`].
pub fn durbin_watson(residuals: &[f64], days: &[i64]) -> Option<f64> {
    let pairs = pairs(residuals, days);
    let squares: f64 = residuals.iter().map(|e| e * e).sum();
    if pairs.is_empty() || squares == 0.0 {
        return None;
    }
    let steps: f64 = pairs.iter().map(|(before, now)| (now - before).powi(2)).sum();
    Some(steps / squares * (residuals.len() - 1) as f64 / pairs.len() as f64)
}

/// Residuals of neighbouring days, the earlier first.
fn pairs(residuals: &[f64], days: &[i64]) -> Vec<(f64, f64)> {
    let neighbours = residuals.windows(2).zip(days.windows(2)).filter(|(_, day)| day[1] - day[0] == 1);
    neighbours.map(|(e, _)| (e[0], e[1])).collect()
}

/// Jarque-Bera test of normal residuals.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct JarqueBera {
    /// n/6 (S² + (K - 3)²/4), chi-square with two degrees of freedom.
    pub statistic: f64,
    /// Probability of so large a value for normal residuals: e^(-JB/2).
    pub p_value: f64,
    /// Skewness S.
    pub skewness: f64,
    /// Kurtosis K; 3 is normal.
    pub kurtosis: f64,
}

/// Jarque and Bera (1987); `None` where the residuals do not vary.
pub fn jarque_bera(residuals: &[f64]) -> Option<JarqueBera> {
    let (n, middle) = (residuals.len() as f64, mean(residuals));
    let moment = |power| residuals.iter().map(|e| (e - middle).powi(power)).sum::<f64>() / n;
    let variance = moment(2);
    if variance.is_nan() || variance <= 0.0 {
        return None;
    }
    let (skewness, kurtosis) = (moment(3) / variance.powf(1.5), moment(4) / variance.powi(2));
    let statistic = n / 6.0 * (skewness.powi(2) + (kurtosis - 3.0).powi(2) / 4.0);
    Some(JarqueBera { statistic, p_value: (-statistic / 2.0).exp(), skewness, kurtosis })
}

/// How a model does on points that it has not seen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Holdout {
    /// Σ(y - ŷ) / (n ȳ), a fraction: positive where the model is too low. n, because nothing was fitted to these points.
    pub nmbe: f64,
    /// √(Σ(y - ŷ)² / n) / ȳ, a fraction.
    pub cv_rmse: f64,
}

/// Bias and scatter of predictions beside what was measured; `None` without points or where their mean is zero.
pub fn holdout(measured: &[f64], predicted: &[f64]) -> Option<Holdout> {
    let errors: Vec<f64> = measured.iter().zip(predicted).map(|(y, expected)| y - expected).collect();
    let squares: Vec<f64> = errors.iter().map(|e| e * e).collect();
    let middle = mean(measured);
    let holdout = Holdout { nmbe: mean(&errors) / middle, cv_rmse: mean(&squares).sqrt() / middle };
    (holdout.nmbe.is_finite() && holdout.cv_rmse.is_finite()).then_some(holdout)
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

/// Pearson's correlation.
fn correlation(x: &[f64], y: &[f64]) -> Option<f64> {
    let (mx, my) = (mean(x), mean(y));
    let sum = |f: &dyn Fn(f64, f64) -> f64| -> f64 { x.iter().zip(y).map(|(x, y)| f(x - mx, y - my)).sum() };
    let r = sum(&|x, y| x * y) / (sum(&|x, _| x * x) * sum(&|_, y| y * y)).sqrt();
    r.is_finite().then_some(r)
}

#[cfg(test)]
mod tests {
    use super::*;

    const RESIDUALS: [f64; 6] = [1.0, 2.0, -1.0, 3.0, -2.0, -3.0];

    #[test]
    fn pairs_across_a_gap_do_not_count() {
        let days = [1, 2, 3, 10, 11, 12];
        let found = lag1(&RESIDUALS, &days).unwrap();
        // Products 2, -2, -6, 6 of four pairs add up to nothing; the pair of -1 and 3 is no pair.
        assert_eq!((found.sum_form, found.pairs), (0.0, 4));
        // Steps 1, -3, -5, -1: 36 over the squares, 28, times five pairs for four.
        assert!((durbin_watson(&RESIDUALS, &days).unwrap() - 36.0 / 28.0 * 1.25).abs() < 1e-12);
    }

    #[test]
    fn without_neighbours_there_is_no_autocorrelation() {
        assert_eq!(lag1(&RESIDUALS, &[1, 3, 5, 7, 9, 11]), None);
        assert_eq!(durbin_watson(&RESIDUALS, &[1, 3, 5, 7, 9, 11]), None);
        assert_eq!(lag1(&[0.0; 3], &[1, 2, 3]), None);
        assert_eq!(lag1(&[], &[]), None);
        assert_eq!(lag1(&[1.0, 1.0], &[1, 2]).unwrap().pearson, None);
    }

    #[test]
    fn what_does_not_vary_has_no_shape_and_no_mean_no_bias() {
        assert_eq!(jarque_bera(&[2.0; 5]), None);
        assert_eq!(jarque_bera(&[]), None);
        assert_eq!(holdout(&[], &[]), None);
        assert_eq!(holdout(&[1.0, -1.0], &[0.0, 0.0]), None);
    }
}
