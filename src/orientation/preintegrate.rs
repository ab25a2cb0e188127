//! Sums the full-rate samples between two nodes once, so that iterations touch nodes only.
//!
//! Source: Forster, Carlone, Dellaert and Scaramuzza 2017, IEEE Trans. Robotics 33(1), section VI
//! (first-order bias correction). Inside a sample the turn is the exact exponential map of the mean of
//! the two rates, and the force acts at the turn's middle: the two-sample coning error is of third order
//! in the turn per sample (DEVELOPERS.md, "Orientation").

use archmage::autoversion;
use nalgebra::{Matrix3, Quaternion, SimdBool, SimdRealField, SimdValue, UnitQuaternion, Vector3};
use simba::simd::AutoF64x4;

use crate::samples::{Flags, Samples};

/// Stretches that are gone through side by side: within one every sample waits for the one before.
const SIDE: usize = 4;

/// A number of each of them.
type Four = AutoF64x4;

/// A number, or several side by side.
pub(crate) trait Lanes: SimdRealField<Element = f64> + Copy {}
impl<T: SimdRealField<Element = f64> + Copy> Lanes for T {}

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

/// The starts of the next four stretches between marks where these are of one length.
fn alike(marks: &[usize]) -> Option<[usize; SIDE]> {
    let [first, second, ..] = marks.get(..=SIDE)? else {
        return None;
    };
    let even = marks
        .windows(2)
        .take(SIDE)
        .all(|ends| ends[1] - ends[0] == second - first);
    even.then(|| marks.first_chunk().copied())?
}

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

/// Attitudes at the samples of a stretch, or of several side by side, that lead from one node to the next: the
/// gyroscope leads, and the small disagreement with the next node is shared out evenly.
#[inline(always)]
fn attitudes<T: Lanes>(
    [start, end]: [UnitQuaternion<T>; 2],
    bias_rad_s: Vector3<T>,
    (count, period_s): (usize, f64),
    rate_at: impl Fn(usize) -> Vector3<T>,
    mut found: impl FnMut(usize, UnitQuaternion<T>),
) {
    let number = T::splat;
    let mut led = Vec::with_capacity(count);
    let (mut attitude, mut before) = (start, rate_at(0));
    for index in 1..=count {
        led.push(attitude);
        let after = rate_at(index);
        let rate = (before + after) * number(0.5) - bias_rad_s;
        attitude *= half_turn(&rate, number(2.0 * period_s));
        before = after;
    }
    let missed = end * attitude.inverse();
    let mut left = Vector3::zeros();
    for lane in 0..T::LANES {
        left.replace(lane, missed.extract(lane).scaled_axis());
    }
    for (index, attitude) in led.into_iter().enumerate() {
        let share = index as f64 / count as f64;
        let mut attitude = half_turn(&left, number(2.0 * share)) * attitude;
        attitude.renormalize_fast();
        found(index, attitude);
    }
}

/// Attitudes at all samples from the first of `marks` to before the last, from those of the nodes at `marks` and
/// the bias ahead of each, rad/s.
pub(super) fn spell_out(
    samples: &Samples,
    marks: &[usize],
    nodes: &[(UnitQuaternion<f64>, Vector3<f64>)],
    period_s: f64,
) -> Vec<UnitQuaternion<f64>> {
    let mut all = vec![UnitQuaternion::identity(); spanned(marks)];
    let (mut done, mut out) = (0, all.as_mut_slice());
    while let Some(ahead @ [first, last, ..]) = marks.get(done..) {
        let count = last - first;
        if let (Some(starts), Some(nodes)) = (alike(ahead), nodes[done..].first_chunk()) {
            let (here, behind) = out.split_at_mut(SIDE * count);
            four_attitudes(samples, starts, nodes, (count, period_s), here);
            (done, out) = (done + SIDE, behind);
            continue;
        }
        let rates = &samples.gyro_rad_s[*first..=*last];
        let (here, behind) = out.split_at_mut(count);
        let ends = [nodes[done].0, nodes[done + 1].0];
        let found = |index: usize, attitude| here[index] = attitude;
        attitudes(
            ends,
            nodes[done].1,
            (count, period_s),
            |index| rates[index],
            found,
        );
        (done, out) = (done + 1, behind);
    }
    all
}

/// Samples from the first mark to before the last.
fn spanned(marks: &[usize]) -> usize {
    marks
        .first()
        .zip(marks.last())
        .map_or(0, |(first, last)| last - first)
}

#[autoversion(v3)]
fn four_attitudes(
    samples: &Samples,
    starts: [usize; SIDE],
    nodes: &[(UnitQuaternion<f64>, Vector3<f64>); SIDE + 1],
    (count, period_s): (usize, f64),
    out: &mut [UnitQuaternion<f64>],
) {
    let rates = starts.map(|start| &samples.gyro_rad_s[start..=start + count]);
    let ends = [0, 1].map(|end| std::array::from_fn(|lane| nodes[lane + end].0).into());
    let bias_rad_s: Vector3<Four> = std::array::from_fn(|lane| nodes[lane].1).into();
    let rate_at = |index: usize| rates.map(|rates| rates[index]).into();
    let found = |index: usize, attitude: UnitQuaternion<Four>| {
        for lane in 0..SIDE {
            out[lane * count + index] = attitude.extract(lane);
        }
    };
    attitudes(ends, bias_rad_s, (count, period_s), rate_at, found);
}

/// Terms of the series of sin(x)/x and cos(x) in x^2.
const SINC: [f64; 4] = [1.0 / 6.0, 1.0 / 120.0, 1.0 / 5040.0, 1.0 / 362_880.0];
const COS: [f64; 4] = [1.0 / 2.0, 1.0 / 24.0, 1.0 / 720.0, 1.0 / 40_320.0];

/// Half the turn of one sample by the exponential map.
#[inline(always)]
pub(crate) fn half_turn<T: Lanes>(rate_rad_s: &Vector3<T>, period_s: T) -> UnitQuaternion<T> {
    let number = T::splat;
    // half the angle of the half turn
    let quarter = rate_rad_s * (number(0.25) * period_s);
    let square = quarter.norm_squared();
    let series = |[a, b, c, d]: [f64; 4]| {
        let rest = number(b) - square * (number(c) - square * number(d));
        T::one() - square * (number(a) - square * rest)
    };
    let (mut sinc, mut cos) = (series(SINC), series(COS));
    // sin(x)/x and cos(x) by their series: below 0.13 rad (15 000 deg/s at 500 Hz) exact to 1e-15
    let small = square.simd_lt(number(0.017));
    if !small.all() {
        let (exact_sinc, exact_cos) = exact(square);
        sinc = sinc.select(small, exact_sinc);
        cos = cos.select(small, exact_cos);
    }
    let v = quarter * sinc;
    UnitQuaternion::new_unchecked(Quaternion::new(cos, v.x, v.y, v.z))
}

/// sin(x)/x and cos(x) of x^2 above 0.
#[cold]
#[inline(never)]
fn exact<T: Lanes>(square: T) -> (T, T) {
    let angle = square.simd_sqrt();
    (angle.simd_sin() / angle, angle.simd_cos())
}
