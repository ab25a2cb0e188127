//! Sums the full-rate samples between two nodes once, so that iterations touch nodes only.
//!
//! Source: Forster, Carlone, Dellaert and Scaramuzza 2017, IEEE Trans. Robotics 33(1), section VI
//! (first-order bias correction); exact exponential map inside each sample.

use nalgebra::{Matrix3, UnitQuaternion, Vector3};

use crate::samples::{Flags, Samples};

/// What happened between two nodes, written in the sensor frame of the first.
#[derive(Debug, Clone, Copy)]
pub(super) struct Step {
    /// Duration, s.
    pub duration_s: f64,
    /// Turn from the first node to the second.
    pub turn: UnitQuaternion<f64>,
    /// Change of velocity by specific force, m/s.
    pub push_m_s: Vector3<f64>,
    /// Change of the turn (small angle at the first node) per unit of bias, s.
    pub turn_by_bias_s: Matrix3<f64>,
    /// Change of the push per unit of bias, m.
    pub push_by_bias_m: Matrix3<f64>,
    /// Share of samples with a clipped rate.
    pub rate_clipped: f64,
    /// Share of samples with a clipped force.
    pub force_clipped: f64,
}

/// The turn of a constant rate over one sample: the exponential map.
pub(super) fn sample_turn(rate_rad_s: &Vector3<f64>, period_s: f64) -> UnitQuaternion<f64> {
    UnitQuaternion::from_scaled_axis(rate_rad_s * period_s)
}

/// Sums samples `first..=last`: sample `first` stands at the first node, `last` at the second.
pub(super) fn sum(samples: &Samples, first: usize, last: usize, period_s: f64) -> Step {
    let mut step = Step {
        duration_s: period_s * (last - first) as f64,
        turn: UnitQuaternion::identity(),
        push_m_s: Vector3::zeros(),
        turn_by_bias_s: Matrix3::zeros(),
        push_by_bias_m: Matrix3::zeros(),
        rate_clipped: 0.0,
        force_clipped: 0.0,
    };
    let share = 1.0 / (last - first).max(1) as f64;
    for index in first..last {
        // trapezoid: mean rate and mean force of the two samples about the interval
        let rate = 0.5 * (samples.gyro_rad_s[index] + samples.gyro_rad_s[index + 1]);
        let turn = sample_turn(&rate, period_s);
        let next_turn = step.turn * turn;
        let force = 0.5
            * (step.turn * samples.accel_m_s2[index] + next_turn * samples.accel_m_s2[index + 1]);
        step.push_by_bias_m -= force.cross_matrix() * step.turn_by_bias_s * period_s;
        step.push_m_s += force * period_s;
        step.turn_by_bias_s -= step.turn.to_rotation_matrix().matrix() * period_s;
        step.turn = next_turn;
        let flags = samples.flags.get(index).copied().unwrap_or_default();
        step.rate_clipped += share * f64::from(u8::from(flags.has(Flags::GYRO_CLIPPED)));
        step.force_clipped += share * f64::from(u8::from(flags.has(Flags::ACCEL_CLIPPED)));
    }
    step
}
