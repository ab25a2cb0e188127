//! Sums the full-rate samples between two nodes once, so that iterations touch nodes only.
//!
//! Source: Forster, Carlone, Dellaert and Scaramuzza 2017, IEEE Trans. Robotics 33(1), section VI
//! (first-order bias correction). Inside a sample the turn is the exact exponential map of the mean of
//! the two rates, and the force acts at the turn's middle: the two-sample coning error is of third order
//! in the turn per sample (DEVELOPERS.md, "Orientation").

use archmage::autoversion;
use nalgebra::{Matrix3, SimdValue, UnitQuaternion, Vector3};

use super::turns::{Four, Lanes, SIDE, alike, half_turn};
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

/// What is summed over a stretch of samples, or over several side by side.
struct Sums<T> {
    turn: UnitQuaternion<T>,
    push_m_s: Vector3<T>,
    turn_by_bias_s: Matrix3<T>,
    push_by_bias_m: Matrix3<T>,
    rate_rad_s: Vector3<T>,
    rate_square: T,
    force_turning_square: T,
    force_m_s2: Vector3<T>,
    force_square: T,
}

impl<T: Lanes> Sums<T> {
    /// Over so many periods, from rate and force at every sample.
    #[inline(always)]
    fn of(
        count: usize,
        period_s: f64,
        rate_at: impl Fn(usize) -> Vector3<T>,
        force_at: impl Fn(usize) -> Vector3<T>,
    ) -> Self {
        let number = T::splat;
        let mut sums = Self {
            turn: UnitQuaternion::identity(),
            push_m_s: Vector3::zeros(),
            turn_by_bias_s: Matrix3::zeros(),
            push_by_bias_m: Matrix3::zeros(),
            rate_rad_s: Vector3::zeros(),
            rate_square: T::zero(),
            force_turning_square: T::zero(),
            force_m_s2: Vector3::zeros(),
            force_square: T::zero(),
        };
        let together = (BIAS_STEP_S / period_s).round().max(1.0) as usize; // a few samples
        let (mut rate_before, mut force_before) = (rate_at(0), force_at(0));
        for from in (0..count).step_by(together) {
            let to = (from + together).min(count);
            let (before, mut push) = (sums.turn, Vector3::zeros());
            for index in from + 1..=to {
                let (rate_after, force_after) = (rate_at(index), force_at(index));
                let rate = (rate_before + rate_after) * number(0.5);
                let here = force_before.lerp(&force_after, number(0.5 - RATE_BEHIND_FORCE));
                (rate_before, force_before) = (rate_after, force_after);
                let half = half_turn(&rate, number(period_s));
                let middle = sums.turn * half;
                push += middle * here;
                sums.turn = middle * half;
                sums.rate_rad_s += rate;
                sums.rate_square += rate.norm_squared();
                sums.force_turning_square += rate.cross(&here).norm_squared();
                sums.force_m_s2 += here;
                sums.force_square += here.norm_squared();
            }
            let push = push * number(period_s);
            // of twice the quaternion half-way, its length still in it, squared
            let twice = *before + *sums.turn;
            let middle = UnitQuaternion::new_unchecked(twice).to_rotation_matrix();
            let middle = middle.matrix() / twice.norm_squared();
            let half_s = number(0.5 * period_s * (to - from) as f64);
            let half_way = sums.turn_by_bias_s - middle * half_s;
            sums.push_by_bias_m -= push.cross_matrix() * half_way;
            sums.turn_by_bias_s = half_way * number(2.0) - sums.turn_by_bias_s;
            sums.push_m_s += push;
        }
        sums
    }

    /// One of the stretches side by side, with its samples' flags.
    fn step(&self, lane: usize, count: usize, period_s: f64, flags: Option<&[Flags]>) -> Step {
        let share = 1.0 / count.max(1) as f64;
        let flags = flags.unwrap_or_default();
        let flagged = |flag| flags.iter().filter(|flags| flags.has(flag)).count() as f64;
        let rate_rad_s = self.rate_rad_s.extract(lane) * share;
        let rate_square = self.rate_square.extract(lane) * share;
        let force_m_s2 = self.force_m_s2.extract(lane) * share;
        let force_square = self.force_square.extract(lane) * share;
        let spread = |square: f64, mean: &Vector3<f64>| (square - mean.norm_squared()).max(0.0);
        Step {
            duration_s: period_s * count as f64,
            turn: self.turn.extract(lane),
            push_m_s: self.push_m_s.extract(lane),
            turn_by_bias_s: self.turn_by_bias_s.extract(lane),
            push_by_bias_m: self.push_by_bias_m.extract(lane),
            rate_rad_s,
            rate_square,
            force_turning_square: self.force_turning_square.extract(lane) * share,
            rate_sd_rad_s: spread(rate_square, &rate_rad_s).sqrt(),
            force_sd_m_s2: spread(force_square, &force_m_s2).sqrt(),
            rate_clipped: share * flagged(Flags::GYRO_CLIPPED),
            force_clipped: share * flagged(Flags::ACCEL_CLIPPED),
        }
    }
}

