//! Attitudes at full rate between nodes that were found.

use archmage::autoversion;
use nalgebra::{SimdValue, UnitQuaternion, Vector3};

use super::turns::{Four, Lanes, SIDE, alike, half_turn};
use crate::samples::Samples;

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

/// [`spell_out`] of four stretches of one length, side by side.
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
