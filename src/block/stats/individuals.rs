//! The chart of single values: spread from one value to the next, blind to slow drift.

use crate::math::mean;

/// Expected range of two normal values, in standard deviations.
/// Source: Montgomery, Introduction to Statistical Quality Control, appendix VI, d2 for n = 2.
const RANGE_OF_TWO_SD: f64 = 1.128;

/// Centre, spread and limits of single values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Individuals {
    /// Mean.
    pub mean: f64,
    /// Mean absolute step from one value to the next.
    pub mean_step: f64,
    /// Standard deviation that such a step speaks for.
    pub sd: f64,
    /// Mean less and plus three of these, by the rounded factor 2.66 of the handbook.
    pub limits: [f64; 2],
}

/// The chart's numbers; `None` for fewer than two values.
///
/// # Source
/// Montgomery, chapter 6 (control charts for individual measurements).
pub fn individuals(values: &[f64]) -> Option<Individuals> {
    let steps: Vec<f64> = values
        .iter()
        .zip(values.iter().skip(1))
        .map(|(a, b)| (b - a).abs())
        .collect();
    let (centre, mean_step) = (mean(values)?, mean(&steps)?);
    Some(Individuals {
        mean: centre,
        mean_step,
        sd: mean_step / RANGE_OF_TWO_SD,
        limits: [centre - 2.66 * mean_step, centre + 2.66 * mean_step],
    })
}
