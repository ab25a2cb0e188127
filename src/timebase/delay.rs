//! Delay between two short windows at full rate, without knowing how either unit is mounted.
//!
//! Lengths of vectors and singular values of their correlation matrices do not change when a unit is
//! turned, so no mounting enters. Worn units: envelopes of the band-passed force are correlated (a
//! shock keeps its outline on the way, not its waveform). Stacked units: the whole vector waveforms
//! are, over the best rotation between the two.

use std::f64::consts::PI;
use std::sync::Arc;

use archmage::autoversion;
use nalgebra::{Matrix3, Vector3};
use rustfft::{Fft, FftPlanner, num_complex::Complex};

use crate::math;
use crate::samples::Samples;

/// Taps to each side of the band-limited interpolation.
const HALF_TAPS: usize = 12;
/// Sub-sample positions tabulated; the nearest is used, at most 1/1024 of a sample away.
const PHASES: usize = 512;

/// Vectors on an even grid.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct GridWindow {
    pub start_s: f64,
    pub rate_hz: f64,
    pub xyz: Vec<Vector3<f64>>,
}

impl GridWindow {
    /// Nearest index to a time, held inside.
    pub fn index_of(&self, time_s: f64) -> usize {
        let index = ((time_s - self.start_s) * self.rate_hz).round().max(0.0) as usize; // not negative
        index.min(self.xyz.len().saturating_sub(1))
    }
    pub fn time_s(&self, index: usize) -> f64 {
        self.start_s + index as f64 / self.rate_hz
    }
}

/// A delay, later minus earlier, with what it was judged by.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Delay {
    pub lag_s: f64,
    /// Bound for this correlation and bandwidth, s.
    pub sd_s: f64,
    pub correlation: f64,
}

/// Band-limited interpolation: Hann-windowed sinc, weights normalised so that a constant stays itself.
pub(crate) struct Interpolator {
    weights: Vec<[f64; 2 * HALF_TAPS]>,
}

impl Interpolator {
    pub fn new() -> Self {
        let phase_weights = |phase: usize| {
            let share = phase as f64 / PHASES as f64;
            let mut weights = [0.0; 2 * HALF_TAPS];
            for (tap, weight) in weights.iter_mut().enumerate() {
                let x = tap as f64 - (HALF_TAPS - 1) as f64 - share;
                let sinc = if x.abs() < 1e-9 {
                    1.0
                } else {
                    (PI * x).sin() / (PI * x)
                };
                *weight = sinc * (0.5 + 0.5 * (PI * x / HALF_TAPS as f64).cos());
            }
            let sum: f64 = weights.iter().sum();
            weights.map(|w| w / sum)
        };
        Self {
            weights: (0..=PHASES).map(phase_weights).collect(),
        }
    }

    /// Puts the force of a stretch of samples on an even grid.
    /// `None` where the samples do not cover it without a gap.
    pub fn on_grid(
        &self,
        samples: &Samples,
        start_s: f64,
        count: usize,
        rate_hz: f64,
    ) -> Option<GridWindow> {
        let end_s = start_s + count as f64 / rate_hz;
        let run = samples.runs().into_iter().find(|run| {
            run.len() > 2 * HALF_TAPS
                && samples.time_s[run.start] <= start_s
                && samples.time_s[run.end - 1] >= end_s // a run is not empty
        })?;
        let first_s = samples.time_s[run.start];
        let step_s = (samples.time_s[run.end - 1] - first_s) / (run.len() - 1) as f64;
        let source = samples.accel_m_s2.get(run)?;
        // a place more makes a vector one of the processor's
        let source: Vec<[f64; 4]> = source.iter().map(|v| [v.x, v.y, v.z, 0.0]).collect();
        let positions =
            (0..count).map(|index| (start_s - first_s + index as f64 / rate_hz) / step_s);
        let xyz = at_each(&self.weights, &source, &positions.collect::<Vec<f64>>());
        Some(GridWindow {
            start_s,
            rate_hz,
            xyz,
        })
    }
}

