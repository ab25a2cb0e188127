//! The exponentially weighted moving average, for charts and for load.

/// The average after each value: `weight * value + (1 - weight) * before`, from `start`.
///
/// # Source
/// Roberts 1959, Technometrics 1:239-250; NIST/SEMATECH e-Handbook 6.3.2.4.
pub fn ewma(values: &[f64], weight: f64, start: f64) -> Vec<f64> {
    values
        .iter()
        .scan(start, |level, value| {
            *level += weight * (value - *level);
            Some(*level)
        })
        .collect()
}

/// Standard deviation of the average after `steps` values of standard deviation 1, the start exact.
///
/// # Source
/// NIST/SEMATECH e-Handbook 6.3.2.4; its limit for many steps is `sqrt(weight / (2 - weight))`.
pub fn ewma_sd(weight: f64, steps: u32) -> f64 {
    let left = (1.0 - weight).powf(2.0 * f64::from(steps));
    (weight / (2.0 - weight) * (1.0 - left)).sqrt()
}

/// Weight of the newest day for an average over `days`: `2 / (days + 1)`.
///
/// # Source
/// Williams et al. 2017, British Journal of Sports Medicine 51:209-210.
pub fn weight_of_days(days: u32) -> f64 {
    2.0 / (f64::from(days) + 1.0)
}
