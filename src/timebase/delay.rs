//! Delay between two short windows at full rate, without knowing how either unit is mounted.
//!
//! Lengths of vectors and their correlation matrices do not change when a unit is turned, so no
//! mounting enters. Worn units: envelopes of the band-passed force are correlated (a shock keeps its
//! outline on the way, not its waveform). Stacked units: the whole vector waveforms are, over the
//! best rotation between the two.

use nalgebra::{Matrix3, Vector3};
use rustfft::{FftPlanner, num_complex::Complex};

use crate::math;
use crate::samples::{Flags, Samples};

/// Taps to each side of the band-limited interpolation.
const SINC_HALF_TAPS: i64 = 12;

/// Force vectors on an even grid.
#[derive(Debug, Clone)]
pub(crate) struct GridWindow {
    pub start_s: f64,
    pub rate_hz: f64,
    pub xyz: Vec<Vector3<f64>>,
    pub clipped: bool,
}

/// A delay, later minus earlier, with what it was judged by.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Delay {
    pub lag_s: f64,
    /// Bound for this correlation and bandwidth, s.
    pub sd_s: f64,
    pub correlation: f64,
}

/// Puts a stretch of force samples on an even grid by band-limited interpolation.
/// `None` where the samples do not cover it without a gap.
pub(crate) fn on_grid(
    samples: &Samples,
    start_s: f64,
    count: usize,
    rate_hz: f64,
) -> Option<GridWindow> {
    let end_s = start_s + count as f64 / rate_hz;
    let run = samples.runs().into_iter().find(|run| {
        run.len() > 2
            && samples.time_s[run.start] <= start_s
            && samples.time_s[run.end - 1] >= end_s // a run is not empty
    })?;
    let first_s = samples.time_s[run.start];
    let step_s = (samples.time_s[run.end - 1] - first_s) / (run.len() - 1) as f64;
    let source = &samples.accel_m_s2[run.clone()];
    let xyz = (0..count)
        .map(|index| {
            let position = (start_s + index as f64 / rate_hz - first_s) / step_s;
            interpolated(source, position)
        })
        .collect();
    Some(GridWindow {
        start_s,
        rate_hz,
        xyz,
        clipped: samples.flags[run]
            .iter()
            .any(|f| f.has(Flags::ACCEL_CLIPPED)),
    })
}

/// Hann-windowed sinc interpolation, weights normalised so that a constant stays itself; ends repeat.
fn interpolated(source: &[Vector3<f64>], position: f64) -> Vector3<f64> {
    let base = position.floor();
    let share = position - base;
    let last = source.len() as i64 - 1; // lengths are far below 2^63
    let mut sum = Vector3::zeros();
    let mut weights = 0.0;
    for tap in (1 - SINC_HALF_TAPS)..=SINC_HALF_TAPS {
        let x = tap as f64 - share;
        let sinc = if x.abs() < 1e-9 {
            1.0
        } else {
            (std::f64::consts::PI * x).sin() / (std::f64::consts::PI * x)
        };
        let hann = 0.5 + 0.5 * (std::f64::consts::PI * x / SINC_HALF_TAPS as f64).cos();
        let index = (base as i64 + tap).clamp(0, last) as usize; // clamped to the slice
        sum += source[index] * (sinc * hann);
        weights += sinc * hann;
    }
    sum / weights
}