/// Values at fractional positions, ends repeated; `weights` by phase.
#[autoversion(v3)]
fn at_each(
    weights: &[[f64; 2 * HALF_TAPS]],
    source: &[[f64; 4]],
    positions: &[f64],
) -> Vec<Vector3<f64>> {
    let at = |position: &f64| {
        let base = position.floor();
        let phase = ((position - base) * PHASES as f64).round() as usize; // 0 to PHASES
        let weights = &weights[phase.min(PHASES)];
        let first = base as i64 - (HALF_TAPS as i64 - 1);
        let inside = usize::try_from(first).ok();
        let inside = inside.and_then(|first| source.get(first..)?.first_chunk());
        let beyond: [[f64; 4]; 2 * HALF_TAPS];
        let taps = match inside {
            Some(taps) => taps,
            None => {
                let last = source.len() as i64 - 1; // lengths are far below 2^63
                let tap = |tap| source[(first + tap as i64).clamp(0, last) as usize]; // clamped to the slice
                beyond = std::array::from_fn(tap);
                &beyond
            }
        };
        let mut sum = [0.0; 4];
        for (tap, weight) in taps.iter().zip(weights) {
            sum = std::array::from_fn(|axis| sum[axis] + tap[axis] * weight);
        }
        Vector3::new(sum[0], sum[1], sum[2])
    };
    positions.iter().map(at).collect()
}

/// Zero-phase band-pass of windows of one length, by a raised-cosine mask in frequency, ends tapered.
pub(crate) struct BandPass {
    forward: Arc<dyn Fft<f64>>,
    inverse: Arc<dyn Fft<f64>>,
    /// Share of each frequency that passes, the transforms' scale in it.
    mask: Vec<f64>,
    /// Weight of each sample.
    taper: Vec<f64>,
}

impl BandPass {
    /// For windows of `count` samples.
    pub fn new(count: usize, rate_hz: f64, low_hz: f64, high_hz: f64) -> Self {
        let mut planner = FftPlanner::new();
        // zeros behind the tapered end, up to a length of small factors: a prime one costs several times as much
        let size = (count..).find(|size| has_small_factors(*size));
        let size = size.unwrap_or(count);
        let mask = (0..size)
            .map(|bin| bin.min(size - bin) as f64 * rate_hz / size as f64)
            .map(|frequency_hz| pass_share(frequency_hz, low_hz, high_hz) / size as f64);
        Self {
            forward: planner.plan_fft_forward(size),
            inverse: planner.plan_fft_inverse(size),
            mask: mask.collect(),
            taper: (0..count).map(|index| taper(index, count)).collect(),
        }
    }

    /// Samples of a window.
    pub fn len(&self) -> usize {
        self.taper.len()
    }

    /// Filters a window; two of the three channels share one complex transform.
    pub fn pass(&self, window: &GridWindow) -> GridWindow {
        let mean = window.xyz.iter().sum::<Vector3<f64>>() / self.len().max(1) as f64;
        let filtered = |channel: &dyn Fn(Vector3<f64>) -> Complex<f64>| {
            let tapered = window.xyz.iter().zip(&self.taper);
            let tapered = tapered.map(|(v, weight)| channel(v - mean) * weight);
            let mut buffer: Vec<Complex<f64>> = Vec::with_capacity(self.mask.len());
            buffer.extend(tapered);
            buffer.resize(self.mask.len(), Complex::default());
            self.forward.process(&mut buffer);
            for (value, share) in buffer.iter_mut().zip(&self.mask) {
                *value *= share;
            }
            self.inverse.process(&mut buffer);
            buffer
        };
        let xy = filtered(&|v| Complex::new(v.x, v.y));
        let z = filtered(&|v| Complex::new(v.z, 0.0));
        let xyz = xy
            .iter()
            .zip(&z)
            .map(|(xy, z)| Vector3::new(xy.re, xy.im, z.re));
        GridWindow {
            xyz: xyz.take(self.len()).collect(),
            ..*window
        }
    }
}

/// True where nothing but 2, 3 and 5 divides a count, and of nothing.
fn has_small_factors(mut count: usize) -> bool {
    for factor in [2, 3, 5] {
        while count > 1 && count.is_multiple_of(factor) {
            count /= factor;
        }
    }
    count <= 1
}

