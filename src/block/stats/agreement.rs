//! How far two measurements of an unchanged athlete differ.

use crate::math::sd;

use super::normal_quantile;

/// Typical error of one measurement from pairs of repeated ones: SD of the differences over sqrt 2.
///
/// # Source
/// Hopkins 2000, Sports Medicine 30:1-15.
pub fn typical_error(first: &[f64], second: &[f64]) -> Option<f64> {
    let differences: Vec<f64> = first.iter().zip(second).map(|(a, b)| b - a).collect();
    sd(&differences).map(|spread| spread / std::f64::consts::SQRT_2)
}

/// Smallest difference between two single measurements that their error alone reaches only with
/// chance `1 - coverage`: `z * sqrt 2 * typical error`.
///
/// # Source
/// Hopkins 2000, limits of agreement form; 2.77 typical errors at 95 %.
pub fn minimal_detectable_difference(typical_error: f64, coverage: f64) -> f64 {
    normal_quantile(0.5 + coverage / 2.0) * std::f64::consts::SQRT_2 * typical_error
}
