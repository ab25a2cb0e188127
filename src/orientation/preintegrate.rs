//! Sums the full-rate samples between two nodes once, so that iterations touch nodes only.
//!
//! Source: Forster, Carlone, Dellaert and Scaramuzza 2017, IEEE Trans. Robotics 33(1), section VI
//! (first-order bias correction). Inside a sample the turn is the exact exponential map of the mean of
//! the two rates, and the force acts at the turn's middle: the two-sample coning error is of third order
//! in the turn per sample (DEVELOPERS.md, "Orientation").

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
    /// Mean rate, rad/s.
    pub rate_rad_s: Vector3<f64>,
    /// Mean square of the rate's norm, (rad/s)^2.
    pub rate_square: f64,
    /// Mean square of rate cross force: how fast the force turns, (m/s^3)^2.
    pub force_turning_square: f64,
    /// Spread of the rate about its mean, rad/s (root of the sum over axes).
    pub rate_sd_rad_s: f64,
    /// Spread of the force about its mean, m/s^2 (root of the sum over axes).
    pub force_sd_m_s2: f64,
    /// Share of samples with a clipped rate.
    pub rate_clipped: f64,
    /// Share of samples with a clipped force.
    pub force_clipped: f64,
}

/// How far a rate stands behind the force of the same row, samples: a digital gyroscope gives the mean
/// over the interval that ends at the stamp, an accelerometer the value at the stamp.
const RATE_BEHIND_FORCE: f64 = 0.5;

/// Time over which the effect of a bias is summed in one step, s. At 35 rad/s the middle stands for it within
/// 0.3 % (a twenty-fourth of the turn squared), and a bias left in the samples is small itself.
const BIAS_STEP_S: f64 = 0.008;

/// Sums samples `first..=last`: sample `first` stands at the first node, `last` at the second.
/// Both must be indices of `samples`.
pub(super) fn sum(samples: &Samples, first: usize, last: usize, period_s: f64) -> Step {
    let rates = &samples.gyro_rad_s[first..=last];
    let forces = &samples.accel_m_s2[first..=last];
    let mut step = Step {
        duration_s: period_s * (last - first) as f64,
        turn: UnitQuaternion::identity(),
        push_m_s: Vector3::zeros(),
        turn_by_bias_s: Matrix3::zeros(),
        push_by_bias_m: Matrix3::zeros(),
        rate_rad_s: Vector3::zeros(),
        rate_square: 0.0,
        force_turning_square: 0.0,
        rate_sd_rad_s: 0.0,
        force_sd_m_s2: 0.0,
        rate_clipped: 0.0,
        force_clipped: 0.0,
    };
    let share = 1.0 / (last - first).max(1) as f64;
    let mut force_mean = Vector3::zeros();
    let mut force_square = 0.0;
    let together = (BIAS_STEP_S / period_s).round().max(1.0) as usize; // a few samples
    for from in (0..last - first).step_by(together) {
        let to = (from + together).min(last - first);
        let (before, mut push) = (step.turn, Vector3::zeros());
        let pairs = rates[from..=to].windows(2);
        for (rate_pair, force_pair) in pairs.zip(forces[from..=to].windows(2)) {
            let rate = 0.5 * (rate_pair[0] + rate_pair[1]);
            let half = half_turn(&rate, period_s);
            let middle = step.turn * half;
            let here = force_pair[0].lerp(&force_pair[1], 0.5 - RATE_BEHIND_FORCE);
            push += middle * here * period_s;
            step.turn = middle * half;
            step.rate_rad_s += rate * share;
            step.rate_square += rate.norm_squared() * share;
            step.force_turning_square += rate.cross(&here).norm_squared() * share;
            force_mean += here * share;
            force_square += here.norm_squared() * share;
        }
        let middle = before.nlerp(&step.turn, 0.5).to_rotation_matrix();
        let half_way = step.turn_by_bias_s - 0.5 * period_s * (to - from) as f64 * middle.matrix();
        step.push_by_bias_m -= push.cross_matrix() * half_way;
        step.turn_by_bias_s = 2.0 * half_way - step.turn_by_bias_s;
        step.push_m_s += push;
    }
    let variance = |square: f64, mean: &Vector3<f64>| (square - mean.norm_squared()).max(0.0);
    step.rate_sd_rad_s = variance(step.rate_square, &step.rate_rad_s).sqrt();
    step.force_sd_m_s2 = variance(force_square, &force_mean).sqrt();
    for flags in samples.flags.get(first..=last).unwrap_or_default() {
        step.rate_clipped += share * f64::from(u8::from(flags.has(Flags::GYRO_CLIPPED)));
        step.force_clipped += share * f64::from(u8::from(flags.has(Flags::ACCEL_CLIPPED)));
    }
    step
}

/// Terms of the series of sin(x)/x and cos(x) in x^2.
const SINC: [f64; 4] = [1.0 / 6.0, 1.0 / 120.0, 1.0 / 5040.0, 1.0 / 362_880.0];
const COS: [f64; 4] = [1.0 / 2.0, 1.0 / 24.0, 1.0 / 720.0, 1.0 / 40_320.0];

/// Half the turn of one sample by the exponential map.
pub(crate) fn half_turn(rate_rad_s: &Vector3<f64>, period_s: f64) -> UnitQuaternion<f64> {
    // half the angle of the half turn
    let quarter = rate_rad_s * (0.25 * period_s);
    let square = quarter.norm_squared();
    // sin(x)/x and cos(x) by their series: below 0.13 rad (15 000 deg/s at 500 Hz) exact to 1e-15
    let (sinc, cos) = if square < 0.017 {
        (
            1.0 - square * (SINC[0] - square * (SINC[1] - square * (SINC[2] - square * SINC[3]))),
            1.0 - square * (COS[0] - square * (COS[1] - square * (COS[2] - square * COS[3]))),
        )
    } else {
        let angle = square.sqrt();
        (angle.sin() / angle, angle.cos())
    };
    let v = quarter * sinc;
    UnitQuaternion::new_unchecked(nalgebra::Quaternion::new(cos, v.x, v.y, v.z))
}