/// 1 inside the window, falling to 0 over its outer twentieths.
fn taper(index: usize, count: usize) -> f64 {
    let edge = (count / 20).max(1);
    let from_end = index.min(count - 1 - index); // index < count
    if from_end >= edge {
        1.0
    } else {
        0.5 - 0.5 * (PI * (from_end as f64 + 0.5) / edge as f64).cos()
    }
}

/// Response at a frequency: 1 inside the band, raised-cosine flanks around each edge.
fn pass_share(frequency_hz: f64, low_hz: f64, high_hz: f64) -> f64 {
    let risen = |from_hz: f64, to_hz: f64| {
        let share = ((frequency_hz - from_hz) / (to_hz - from_hz)).clamp(0.0, 1.0);
        0.5 - 0.5 * (PI * share).cos()
    };
    risen(0.75 * low_hz, 1.25 * low_hz) * (1.0 - risen(0.9 * high_hz, 1.1 * high_hz))
}

/// Where the short curve lies best in the long one: Pearson correlation at every whole lag, the peak
/// refined by a parabola. Lags count from the start of `long`; `bandwidth_hz` is that of the curves.
/// `None` where the correlation still rises at the edge of the search.
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
    let scores = correlations(short, long);
    let (lag, correlation) = refined_peak(&scores)?;
    Some(Delay {
        lag_s: lag / rate_hz,
        sd_s: delay_bound_s(short, rate_hz, bandwidth_hz, correlation),
        correlation,
    })
}

/// The highest local maximum with its parabola's vertex; `None` where an end is higher.
fn refined_peak(scores: &[f64]) -> Option<(f64, f64)> {
    let peak = (0..scores.len()).max_by(|&a, &b| scores[a].total_cmp(&scores[b]))?;
    if peak == 0 || peak + 1 == scores.len() {
        return None;
    }
    let vertex = math::parabola_vertex(scores[peak - 1], scores[peak], scores[peak + 1])?;
    Some((
        peak as f64 + vertex.offset,
        vertex.height.clamp(-1.0, 0.999_999),
    ))
}

/// A part with less than this share of the energy summed so far is flat: the rest is what running sums round off.
const FLAT: f64 = 1e-10;

/// Pearson correlation of the short curve with as much of the long one, from each of its samples on; 0 with a
/// part that is flat.
fn correlations(short: &[f64], long: &[f64]) -> Vec<f64> {
    let count = short.len() as f64;
    // about its mean, so that little is lost in the differences of running sums
    let [short, long] = [short, long].map(|curve| {
        let mut curve = curve.to_vec();
        math::less_mean(&mut curve);
        curve
    });
    let own = math::dot(&short, &short);
    let (mut sum, mut square) = (0.0, 0.0);
    let running = long.iter().map(|value| {
        sum += value;
        square += value * value;
        (sum, square)
    });
    let running: Vec<(f64, f64)> = std::iter::once((0.0, 0.0)).chain(running).collect();
    let parts = long.windows(short.len());
    let ends = running.iter().zip(&running[short.len()..]); // the long one is not shorter
    parts
        .zip(ends)
        .map(|(part, (from, to))| {
            let (sum, square) = (to.0 - from.0, to.1 - from.1);
            let there = square - sum * sum / count;
            if there <= FLAT * to.1 {
                return 0.0;
            }
            math::dot(&short, part) / (own * there).sqrt().max(f64::MIN_POSITIVE)
        })
        .collect()
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
    let noise_share = (1.0 - squared) / squared.max(1e-6);
    (noise_share * power / slope.max(f64::MIN_POSITIVE) / independent).sqrt()
}

