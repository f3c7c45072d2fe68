//! Combining standard uncertainties: JCGM 100:2008, the GUM.

use super::student;

/// Standard uncertainty of a value of which only limits ± a are known: a / √3 (GUM 4.3.7).
pub fn rectangular(limit: f64) -> f64 {
    limit / 3_f64.sqrt()
}

/// Root of the sum of squares of independent contributions c_i u_i (GUM 5.1.2).
pub fn combined(contributions: impl IntoIterator<Item = f64>) -> f64 {
    contributions.into_iter().map(|u| u * u).sum::<f64>().sqrt()
}

/// Effective degrees of freedom of contributions with their own: u_c⁴ / Σ (u_i⁴ / ν_i), Welch-Satterthwaite (GUM G.4.1).
/// Infinity for what is known without error; `None` where every contribution is, or is zero.
pub fn effective_freedom(contributions: &[(f64, f64)]) -> Option<f64> {
    let spread: f64 = contributions.iter().map(|(u, freedom)| u.powi(4) / freedom).sum();
    let freedom = combined(contributions.iter().map(|(u, _)| *u)).powi(4) / spread;
    freedom.is_finite().then_some(freedom)
}

/// U = t u_c with the effective degrees of freedom cut to a whole number, as GUM G.4.1 has it.
pub fn expanded(standard: f64, freedom: f64, confidence: f64) -> Option<f64> {
    Some(student::two_sided(confidence, freedom.floor())? * standard)
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::Value;

    /// GUM H.1, end-gauge calibration, in nm with degrees of freedom: standard 25 (18); difference 5.8 (24), 3.9 (5), 6.7 (8);
    /// expansion 2.9 (50); temperature 16.6 (2). The GUM rounds to 32 nm, 16 and U99 = 93 nm.
    #[test]
    fn the_end_gauge_of_the_gum_comes_out() {
        let file: Value =
            serde_json::from_str(include_str!("../../tests/reference/charts/decomp_gum_checks.json")).unwrap();
        let expected = |key: &str| file["gum_h1"][key].as_f64().unwrap();
        let difference = [(5.8, 24.0), (3.9, 5.0), (6.7, 8.0)];
        let all = [(25.0, 18.0), difference[0], difference[1], difference[2], (2.9, 50.0), (16.6, 2.0)];
        let only = |contributions: &[(f64, f64)]| combined(contributions.iter().map(|(u, _)| *u));
        assert!((only(&difference) - expected("u_d")).abs() < 1e-12);
        assert!((effective_freedom(&difference).unwrap() - expected("nu_d")).abs() < 1e-12);
        let difference = (only(&difference), effective_freedom(&difference).unwrap());
        let grouped = [all[0], difference, all[4], all[5]];
        assert!((only(&grouped) - expected("u_c")).abs() < 1e-12);
        let freedom = effective_freedom(&grouped).unwrap();
        assert!((freedom - expected("nu_eff")).abs() < 1e-12);
        assert_eq!((only(&all).round(), freedom.floor()), (32.0, 16.0));
        assert!((expanded(32.0, freedom, 0.99).unwrap() - expected("U99")).abs() < 1e-9);
    }

    #[test]
    fn what_is_known_without_error_adds_no_freedom() {
        assert_eq!(effective_freedom(&[(3.0, f64::INFINITY), (4.0, f64::INFINITY)]), None);
        assert_eq!(effective_freedom(&[]), None);
        let found = effective_freedom(&[(3.0, f64::INFINITY), (4.0, 10.0)]).unwrap();
        assert!((found - 625.0 / 25.6).abs() < 1e-12);
    }
}