/// Zero-phase band-pass by a raised-cosine mask in frequency, ends tapered.
pub(crate) fn band_passed(window: &GridWindow, low_hz: f64, high_hz: f64) -> GridWindow {
    let count = window.xyz.len();
    let size = (2 * count).next_power_of_two();
    let mut planner = FftPlanner::<f64>::new();
    let (forward, inverse) = (
        planner.plan_fft_forward(size),
        planner.plan_fft_inverse(size),
    );
    let mut xyz = vec![Vector3::zeros(); count];
    for axis in 0..3 {
        let mean = window.xyz.iter().map(|v| v[axis]).sum::<f64>() / count.max(1) as f64;
        let mut buffer: Vec<Complex<f64>> = window
            .xyz
            .iter()
            .enumerate()
            .map(|(i, v)| Complex::new((v[axis] - mean) * taper(i, count), 0.0))
            .collect();
        buffer.resize(size, Complex::new(0.0, 0.0));
        forward.process(&mut buffer);
        for (bin, value) in buffer.iter_mut().enumerate() {
            let frequency_hz = bin.min(size - bin) as f64 * window.rate_hz / size as f64;
            *value *= pass_share(frequency_hz, low_hz, high_hz) / size as f64;
        }
        inverse.process(&mut buffer);
        for (out, value) in xyz.iter_mut().zip(&buffer) {
            out[axis] = value.re;
        }
    }
    GridWindow {
        xyz,
        ..window.clone()
    }
}

/// 1 inside the window, falling to 0 over its outer twelfths.
fn taper(index: usize, count: usize) -> f64 {
    let edge = (count / 12).max(1);
    let from_end = index.min(count - 1 - index.min(count - 1));
    if from_end >= edge {
        1.0
    } else {
        0.5 - 0.5 * (std::f64::consts::PI * (from_end as f64 + 0.5) / edge as f64).cos()
    }
}

/// Response at a frequency: 1 inside the band, raised-cosine flanks a quarter of each edge wide.
fn pass_share(frequency_hz: f64, low_hz: f64, high_hz: f64) -> f64 {
    let flank = |from_hz: f64, to_hz: f64| {
        let share = ((frequency_hz - from_hz) / (to_hz - from_hz)).clamp(0.0, 1.0);
        0.5 - 0.5 * (std::f64::consts::PI * share).cos()
    };
    flank(0.75 * low_hz, 1.25 * low_hz) * (1.0 - flank(0.9 * high_hz, 1.1 * high_hz))
}

/// Length of each vector.
pub(crate) fn envelope(window: &GridWindow) -> Vec<f64> {
    window.xyz.iter().map(Vector3::norm).collect()
}

/// Where the short curve lies best in the long one: Pearson correlation at every whole lag, the peak
/// refined by a parabola. Lags count from the start of `long`; `bandwidth_hz` is that of the curves.
///
/// # Accuracy
/// The stated uncertainty is the Cramer-Rao bound for a known shape in white noise,
/// `var = (1 - r^2) / r^2 / (beta^2 2 B T)` with `beta` the shape's RMS angular bandwidth.
/// # Source
/// Knapp & Carter 1976, IEEE Trans. ASSP 24:320-327; Kay 1993, Estimation Theory, example 3.13.
pub(crate) fn sliding_delay(
    short: &[f64],
    long: &[f64],
    rate_hz: f64,
    bandwidth_hz: f64,
) -> Option<Delay> {
    if short.len() < 8 || long.len() < short.len() + 2 {
        return None;
    }
    let scores: Vec<f64> = (0..=long.len() - short.len())
        .map(|lag| pearson(short, &long[lag..lag + short.len()]))
        .collect();
    let peak = (1..scores.len() - 1).max_by(|&a, &b| scores[a].total_cmp(&scores[b]))?;
    if scores[peak] < scores[peak - 1] || scores[peak] < scores[peak + 1] {
        return None; // still rising at the edge
    }
    let vertex = math::parabola_vertex(scores[peak - 1], scores[peak], scores[peak + 1])?;
    let correlation = vertex.height.clamp(-1.0, 0.999_999);
    Some(Delay {
        lag_s: (peak as f64 + vertex.offset) / rate_hz,
        sd_s: delay_bound_s(short, rate_hz, bandwidth_hz, correlation),
        correlation,
    })
}

