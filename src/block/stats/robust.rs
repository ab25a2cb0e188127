//! A centre that a few wild values do not move.

use crate::math::median;

/// Most rounds [`huber_centre`] takes; it settles in far fewer.
const HUBER_ROUNDS: usize = 50;

/// Huber's centre of values that each have their own standard deviation: a weighted mean in which a
/// value farther than `bend_sd` of its own standard deviations pulls no harder than one at that distance.
///
/// # Gives nothing when
/// there is no value, or no standard deviation is above 0.
/// # Source
/// Huber 1964, Annals of Mathematical Statistics 35:73-101; solved by reweighting from the median.
pub fn huber_centre(values: &[f64], sd: &[f64], bend_sd: f64) -> Option<f64> {
    let mut centre = median(values)?;
    for _ in 0..HUBER_ROUNDS {
        let (mut total, mut weights) = (0.0, 0.0);
        for (value, &sd) in values.iter().zip(sd).filter(|(_, sd)| **sd > 0.0) {
            let off_sd = (value - centre).abs() / sd;
            let weight = (bend_sd / off_sd.max(bend_sd)) / (sd * sd);
            total += weight * value;
            weights += weight;
        }
        if weights <= 0.0 {
            return None;
        }
        let next = total / weights;
        let settled = (next - centre).abs() <= 1e-12 * (1.0 + next.abs());
        centre = next;
        if settled {
            break;
        }
    }
    Some(centre)
}
