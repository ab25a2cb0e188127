//! How hard a limb is braked after impact.

use super::{MeasuresParams, UnitWindow};
use crate::estimate::{Estimate, Why};
use crate::samples::Flags;

/// Fewest samples for a slope.
const LEAST_SAMPLES: usize = 5;

/// Mean fall of the resultant rate after impact, rad/s^2, positive when it falls: the slope of a straight
/// line through the samples, so that the racket's ringing averages out.
///
/// # Errors
/// Why not: no samples there, or the rate at the sensor's limit.
pub fn braking(
    unit: &UnitWindow,
    impact_s: &Estimate<f64>,
    params: &MeasuresParams,
) -> Result<Estimate<f64>, Why> {
    let samples = &unit.samples;
    let from_s = impact_s.value + params.shock_s;
    let to_s = impact_s.value + params.braking_s;
    let from = samples.time_s.partition_point(|&t| t < from_s);
    let to = samples.time_s.partition_point(|&t| t <= to_s);
    let (times_s, rates) = match (
        samples.time_s.get(from..to),
        samples.gyro_rad_s.get(from..to),
    ) {
        (Some(times_s), Some(rates)) if times_s.len() >= LEAST_SAMPLES => (times_s, rates),
        _ => return Err(Why::NoSamples),
    };
    let flags = samples.flags.get(from..to).unwrap_or_default();
    let clipped = flags.iter().filter(|f| f.has(Flags::GYRO_CLIPPED)).count();
    if clipped > 0 {
        let samples = u32::try_from(clipped).unwrap_or(u32::MAX);
        return Err(Why::Clipped { samples });
    }
    let norms: Vec<f64> = rates.iter().map(nalgebra::Vector3::norm).collect();
    let count = norms.len() as f64;
    let mean_s = times_s.iter().sum::<f64>() / count;
    let mean = norms.iter().sum::<f64>() / count;
    let spread: f64 = times_s.iter().map(|t| (t - mean_s).powi(2)).sum();
    let pairs = || times_s.iter().zip(&norms);
    let slope = pairs().map(|(t, r)| (t - mean_s) * (r - mean)).sum::<f64>() / spread;
    // the line moved by the error of impact: half a window earlier and later, the slope changes by its bend
    let middle = times_s.len() / 2;
    let part = |range: std::ops::Range<usize>| {
        let (times_s, norms) = (&times_s[range.clone()], &norms[range]);
        let first = norms.first().zip(norms.last());
        let ends_s = times_s.first().zip(times_s.last());
        first
            .zip(ends_s)
            .map_or(0.0, |((a, b), (s, e))| (b - a) / (e - s).max(1e-3))
    };
    let bend = (part(middle..norms.len()) - part(0..middle)) / (0.5 * params.braking_s);
    let time_sd_s = impact_s.sd.hypot(unit.tie_sd_s);
    let off: f64 = pairs()
        .map(|(t, r)| (r - mean - slope * (t - mean_s)).powi(2))
        .sum();
    let scatter = (off / (count - 2.0) / spread).sqrt();
    let sd = scatter
        .hypot(bend * time_sd_s)
        .hypot(params.scale_share * slope);
    Ok(Estimate {
        value: -slope,
        sd,
        n: u32::try_from(norms.len()).unwrap_or(u32::MAX),
    })
}