fn pearson(a: &[f64], b: &[f64]) -> f64 {
    let count = a.len() as f64;
    let (mean_a, mean_b) = (a.iter().sum::<f64>() / count, b.iter().sum::<f64>() / count);
    let (mut cross, mut own_a, mut own_b) = (0.0, 0.0, 0.0);
    for (x, y) in a.iter().zip(b) {
        cross += (x - mean_a) * (y - mean_b);
        own_a += (x - mean_a).powi(2);
        own_b += (y - mean_b).powi(2);
    }
    cross / (own_a * own_b).sqrt().max(f64::MIN_POSITIVE)
}

/// See [`sliding_delay`].
pub(crate) fn delay_bound_s(
    shape: &[f64],
    rate_hz: f64,
    bandwidth_hz: f64,
    correlation: f64,
) -> f64 {
    let mean = shape.iter().sum::<f64>() / shape.len().max(1) as f64;
    let power: f64 = shape.iter().map(|v| (v - mean).powi(2)).sum();
    let slope: f64 = shape
        .windows(3)
        .map(|w| (0.5 * (w[2] - w[0]) * rate_hz).powi(2))
        .sum();
    let independent = (2.0 * bandwidth_hz * shape.len() as f64 / rate_hz).max(1.0);
    let squared = correlation * correlation;
    ((1.0 - squared) / squared.max(1e-6) * power / slope.max(f64::MIN_POSITIVE) / independent)
        .sqrt()
}

/// Likeness of two windows' vector waveforms over the best rotation, `short` laid `lag` samples into
/// `long`: sum of the singular values of their correlation matrix over their energies; 1 for a rigid
/// stack without noise.
/// Source of the rotation by singular values: Wahba 1965; Kabsch 1976 (Procrustes problem).
fn likeness(short: &[Vector3<f64>], long: &[Vector3<f64>], lag: usize) -> f64 {
    let Some(part) = long.get(lag..lag + short.len()) else {
        return 0.0;
    };
    let mut cross = Matrix3::zeros();
    let (mut own_a, mut own_b) = (0.0, 0.0);
    for (a, b) in short.iter().zip(part) {
        cross += a * b.transpose();
        own_a += a.norm_squared();
        own_b += b.norm_squared();
    }
    cross.singular_values().sum() / (own_a * own_b).sqrt().max(f64::MIN_POSITIVE)
}

/// Delay of two vector waveforms near a first guess, in the manner of [`sliding_delay`].
pub(crate) fn vector_delay(
    short: &GridWindow,
    long: &GridWindow,
    guess_s: f64,
    reach_s: f64,
    bandwidth_hz: f64,
) -> Option<Delay> {
    let rate_hz = short.rate_hz;
    let last = long.xyz.len().checked_sub(short.xyz.len())?;
    let from = (((guess_s - reach_s) * rate_hz).max(0.0)) as usize; // saturating
    let to = ((((guess_s + reach_s) * rate_hz).max(0.0)) as usize).min(last);
    let scores: Vec<f64> = (from..=to)
        .map(|lag| likeness(&short.xyz, &long.xyz, lag))
        .collect();
    let peak = math::local_maxima(&scores)
        .into_iter()
        .max_by(|&a, &b| scores[a].total_cmp(&scores[b]))?;
    let vertex = math::parabola_vertex(scores[peak - 1], scores[peak], scores[peak + 1])?;
    let correlation = vertex.height.clamp(0.0, 0.999_999);
    let along = strongest_axis(&short.xyz);
    let shape: Vec<f64> = short.xyz.iter().map(|v| v.dot(&along)).collect();
    Some(Delay {
        lag_s: (from as f64 + peak as f64 + vertex.offset) / rate_hz,
        sd_s: delay_bound_s(&shape, rate_hz, bandwidth_hz, correlation),
        correlation,
    })
}

/// Direction in which most of the energy lies.
fn strongest_axis(vectors: &[Vector3<f64>]) -> Vector3<f64> {
    let scatter: Matrix3<f64> = vectors.iter().map(|v| v * v.transpose()).sum();
    let eigen = scatter.symmetric_eigen();
    let top = eigen.eigenvalues.imax();
    eigen.eigenvectors.column(top).into_owned()
}
