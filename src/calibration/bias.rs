//! Gyroscope bias as a slow random walk, seen at the still chunks.

use nalgebra::Vector3;

use super::CalibrationParams;
use crate::math::{MAD_TO_SD, median};
use crate::timebase::QuietChunk;
use crate::units::STANDARD_GRAVITY_M_S2;

/// Chunks and smoothed values further off than this many robust standard deviations are refused.
const REFUSE_SD: f64 = 4.0;

/// The bias at one time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BiasKnot {
    /// Unit clock, s.
    pub time_s: f64,
    /// Bias per axis, rad/s.
    pub bias_rad_s: Vector3<f64>,
    /// Variance per axis, (rad/s)^2.
    pub variance: Vector3<f64>,
}

/// Bias in time: smoothed values at the still chunks, a random walk between and beyond them.
#[derive(Debug, Clone, PartialEq)]
pub struct BiasTrack {
    /// In time order; empty when no bias is known.
    pub knots: Vec<BiasKnot>,
    /// Wander, rad/s per root second.
    pub wander_rad_s: f64,
    /// Standard uncertainty where nothing is known, rad/s.
    pub unknown_sd_rad_s: f64,
}

impl BiasTrack {
    /// No still stretch: zero bias, wide uncertainty.
    pub fn unknown(params: &CalibrationParams) -> Self {
        Self {
            knots: Vec::new(),
            wander_rad_s: params.bias_wander_rad_s,
            unknown_sd_rad_s: params.unknown_bias_rad_s,
        }
    }

    /// Smooths the chunk means forward and backward (local-level model).
    ///
    /// # Source
    /// Random walk plus noise: Durbin and Koopman 2012, Time Series Analysis by State Space Methods,
    /// chapter 2; the backward pass is the smoother of Rauch, Tung and Striebel 1965.
    pub(super) fn fit(still: &[QuietChunk], params: &CalibrationParams) -> Self {
        let track = Self::smooth(still, params);
        let kept: Vec<QuietChunk> = still
            .iter()
            .zip(track.agreeing(still))
            .filter_map(|(chunk, agrees)| agrees.then_some(*chunk))
            .collect();
        if kept.is_empty() || kept.len() == still.len() {
            track
        } else {
            Self::smooth(&kept, params)
        }
    }

    fn smooth(still: &[QuietChunk], params: &CalibrationParams) -> Self {
        let times_s: Vec<f64> = still.iter().map(|chunk| chunk.time_s).collect();
        let mut knots: Vec<BiasKnot> = times_s
            .iter()
            .map(|&time_s| BiasKnot {
                time_s,
                bias_rad_s: Vector3::zeros(),
                variance: Vector3::zeros(),
            })
            .collect();
        for axis in 0..3 {
            let seen: Vec<f64> = still
                .iter()
                .map(|chunk| vector(chunk.gyro_rad_s)[axis])
                .collect();
            let noise = chunk_noise(&seen).max(params.chunk_floor_rad_s);
            let level = local_level(
                &times_s,
                &seen,
                noise.powi(2),
                params.bias_wander_rad_s.powi(2),
            );
            for (knot, (mean, variance)) in knots.iter_mut().zip(level) {
                knot.bias_rad_s[axis] = mean;
                knot.variance[axis] = variance;
            }
        }
        Self {
            knots,
            wander_rad_s: params.bias_wander_rad_s,
            unknown_sd_rad_s: params.unknown_bias_rad_s,
        }
    }

    /// Which chunks lie near the smoothed track.
    fn agreeing(&self, still: &[QuietChunk]) -> Vec<bool> {
        let off: Vec<f64> = still
            .iter()
            .map(|chunk| (vector(chunk.gyro_rad_s) - self.at_rad_s(chunk.time_s)).norm())
            .collect();
        let limit = REFUSE_SD * MAD_TO_SD * median(&off).unwrap_or(0.0);
        off.into_iter().map(|o| o <= limit).collect()
    }

    /// Bias at a time of the unit's clock (s), rad/s.
    pub fn at_rad_s(&self, time_s: f64) -> Vector3<f64> {
        between(self.neighbours(time_s), time_s)
    }

    /// [`Self::at_rad_s`] for times asked one after the other: knots are looked up where the last ones
    /// no longer hold.
    pub(super) fn along(&self) -> impl FnMut(f64) -> Vector3<f64> {
        let mut held = (f64::INFINITY, f64::NEG_INFINITY);
        let mut knots = (None, None);
        move |time_s| {
            if !(held.0 <= time_s && time_s < held.1) {
                knots = self.neighbours(time_s);
                held = (
                    knots.0.map_or(f64::NEG_INFINITY, |knot| knot.time_s),
                    knots.1.map_or(f64::INFINITY, |knot| knot.time_s),
                );
            }
            between(knots, time_s)
        }
    }

    /// Standard uncertainty per axis at a time of the unit's clock (s), rad/s.
    pub fn sd_rad_s(&self, time_s: f64) -> Vector3<f64> {
        let wander = self.wander_rad_s.powi(2);
        let variance = match self.neighbours(time_s) {
            (None, None) => Vector3::repeat(self.unknown_sd_rad_s.powi(2)),
            (Some(only), None) | (None, Some(only)) => only
                .variance
                .add_scalar(wander * (time_s - only.time_s).abs()),
            (Some(a), Some(b)) => {
                let s = share(a, b, time_s);
                let bridge = wander * (b.time_s - a.time_s) * s * (1.0 - s);
                a.variance.lerp(&b.variance, s).add_scalar(bridge)
            }
        };
        variance.map(f64::sqrt)
    }