/// Delay of two vector waveforms near a first guess, in the manner of [`sliding_delay`]. The
/// correlation is that over the best rotation: the sum of the singular values of the two windows'
/// correlation matrix over their energies, 1 for a rigid stack without noise.
/// Source of the rotation by singular values: Wahba 1965; Kabsch 1976 (Procrustes problem).
pub(crate) fn vector_delay(
    short: &[Vector3<f64>],
    long: &[Vector3<f64>],
    guess_s: f64,
    reach_s: f64,
    rate_hz: f64,
    bandwidth_hz: f64,
) -> Option<Delay> {
    let last = long.len().checked_sub(short.len())?;
    let from = ((guess_s - reach_s) * rate_hz).max(0.0) as usize; // not negative
    let to = (((guess_s + reach_s) * rate_hz).max(0.0) as usize).min(last);
    let scores: Vec<f64> = (from..=to)
        .map(|lag| likeness(short, &long[lag..lag + short.len()]))
        .collect();
    let (lag, correlation) = refined_peak(&scores)?;
    let along = strongest_axis(short);
    let shape: Vec<f64> = short.iter().map(|v| v.dot(&along)).collect();
    Some(Delay {
        lag_s: (from as f64 + lag) / rate_hz,
        sd_s: delay_bound_s(&shape, rate_hz, bandwidth_hz, correlation),
        correlation,
    })
}

fn likeness(near: &[Vector3<f64>], far: &[Vector3<f64>]) -> f64 {
    let mut cross = Matrix3::zeros();
    let (mut own_a, mut own_b) = (0.0, 0.0);
    for (a, b) in near.iter().zip(far) {
        cross += a * b.transpose();
        own_a += a.norm_squared();
        own_b += b.norm_squared();
    }
    cross.singular_values().sum() / (own_a * own_b).sqrt().max(f64::MIN_POSITIVE)
}

/// Direction in which most of the energy lies.
fn strongest_axis(vectors: &[Vector3<f64>]) -> Vector3<f64> {
    let scatter: Matrix3<f64> = vectors.iter().map(|v| v * v.transpose()).sum();
    let eigen = scatter.symmetric_eigen();
    eigen
        .eigenvectors
        .column(eigen.eigenvalues.imax())
        .into_owned()
}

#[cfg(test)]
mod tests {
    use std::f64::consts::TAU;

    use super::*;

    /// Values: `numpy.corrcoef(a, b[lag:lag + 9])[0, 1]`, numpy 2.4.6.
    #[test]
    fn correlation_agrees_with_the_reference_library() {
        let a = [0.3, -1.2, 0.8, 2.5, 1.1, -0.4, -1.9, 0.6, 0.2];
        let b = [
            0.1, 0.4, -0.9, 0.7, 2.2, 1.4, -0.1, -1.6, 0.3, 0.5, -0.2, 0.8,
        ];
        let wanted = [
            0.10044903960983001,
            0.984913762077841,
            0.3264519931723209,
            -0.4751541113520537,
        ];
        // a level far from zero, as of gravity, changes nothing
        for level in [0.0, 9.8, -300.0] {
            let got = correlations(&a, &b.map(|value| value + level));
            assert_eq!(got.len(), wanted.len());
            for (got, want) in got.iter().zip(wanted) {
                assert!((got - want).abs() < 1e-12, "{got} against {want}");
            }
        }
    }

    /// A curve that stands still behind the shock, at a level no binary number is: nothing correlates with that.
    #[test]
    fn a_flat_stretch_correlates_with_nothing() {
        let shape: Vec<f64> = (0..40).map(|k| (0.31 * f64::from(k)).sin()).collect();
        let mut long: Vec<f64> = shape.iter().map(|value| 0.1 + 7.0 * value).collect();
        long.extend([0.1; 100]);
        let got = correlations(&shape, &long);
        assert!((got[0] - 1.0).abs() < 1e-12, "{}", got[0]);
        assert!(got.iter().all(|score| score.abs() <= 1.0 + 1e-9), "{got:?}");
        assert!(got[40..].iter().all(|score| *score == 0.0), "{got:?}");
        assert!(
            correlations(&shape, &[0.1; 60])
                .iter()
                .all(|score| *score == 0.0)
        );
    }

    #[test]
    fn a_band_passes_what_lies_in_it_and_nothing_else() {
        // 2 * 5^2 * 37: zeros stand behind it up to 3 * 5^4
        let (count, rate_hz) = (1850, 1000.0);
        let wave = |frequency_hz: f64, k: usize| (TAU * frequency_hz * k as f64 / rate_hz).sin();
        let force = |k: usize| Vector3::new(wave(50.0, k), wave(8.0, k), 9.8 + wave(140.0, k));
        let window = GridWindow {
            start_s: 3.0,
            rate_hz,
            xyz: (0..count).map(force).collect(),
        };
        let passed = BandPass::new(count, rate_hz, 20.0, 100.0).pass(&window);
        assert_eq!((passed.xyz.len(), passed.start_s), (count, 3.0));
        // away from the tapered ends, where waves begin
        for k in 300..count - 300 {
            let wanted = Vector3::new(wave(50.0, k), 0.0, 0.0);
            let off = (passed.xyz[k] - wanted).norm();
            assert!(off < 0.01, "{k}: {off}");
        }
    }