/// Sums the samples between neighbouring nodes, which stand at samples `marks`: indices of `samples` in rising
/// order.
pub(super) fn steps(samples: &Samples, marks: &[usize], period_s: f64) -> Vec<Step> {
    let mut steps = Vec::with_capacity(marks.len());
    while let Some(ahead @ [first, last, ..]) = marks.get(steps.len()..) {
        if let Some(starts) = alike(ahead) {
            steps.extend(four_steps(samples, starts, last - first, period_s));
            continue;
        }
        let rates = &samples.gyro_rad_s[*first..=*last];
        let forces = &samples.accel_m_s2[*first..=*last];
        let count = last - first;
        let sums = Sums::of(count, period_s, |index| rates[index], |index| forces[index]);
        steps.push(sums.step(0, count, period_s, samples.flags.get(*first..=*last)));
    }
    steps
}

/// [`steps`] over four stretches of one length, side by side.
#[autoversion(v3)]
fn four_steps(
    samples: &Samples,
    starts: [usize; SIDE],
    count: usize,
    period_s: f64,
) -> [Step; SIDE] {
    let rates = starts.map(|start| &samples.gyro_rad_s[start..=start + count]);
    let forces = starts.map(|start| &samples.accel_m_s2[start..=start + count]);
    let sums: Sums<Four> = Sums::of(
        count,
        period_s,
        |index| rates.map(|rates| rates[index]).into(),
        |index| forces.map(|forces| forces[index]).into(),
    );
    std::array::from_fn(|lane| {
        let flags = samples.flags.get(starts[lane]..=starts[lane] + count);
        sums.step(lane, count, period_s, flags)
    })
}

#[cfg(test)]
mod tests {
    use super::super::spelled::spell_out;
    use super::*;

    /// Four stretches side by side against one after the other, a shorter one behind them.
    #[test]
    fn stretches_side_by_side_are_those_one_by_one() {
        let wave = |k: i32, scale: f64| {
            let phase = 0.2 * f64::from(k);
            Vector3::new(phase.sin(), (1.7 * phase).cos(), 0.3 * phase.cos()) * scale
        };
        let samples = Samples {
            rate_hz: 100.0,
            time_s: (0..58).map(|k| 0.01 * f64::from(k)).collect(),
            accel_m_s2: (0..58).map(|k| wave(k + 3, 12.0)).collect(),
            gyro_rad_s: (0..58).map(|k| wave(k, 9.0)).collect(),
            flags: (0..58)
                .map(|k| Flags(if k % 9 == 0 { Flags::GYRO_CLIPPED.0 } else { 0 }))
                .collect(),
        };
        let marks = [0, 11, 22, 33, 44, 51, 57];
        let node = |k: i32| {
            (
                UnitQuaternion::from_scaled_axis(wave(k, 0.8)),
                wave(k, 0.01),
            )
        };
        let nodes: Vec<_> = (0..7).map(node).collect();
        let together = steps(&samples, &marks, 0.01);
        let spelled = spell_out(&samples, &marks, &nodes, 0.01);
        assert_eq!((together.len(), spelled.len()), (6, 57));
        for (index, step) in together.iter().enumerate() {
            let ends = &marks[index..index + 2];
            let alone = steps(&samples, ends, 0.01)[0];
            assert!(step.turn.angle_to(&alone.turn) < 1e-7);
            assert!((step.push_m_s - alone.push_m_s).amax() < 1e-12);
            assert!((step.push_by_bias_m - alone.push_by_bias_m).amax() < 1e-12);
            assert!((step.turn_by_bias_s - alone.turn_by_bias_s).amax() < 1e-12);
            assert!((step.rate_rad_s - alone.rate_rad_s).amax() < 1e-12);
            let numbers = |step: &Step| {
                [
                    step.force_turning_square,
                    step.rate_sd_rad_s,
                    step.force_sd_m_s2,
                    step.rate_clipped,
                ]
            };
            for (one, other) in numbers(step).into_iter().zip(numbers(&alone)) {
                assert!((one - other).abs() < 1e-9 * other.abs());
            }
            let alone = spell_out(&samples, ends, &nodes[index..index + 2], 0.01);
            let found = &spelled[ends[0]..ends[1]];
            assert!(
                found
                    .iter()
                    .zip(&alone)
                    .all(|(one, other)| one.angle_to(other) < 1e-7)
            );
        }
    }
}
