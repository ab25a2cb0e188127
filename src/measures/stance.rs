//! The quiet stance before a serve: the zero of every angle.

use super::{MeasuresParams, UnitWindow};

/// A stretch in which every unit of the core was quiet, reference clock.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stance {
    /// From, s.
    pub from_s: f64,
    /// To, s.
    pub to_s: f64,
    /// Root mean square rate of the liveliest unit, rad/s.
    pub rate_rad_s: f64,
}

impl Stance {
    /// Its middle, s.
    pub fn middle_s(&self) -> f64 {
        f64::midpoint(self.from_s, self.to_s)
    }
}

/// Between two looks at the stance, s.
const STEP_S: f64 = 0.05;
/// From the last quiet look back to the quietest of the same stance, s.
const SAME_STANCE_S: f64 = 0.6;

/// The quietest part of the last quiet stretch before a serve.
///
/// # Gives nothing when
/// no unit is given, or none stands still as long as a stance before loading.
pub fn quiet_stance(
    units: &[&UnitWindow],
    impact_s: f64,
    params: &MeasuresParams,
) -> Option<Stance> {
    if units.is_empty() {
        return None;
    }
    let last_s = impact_s - params.stance_before_s - params.stance_s;
    let span_s = params.before_s - params.stance_before_s - params.stance_s;
    // a few seconds over a fixed step: a small whole number
    let looks = (span_s / STEP_S).max(0.0) as usize;
    let stances: Vec<Stance> = (0..=looks)
        .map(|back| last_s - back as f64 * STEP_S)
        .filter_map(|from_s| {
            let to_s = from_s + params.stance_s;
            let rates = units.iter().map(|unit| rate_rad_s(unit, from_s, to_s));
            let rate_rad_s = rates.collect::<Option<Vec<f64>>>()?;
            let rate_rad_s = rate_rad_s.into_iter().fold(0.0, f64::max);
            Some(Stance {
                from_s,
                to_s,
                rate_rad_s,
            })
        })
        .collect();
    let last = stances.iter().find(|s| s.rate_rad_s < params.quiet_rad_s)?;
    stances
        .iter()
        .filter(|s| (0.0..=SAME_STANCE_S).contains(&(last.from_s - s.from_s)))
        .min_by(|a, b| a.rate_rad_s.total_cmp(&b.rate_rad_s))
        .copied()
}

/// Root mean square rate; nothing where the stretch is not covered.
fn rate_rad_s(unit: &UnitWindow, from_s: f64, to_s: f64) -> Option<f64> {
    let samples = &unit.samples;
    let covered = samples.time_s.first()? <= &from_s && samples.time_s.last()? >= &to_s;
    let from = samples.time_s.partition_point(|&t| t < from_s);
    let to = samples.time_s.partition_point(|&t| t <= to_s);
    let rates = samples.gyro_rad_s.get(from..to)?;
    let square: f64 = rates.iter().map(nalgebra::Vector3::norm_squared).sum();
    (covered && !rates.is_empty()).then(|| (square / rates.len() as f64).sqrt())
}