    fn neighbours(&self, time_s: f64) -> (Option<&BiasKnot>, Option<&BiasKnot>) {
        let after = self.knots.partition_point(|knot| knot.time_s <= time_s);
        let before = after.checked_sub(1).and_then(|index| self.knots.get(index));
        (before, self.knots.get(after))
    }
}

fn between(knots: (Option<&BiasKnot>, Option<&BiasKnot>), time_s: f64) -> Vector3<f64> {
    match knots {
        (None, None) => Vector3::zeros(),
        (Some(only), None) | (None, Some(only)) => only.bias_rad_s,
        (Some(a), Some(b)) => a.bias_rad_s.lerp(&b.bias_rad_s, share(a, b, time_s)),
    }
}

fn share(a: &BiasKnot, b: &BiasKnot, time_s: f64) -> f64 {
    (time_s - a.time_s) / (b.time_s - a.time_s)
}

/// Chunks that are really still: gravity's direction holds, the rate could be a zero-rate offset, and
/// the chunks agree with most of the others.
pub(super) fn still_chunks(quiet: &[QuietChunk], params: &CalibrationParams) -> Vec<QuietChunk> {
    let plausible: Vec<QuietChunk> = quiet
        .iter()
        .enumerate()
        .filter(|(index, chunk)| {
            let rate = vector(chunk.gyro_rad_s);
            let force_ratio = vector(chunk.accel_m_s2).norm() / STANDARD_GRAVITY_M_S2;
            rate.amax() <= params.zero_rate_limit_rad_s
                && (force_ratio - 1.0).abs() <= 2.0 * params.rest_tolerance
                && !turns(quiet, *index, params)
        })
        .map(|(_, chunk)| *chunk)
        .collect();
    let Some(centre) = median_rate(&plausible) else {
        return Vec::new();
    };
    let off: Vec<f64> = plausible
        .iter()
        .map(|chunk| (vector(chunk.gyro_rad_s) - centre).norm())
        .collect();
    let scale = MAD_TO_SD * median(&off).unwrap_or(0.0);
    let limit = (REFUSE_SD * scale).max(params.still_turn_rad_s);
    plausible
        .into_iter()
        .zip(off)
        .filter_map(|(chunk, o)| (o <= limit).then_some(chunk))
        .collect()
}

/// True where gravity's direction moves between this chunk and an adjoining one.
fn turns(quiet: &[QuietChunk], index: usize, params: &CalibrationParams) -> bool {
    let Some(own) = quiet.get(index) else {
        return false;
    };
    let before = index.checked_sub(1).and_then(|i| quiet.get(i));
    let after = quiet.get(index + 1);
    [before, after].into_iter().flatten().any(|other| {
        let apart_s = (other.time_s - own.time_s).abs();
        let adjoining = apart_s < 1.5 * 0.5 * (own.length_s + other.length_s);
        let angle = vector(own.accel_m_s2).angle(&vector(other.accel_m_s2));
        adjoining && angle > params.still_turn_rad_s * apart_s
    })
}

fn median_rate(chunks: &[QuietChunk]) -> Option<Vector3<f64>> {
    let axis = |axis: usize| {
        let rates = chunks.iter().map(|chunk| vector(chunk.gyro_rad_s)[axis]);
        median(&rates.collect::<Vec<f64>>())
    };
    Some(Vector3::new(axis(0)?, axis(1)?, axis(2)?))
}

/// Spread of one chunk's mean, from the differences of neighbours so that drift does not count.
fn chunk_noise(seen: &[f64]) -> f64 {
    let steps: Vec<f64> = seen
        .windows(2)
        .map(|pair| (pair[1] - pair[0]).abs())
        .collect();
    MAD_TO_SD * median(&steps).unwrap_or(0.0) / std::f64::consts::SQRT_2
}

/// Mean and variance of a random walk seen through noise, smoothed both ways.
fn local_level(times_s: &[f64], seen: &[f64], noise: f64, wander: f64) -> Vec<(f64, f64)> {
    let mut filtered: Vec<(f64, f64, f64)> = Vec::with_capacity(seen.len());
    for (index, (&time_s, &value)) in times_s.iter().zip(seen).enumerate() {
        let (mean, predicted) = match (
            filtered.last(),
            index.checked_sub(1).and_then(|i| times_s.get(i)),
        ) {
            (Some(&(mean, variance, _)), Some(&before_s)) => {
                (mean, variance + wander * (time_s - before_s))
            }
            _ => (value, f64::INFINITY),
        };
        let gain = if predicted.is_finite() {
            predicted / (predicted + noise)
        } else {
            1.0
        };
        let variance = if predicted.is_finite() {
            (1.0 - gain) * predicted
        } else {
            noise
        };
        filtered.push((mean + gain * (value - mean), variance, predicted));
    }
    let mut smoothed: Vec<(f64, f64)> = Vec::with_capacity(seen.len());
    let mut next: Option<(f64, f64, f64)> = None; // smoothed mean, variance, variance predicted for it
    for &(mean, variance, predicted) in filtered.iter().rev() {
        let (m, v) = match next {
            None => (mean, variance),
            Some((next_mean, next_variance, next_predicted)) => {
                let back = variance / next_predicted;
                (
                    mean + back * (next_mean - mean),
                    variance + back * back * (next_variance - next_predicted),
                )
            }
        };
        smoothed.push((m, v));
        next = Some((m, v, predicted));
    }
    smoothed.reverse();
    smoothed
}

/// The three axes as a vector.
pub(super) fn vector(axes: [f32; 3]) -> Vector3<f64> {
    Vector3::from(axes.map(f64::from))
}
