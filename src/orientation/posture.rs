//! What a segment did since it last stood still, without knowing how its unit is mounted.
//!
//! Turn about the vertical since stance, lean against stance, and rate about the vertical need no
//! sensor-to-segment rotation: the unit's own attitude at stance is the zero. Headings of two units
//! start anywhere, so only their changes since a common stance can be compared; that difference drifts
//! with what is left of the gyroscopes' bias and scale, and the drift is stated.

use nalgebra::{UnitQuaternion, Vector3};

use super::{Attitude, OrientationParams, level};
use crate::calibration::Leftover;
use crate::estimate::{Estimate, Reading, Why};
use crate::samples::Samples;

/// Turn and lean of one unit's segment against its own stance.
#[derive(Debug, Clone, PartialEq)]
pub struct Posture {
    /// Unit clock, s, one per sample of the window.
    pub time_s: Vec<f64>,
    /// Turn about the vertical since stance, rad, left positive, continuous.
    pub turn_rad: Vec<f64>,
    /// Standard uncertainty of the turn, rad.
    pub turn_sd_rad: Vec<f64>,
    /// Angle between the vertical and the direction that was vertical at stance, rad.
    pub lean_rad: Vec<f64>,
    /// Standard uncertainty of the lean, rad.
    pub lean_sd_rad: Vec<f64>,
    /// Rate about the vertical, rad/s, left positive.
    pub vertical_rate_rad_s: Vec<f64>,
}

/// Share of a turn that scale error adds or takes, as a spread: public six-axis datasheets allow up to
/// 3 % before board calibration.
const SCALE_SD: f64 = 0.01;

/// Turn and lean of a window against its still stretch `stance_s` (unit clock, s, from and to).
///
/// # Errors
/// Why there is none: no samples in the stretch, or a gap between it and the rest.
pub fn since_stance(
    samples: &Samples,
    attitude: &Attitude,
    stance_s: (f64, f64),
    leftover: Leftover,
    params: &OrientationParams,
) -> Result<Posture, Why> {
    let from = samples.time_s.partition_point(|&t| t < stance_s.0);
    let to = samples.time_s.partition_point(|&t| t <= stance_s.1);
    let stood = attitude.sensor_to_world.get(from..to).unwrap_or_default();
    let middle = stood.get(stood.len() / 2).ok_or(Why::NoSamples)?;
    if samples.runs().len() != 1 {
        return Err(Why::Gap);
    }
    let stance_up = mean_up(stood);
    let mut out = Posture {
        time_s: samples.time_s.clone(),
        turn_rad: turns(&attitude.sensor_to_world, middle, from + (to - from) / 2),
        turn_sd_rad: Vec::with_capacity(samples.len()),
        lean_rad: Vec::with_capacity(samples.len()),
        lean_sd_rad: Vec::with_capacity(samples.len()),
        vertical_rate_rad_s: Vec::with_capacity(samples.len()),
    };
    let stance_middle_s = 0.5 * (stance_s.0 + stance_s.1);
    let bias_sd_rad_s = leftover.bias_rad_s.norm() / 3.0_f64.sqrt();
    for (index, q) in attitude.sensor_to_world.iter().enumerate() {
        out.lean_rad.push((q * stance_up).angle(&Vector3::z()));
        let tilt_sd = attitude
            .inclination_sd_rad
            .as_ref()
            .and_then(|sds| sds.get(index))
            .copied()
            .unwrap_or(params.tilt_floor_rad);
        // both ends of the comparison are uncertain alike
        out.lean_sd_rad.push(std::f64::consts::SQRT_2 * tilt_sd);
        let rate = samples.gyro_rad_s.get(index).copied().unwrap_or_default();
        out.vertical_rate_rad_s.push((q * rate).z);
        let apart_s = (samples.time_s[index] - stance_middle_s).abs();
        let wander = params.turn_wander_rad * apart_s.sqrt();
        let scale = SCALE_SD * out.turn_rad[index].abs();
        out.turn_sd_rad
            .push((bias_sd_rad_s * apart_s).hypot(wander).hypot(scale));
    }
    Ok(out)
}

/// Mean direction of up in sensor axes.
fn mean_up(attitudes: &[UnitQuaternion<f64>]) -> Vector3<f64> {
    let sum: Vector3<f64> = attitudes.iter().map(|q| q.inverse() * Vector3::z()).sum();
    // undoes a level turn: the direction itself, whatever its length
    level(&sum).inverse() * Vector3::z()
}

/// Turn about the vertical against a reference attitude, unrolled from sample `zero` both ways.
fn turns(
    attitudes: &[UnitQuaternion<f64>],
    reference: &UnitQuaternion<f64>,
    zero: usize,
) -> Vec<f64> {
    let mut turns: Vec<f64> = attitudes
        .iter()
        .map(|q| {
            let since = q * reference.inverse();
            2.0 * since.k.atan2(since.w)
        })
        .collect();
    let (before, after) = turns.split_at_mut(zero.min(attitudes.len()));
    let start = after.first().copied().unwrap_or_default();
    unroll(after.iter_mut(), start);
    unroll(before.iter_mut().rev(), start);
    turns
}

fn unroll<'a>(turns: impl Iterator<Item = &'a mut f64>, start_rad: f64) {
    let mut last = start_rad;
    for turn in turns {
        *turn -= std::f64::consts::TAU * ((*turn - last) / std::f64::consts::TAU).round();
        last = *turn;
    }
}

/// How far one segment has turned about the vertical against another since their common stance, at a
/// time: `upper` minus `lower`, left positive, rad. `at_s` holds the instant on each unit's own clock
/// (s), upper first.
pub fn separation(upper: &Posture, lower: &Posture, at_s: [f64; 2]) -> Reading<f64> {
    let [upper_at, lower_at] = [(upper, at_s[0]), (lower, at_s[1])].map(|(posture, time_s)| {
        Some(Estimate::one(
            between(&posture.time_s, &posture.turn_rad, time_s)?,
            between(&posture.time_s, &posture.turn_sd_rad, time_s)?,
        ))
    });
    match (upper_at, lower_at) {
        (Some(u), Some(l)) => Reading::Known(Estimate::one(u.value - l.value, u.sd.hypot(l.sd))),
        _ => Reading::Unknown(Why::NoSamples),
    }
}

/// Linear interpolation; nothing outside.
fn between(time_s: &[f64], values: &[f64], at_s: f64) -> Option<f64> {
    let after = time_s.partition_point(|&t| t < at_s);
    let (t1, v1) = (time_s.get(after)?, values.get(after)?);
    match after.checked_sub(1) {
        None => (*t1 <= at_s).then_some(*v1),
        Some(before) => {
            let (t0, v0) = (time_s.get(before)?, values.get(before)?);
            Some(v0 + (v1 - v0) * (at_s - t0) / (t1 - t0))
        }
    }
}
