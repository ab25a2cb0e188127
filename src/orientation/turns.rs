//! Turns of samples by the exponential map: of one stretch, or of four that do not wait for each other side by
//! side, which the processor's vector instructions take at once.

use archmage::autoversion;
use nalgebra::{Quaternion, SimdBool, SimdRealField, SimdValue, UnitQuaternion, Vector3};
use simba::simd::AutoF64x4;

/// Stretches that are gone through side by side: within one every sample waits for the one before.
pub(super) const SIDE: usize = 4;

/// A number of each of them.
pub(super) type Four = AutoF64x4;

/// A number, or several side by side.
pub(super) trait Lanes: SimdRealField<Element = f64> + Copy {}
impl<T: SimdRealField<Element = f64> + Copy> Lanes for T {}

/// The starts of the next four stretches between marks where these are of one length.
pub(super) fn alike(marks: &[usize]) -> Option<[usize; SIDE]> {
    let [first, second, ..] = marks.get(..=SIDE)? else {
        return None;
    };
    let even = marks
        .windows(2)
        .take(SIDE)
        .all(|ends| ends[1] - ends[0] == second - first);
    even.then(|| marks.first_chunk().copied())?
}

/// Turns from the first sample's axes to each sample's, by the mean rate (rad/s) of each step: four parts of the
/// stretch side by side, each then turned by what came before it.
#[autoversion(v3)]
pub(crate) fn carry(time_s: &[f64], rate_rad_s: &[Vector3<f64>]) -> Vec<UnitQuaternion<f64>> {
    let length = time_s.len().min(rate_rad_s.len());
    if length == 0 {
        return Vec::new();
    }
    let count = (length - 1) / SIDE;
    let starts: [usize; SIDE] = std::array::from_fn(|lane| lane * count);
    let mut turns = vec![UnitQuaternion::identity(); length];
    let mut now = UnitQuaternion::<Four>::identity();
    let rates_at =
        |index: usize| Vector3::<Four>::from(starts.map(|start| rate_rad_s[start + index]));
    let mut before = rates_at(0);
    for index in 0..count {
        let after = rates_at(index + 1);
        let twice_s = starts.map(|start| 2.0 * (time_s[start + index + 1] - time_s[start + index]));
        let mean = (before + after) * Four::splat(0.5);
        before = after;
        now *= half_turn(&mean, twice_s.into());
        for (lane, start) in starts.into_iter().enumerate() {
            turns[start + index + 1] = now.extract(lane);
        }
    }
    for start in starts.into_iter().skip(1) {
        let before = turns[start];
        turns[start + 1..=start + count]
            .iter_mut()
            .for_each(|turn| *turn = before * *turn);
    }
    for index in SIDE * count + 1..length {
        let mean = 0.5 * (rate_rad_s[index] + rate_rad_s[index - 1]);
        let step_s = time_s[index] - time_s[index - 1];
        turns[index] = turns[index - 1] * half_turn(&mean, 2.0 * step_s);
    }
    turns
}

/// Terms of the series of sin(x)/x and cos(x) in x^2.
const SINC: [f64; 4] = [1.0 / 6.0, 1.0 / 120.0, 1.0 / 5040.0, 1.0 / 362_880.0];
const COS: [f64; 4] = [1.0 / 2.0, 1.0 / 24.0, 1.0 / 720.0, 1.0 / 40_320.0];

/// Half the turn of one sample by the exponential map.
#[inline(always)]
pub(super) fn half_turn<T: Lanes>(rate_rad_s: &Vector3<T>, period_s: T) -> UnitQuaternion<T> {
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

#[cfg(test)]
mod tests {
    use super::*;

    /// Against step after step by the library's own exponential map; lengths that four parts do not share evenly,
    /// and turns beyond the series.
    #[test]
    fn parts_side_by_side_turn_as_one_stretch_does() {
        for length in [0, 1, 2, 5, 6, 103] {
            let time_s: Vec<f64> = (0..length).map(|k| 0.01 * f64::from(k)).collect();
            let rate = |k: i32| {
                let phase = 0.3 * f64::from(k);
                Vector3::new(60.0 * phase.sin(), 9.0 * phase.cos(), -4.0)
            };
            let rates: Vec<Vector3<f64>> = (0..length).map(rate).collect();
            let turns = carry(&time_s, &rates);
            assert_eq!(turns.len(), time_s.len());
            let mut wanted = UnitQuaternion::identity();
            for (index, turn) in turns.iter().enumerate() {
                if index > 0 {
                    let mean = 0.5 * (rates[index] + rates[index - 1]);
                    wanted *= UnitQuaternion::from_scaled_axis(mean * 0.01);
                }
                assert!(turn.angle_to(&wanted) < 1e-7, "{index} of {length}");
            }
        }
    }
}
