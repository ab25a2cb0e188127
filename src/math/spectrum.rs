//! Power spectra, the noise a sensor adds, and the cut-off a signal asks for.

use std::f64::consts::PI;

use rustfft::FftPlanner;
use rustfft::num_complex::Complex;

use super::stats::median;

/// Share of the band below half the rate that is taken as pure noise: its top quarter.
const NOISE_BAND_START: f64 = 0.75;
/// Median of a chi-square variable with two degrees of freedom over its mean: ln 2. Turns the median
/// of periodogram ordinates into their mean.
const MEDIAN_OVER_MEAN: f64 = std::f64::consts::LN_2;

/// One-sided power spectral density by one Hann-windowed periodogram, mean removed.
///
/// Gives `(frequency_hz, power)` per bin, power in (signal unit)^2 / Hz; empty under eight samples.
/// Source: Welch 1967, IEEE Trans. Audio Electroacoust. 15:70-73, one segment.
pub fn power_spectrum(signal: &[f64], rate_hz: f64) -> Vec<(f64, f64)> {
    let n = signal.len();
    if n < 8 {
        return Vec::new();
    }
    let centre = signal.iter().sum::<f64>() / n as f64;
    let hann = |i: usize| 0.5 - 0.5 * (2.0 * PI * i as f64 / n as f64).cos();
    let mut buffer: Vec<Complex<f64>> = signal
        .iter()
        .enumerate()
        .map(|(i, x)| Complex::new((x - centre) * hann(i), 0.0))
        .collect();
    FftPlanner::new().plan_fft_forward(n).process(&mut buffer);
    let gain = (0..n).map(|i| hann(i).powi(2)).sum::<f64>() * rate_hz;
    buffer[..=n / 2]
        .iter()
        .enumerate()
        .map(|(bin, value)| {
            let two_sided = bin == 0 || 2 * bin == n;
            let power = value.norm_sqr() / gain * if two_sided { 1.0 } else { 2.0 };
            (bin as f64 * rate_hz / n as f64, power)
        })
        .collect()
}

/// Standard deviation of the white noise in a signal, from the top quarter of its spectrum.
///
/// Holds when the signal itself has no power up there. `None` under 32 samples.
pub fn noise_sd(signal: &[f64], rate_hz: f64) -> Option<f64> {
    if signal.len() < 32 {
        return None;
    }
    let top: Vec<f64> = power_spectrum(signal, rate_hz)
        .into_iter()
        .filter(|(frequency_hz, _)| *frequency_hz >= NOISE_BAND_START * 0.5 * rate_hz)
        .map(|(_, power)| power)
        .collect();
    let density = median(&top)? / MEDIAN_OVER_MEAN;
    Some((density * 0.5 * rate_hz).sqrt())
}

/// The cut-off at which a zero-phase low-pass starts to remove more than noise.
///
/// The residual RMS of each cut-off follows from Parseval's theorem with the response of the two-pass
/// second-order Butterworth, `1 / (1 + (f / fc)^4)`; the answer is the lowest of `cutoffs_hz` whose
/// residual does not exceed what white noise of `noise_sd` alone would leave, times `1 + slack`.
/// `None` where even the highest cut-off removes more.
/// Source: residual analysis of Winter 2009, ch. 3, with the noise line taken from the spectrum's top.
pub fn residual_cutoff_hz(
    signal: &[f64],
    rate_hz: f64,
    noise_sd: f64,
    cutoffs_hz: &[f64],
    slack: f64,
) -> Option<f64> {
    let spectrum = power_spectrum(signal, rate_hz);
    let width_hz = rate_hz / signal.len() as f64;
    let noise_density = noise_sd * noise_sd / (0.5 * rate_hz);
    cutoffs_hz.iter().copied().find(|cutoff_hz| {
        let removed = |f_hz: f64| {
            let ratio4 = (f_hz / cutoff_hz).powi(4);
            (ratio4 / (1.0 + ratio4)).powi(2)
        };
        let residual: f64 = spectrum.iter().map(|(f, p)| p * removed(*f)).sum::<f64>() * width_hz;
        let by_noise: f64 = spectrum
            .iter()
            .map(|(f, _)| noise_density * removed(*f))
            .sum::<f64>()
            * width_hz;
        residual.sqrt() <= by_noise.sqrt() * (1.0 + slack)
    })
}
