//! What a segment did since it last stood still, without knowing how its unit is mounted.
//!
//! Turn about the vertical since stance, lean against stance, and rate about the vertical need no
//! sensor-to-segment rotation: the unit's own attitude at stance is the zero. Headings of two units
//! start anywhere, so only their changes since a common stance can be compared; how far that difference
//! drifts is for whoever compares to say.

use nalgebra::{UnitQuaternion, Vector3};

use super::{Attitude, OrientationParams, level};
use crate::estimate::Why;
use crate::samples::Samples;

/// Turn and lean of one unit's segment against its own stance, by the window's samples.
#[derive(Debug, Clone, PartialEq)]
pub struct Posture<'a> {
    samples: &'a Samples,
    attitude: &'a Attitude,
    stance_up: Vector3<f64>,
    tilt_floor_rad: f64,
    turn_rad: Vec<f64>,
}

/// Turn and lean of a window against its still stretch `stance_s` (unit clock, s, from and to).
///
/// # Errors
/// Why there is none: no samples in the stretch, or a gap between it and the rest.
pub fn since_stance<'a>(
    samples: &'a Samples,
    attitude: &'a Attitude,
    stance_s: (f64, f64),
    params: &OrientationParams,
) -> Result<Posture<'a>, Why> {
    let from = samples.time_s.partition_point(|&t| t < stance_s.0);
    let to = samples.time_s.partition_point(|&t| t <= stance_s.1);
    let stood = attitude.sensor_to_world.get(from..to).unwrap_or_default();
    let middle = stood.get(stood.len() / 2).ok_or(Why::NoSamples)?;
    if samples.runs().len() != 1 {
        return Err(Why::Gap);
    }
    Ok(Posture {
        samples,
        attitude,
        stance_up: mean_up(stood),
        tilt_floor_rad: params.tilt_floor_rad,
        turn_rad: turns(&attitude.sensor_to_world, middle, from + (to - from) / 2),
    })
}

impl Posture<'_> {
    /// Unit clock, s, of every sample.
    pub fn time_s(&self) -> &[f64] {
        &self.samples.time_s
    }
    /// Turn about the vertical since stance, rad, left positive, continuous.
    pub fn turn_rad(&self, index: usize) -> Option<f64> {
        self.turn_rad.get(index).copied()
    }
    /// Angle between the vertical and the direction that was vertical at stance, rad.
    pub fn lean_rad(&self, index: usize) -> Option<f64> {
        let attitude = self.attitude.sensor_to_world.get(index)?;
        Some((attitude * self.stance_up).angle(&Vector3::z()))
    }
    /// Standard uncertainty of the lean, rad: both ends of the comparison are uncertain alike.
    pub fn lean_sd_rad(&self, index: usize) -> Option<f64> {
        let own = self.attitude.inclination_sd_rad.as_ref();
        let tilt_sd = own.map_or(Some(self.tilt_floor_rad), |sds| sds.get(index).copied())?;
        Some(std::f64::consts::SQRT_2 * tilt_sd)
    }
    /// Rate about the vertical, rad/s, left positive.
    pub fn vertical_rate_rad_s(&self, index: usize) -> Option<f64> {
        let attitude = self.attitude.sensor_to_world.get(index)?;
        Some((attitude * self.samples.gyro_rad_s.get(index)?).z)
    }
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
