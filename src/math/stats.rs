//! Means, medians, spreads and proportions.

use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

use crate::units::COVERAGE_95;

/// Scales a median absolute deviation to the standard deviation of a normal error.
/// Source: 1 / quantile(0.75) of the standard normal; Rousseeuw & Croux 1993, J Am Stat Assoc 88:1273.
pub const MAD_TO_SD: f64 = 1.482_602_218_505_602;

/// Large-sample ratio of the standard error of a median to that of a mean, normal errors: sqrt(pi/2).
/// Source: Kendall & Stuart, Advanced Theory of Statistics vol. 1, 10.10 (from memory for the place).
const MEDIAN_EFFICIENCY_LOSS: f64 = 1.253_314_137_315_500_3;

/// Arithmetic mean; `None` of nothing. Summed in the order given.
pub fn mean(values: &[f64]) -> Option<f64> {
    (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
}

/// Standard deviation, divisor n - 1; `None` under two values.
pub fn sd(values: &[f64]) -> Option<f64> {
    let centre = mean(values)?;
    let squares: f64 = values.iter().map(|v| (v - centre).powi(2)).sum();
    (values.len() > 1).then(|| (squares / (values.len() - 1) as f64).sqrt())
}

/// Quantile by linear interpolation between order statistics (Hyndman & Fan 1996, type 7).
/// `share` in 0..=1; `None` of nothing.
///
/// ```
/// assert_eq!(overarm::math::quantile(&[4.0, 1.0, 2.0, 3.0], 0.5), Some(2.5));
/// ```
pub fn quantile(values: &[f64], share: f64) -> Option<f64> {
    quantile_of(&mut values.to_vec(), share)
}

/// [`quantile`] of values whose order is free to change.
fn quantile_of(values: &mut [f64], share: f64) -> Option<f64> {
    let place = share.clamp(0.0, 1.0) * values.len().checked_sub(1)? as f64;
    let below = place.floor() as usize; // inside the slice: share is at most 1
    let (_, low, beyond) = values.select_nth_unstable_by(below, f64::total_cmp);
    let low = *low;
    let high = beyond.iter().copied().min_by(f64::total_cmp).unwrap_or(low);
    Some(low + (place - below as f64) * (high - low))
}

/// Middle value; `None` of nothing.
pub fn median(values: &[f64]) -> Option<f64> {
    quantile(values, 0.5)
}

/// Robust standard deviation: 1.4826 times the median absolute deviation from the median.
pub fn mad_sd(values: &[f64]) -> Option<f64> {
    let mut away = values.to_vec();
    let centre = quantile_of(&mut away, 0.5)?;
    away.iter_mut().for_each(|v| *v = (*v - centre).abs());
    quantile_of(&mut away, 0.5).map(|mad| MAD_TO_SD * mad)
}

/// Standard uncertainty of a median of independent values with standard deviation `spread`.
pub fn median_sd(spread: f64, n: usize) -> f64 {
    MEDIAN_EFFICIENCY_LOSS * spread / (n.max(1) as f64).sqrt()
}

/// Fewest values of which the robust spread is taken; of fewer the plain standard deviation.
const ROBUST_FROM: usize = 5;
/// A median deviation tells a spread as well as this share of the values would by their standard deviation
/// (Rousseeuw & Croux 1993, J Am Stat Assoc 88:1273).
const MAD_EFFICIENCY: f64 = 0.37;

/// Spread of a practice's few values; `None` under two.
pub fn spread(values: &[f64]) -> Option<f64> {
    if values.len() < ROBUST_FROM {
        sd(values)
    } else {
        mad_sd(values)
    }
}

/// Uncertainty of a median of `n` values whose [`spread`] was taken from themselves: 1.96 of it is the half-width of the
/// median's 95 % interval. Student's quantile, for a spread from few values is poorly known (held for normal values by
/// `tests/math/mod.rs`).
pub fn median_u(spread: f64, n: usize) -> f64 {
    let others = n.saturating_sub(1).max(1) as f64;
    let freedom = if n < ROBUST_FROM {
        others
    } else {
        MAD_EFFICIENCY * others + 1.0
    };
    median_sd(spread, n) * student_quantile(0.975, freedom) / COVERAGE_95
}

/// Quantile of Student's t; the normal's where `freedom` is infinite.
pub fn student_quantile(probability: f64, freedom: f64) -> f64 {
    match StudentsT::new(0.0, 1.0, freedom) {
        Ok(t) if freedom < 1e6 => t.inverse_cdf(probability),
        _ => normal_quantile(probability),
    }
}

/// Quantile of the standard normal.
pub fn normal_quantile(probability: f64) -> f64 {
    Normal::standard().inverse_cdf(probability)
}

/// Wilson 95 % interval of a proportion; `None` of no trials.
/// Source: Wilson 1927, J Am Stat Assoc 22:209-212.
///
/// ```
/// let [low, high] = overarm::math::wilson_interval(18, 20).unwrap();
/// assert!((low - 0.6990).abs() < 5e-5 && (high - 0.9721).abs() < 5e-5);
/// ```
pub fn wilson_interval(hits: u32, trials: u32) -> Option<[f64; 2]> {
    if trials == 0 {
        return None;
    }
    let (n, z2) = (f64::from(trials), COVERAGE_95 * COVERAGE_95);
    let share = f64::from(hits) / n;
    let centre = (share + z2 / (2.0 * n)) / (1.0 + z2 / n);
    let half =
        COVERAGE_95 / (1.0 + z2 / n) * (share * (1.0 - share) / n + z2 / (4.0 * n * n)).sqrt();
    Some([(centre - half).max(0.0), (centre + half).min(1.0)])
}