    #[test]
    fn lengths_of_small_factors_are_told() {
        let with = [0, 1, 2, 30, 1875, 2400];
        assert!(with.into_iter().all(has_small_factors));
        assert!(![7, 14, 37, 1850, 2350].into_iter().any(has_small_factors));
    }

    /// A fixed sequence of near-normal numbers: twelve uniforms of a xorshift each.
    struct Noise(u64);

    impl Noise {
        fn next(&mut self) -> f64 {
            let mut uniform = || {
                self.0 ^= self.0 >> 12;
                self.0 ^= self.0 << 25;
                self.0 ^= self.0 >> 27;
                (self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 11) as f64 / (1_u64 << 53) as f64
            };
            (0..12).map(|_| uniform()).sum::<f64>() - 6.0
        }
    }

    /// Cramer-Rao bound for the delay of a known pulse in white noise of `sd` per sample:
    /// `var >= sd^2 / (rate * integral of the squared slope) `; for `exp(-t^2 / 2 w^2)` that integral is
    /// `sqrt(pi) / (2 w)`. Source: Kay 1993, Fundamentals of Statistical Signal Processing: Estimation
    /// Theory, example 3.13 (equation 3.39 with the pulse's own bandwidth).
    #[test]
    fn delay_of_a_pulse_stands_at_the_bound() {
        let (rate_hz, width_s, noise_sd) = (1000.0, 0.008, 0.05);
        let pulse = |t: f64| (-0.5 * (t / width_s).powi(2)).exp();
        let short: Vec<f64> = (0..110)
            .map(|k| pulse(k as f64 / rate_hz - 0.055))
            .collect();
        let mut noise = Noise(7);
        let errors_s: Vec<f64> = (0..400)
            .map(|run| {
                let delay_s = 0.040 + 1e-5 * f64::from(run % 100); // off the grid
                let long: Vec<f64> = (0..190)
                    .map(|k| pulse(k as f64 / rate_hz - 0.055 - delay_s) + noise_sd * noise.next())
                    .collect();
                let found = sliding_delay(&short, &long, rate_hz, 0.5 * rate_hz).expect("a peak");
                found.lag_s - delay_s
            })
            .collect();
        let rms_s = (errors_s.iter().map(|e| e * e).sum::<f64>() / 400.0).sqrt();
        let slope_power = PI.sqrt() / (2.0 * width_s);
        let bound_s = noise_sd / (rate_hz * slope_power).sqrt();
        // 400 runs tell the spread to 3.5 %; the parabola through three lags costs a little
        let ratio = rms_s / bound_s;
        assert!((0.9..1.15).contains(&ratio), "{rms_s} s, bound {bound_s} s");
    }

    /// The stated uncertainty is that bound where the shape's own noise is small.
    #[test]
    fn stated_uncertainty_is_the_bound() {
        let (rate_hz, width_s, noise_sd) = (1000.0, 0.008, 0.02);
        let pulse = |t: f64| (-0.5 * (t / width_s).powi(2)).exp();
        let short: Vec<f64> = (0..110)
            .map(|k| pulse(k as f64 / rate_hz - 0.055))
            .collect();
        let mut noise = Noise(11);
        let long: Vec<f64> = (0..190)
            .map(|k| pulse(k as f64 / rate_hz - 0.095) + noise_sd * noise.next())
            .collect();
        let found = sliding_delay(&short, &long, rate_hz, 0.5 * rate_hz).expect("a peak");
        let bound_s = noise_sd / (rate_hz * PI.sqrt() / (2.0 * width_s)).sqrt();
        let ratio = found.sd_s / bound_s;
        assert!(
            (0.8..1.25).contains(&ratio),
            "{} s, bound {bound_s} s",
            found.sd_s
        );
    }
}
