//! Butterworth filters by the bilinear transform, run forward and back so that nothing shifts in time.
//!
//! Source: Oppenheim & Schafer, Discrete-Time Signal Processing, ch. 7 (bilinear transform with
//! prewarping); Winter 2009, Biomechanics and Motor Control of Human Movement, ch. 3 (two-pass cut-off).

use std::f64::consts::{PI, SQRT_2};
use std::ops::{Add, Mul, Sub};

/// What is filtered: a number, or a vector whose axes are filtered side by side.
pub trait Value: Copy + Add<Output = Self> + Sub<Output = Self> + Mul<f64, Output = Self> {}

impl<T: Copy + Add<Output = T> + Sub<Output = T> + Mul<f64, Output = T>> Value for T {}

/// A cut-off that the rate cannot carry.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error("cut-off {cutoff_hz} Hz: want more than 0 and less than half the rate of {rate_hz} Hz")]
pub struct FilterError {
    /// Asked for, Hz.
    pub cutoff_hz: f64,
    /// Sampling rate, Hz.
    pub rate_hz: f64,
}

/// Second-order section, `a[0] = 1`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Butterworth {
    /// Numerator.
    pub b: [f64; 3],
    /// Denominator.
    pub a: [f64; 3],
}

/// The -3 dB point of two passes stands at this share of one pass's: (sqrt(2) - 1)^(1/4).
fn two_pass_share() -> f64 {
    (SQRT_2 - 1.0).powf(0.25)
}

impl Butterworth {
    /// Second-order low-pass, -3 dB at `cutoff_hz` in one pass.
    ///
    /// # Errors
    /// When the cut-off is not inside 0 to half the rate.
    pub fn low_pass(cutoff_hz: f64, rate_hz: f64) -> Result<Self, FilterError> {
        let k = prewarped(cutoff_hz, rate_hz)?;
        let norm = 1.0 / (1.0 + SQRT_2 * k + k * k);
        let b0 = k * k * norm;
        Ok(Self {
            b: [b0, 2.0 * b0, b0],
            a: denominator(k, norm),
        })
    }

    /// Second-order high-pass, -3 dB at `cutoff_hz` in one pass.
    ///
    /// # Errors
    /// When the cut-off is not inside 0 to half the rate.
    pub fn high_pass(cutoff_hz: f64, rate_hz: f64) -> Result<Self, FilterError> {
        let k = prewarped(cutoff_hz, rate_hz)?;
        let norm = 1.0 / (1.0 + SQRT_2 * k + k * k);
        Ok(Self {
            b: [norm, -2.0 * norm, norm],
            a: denominator(k, norm),
        })
    }

    /// Low-pass whose -3 dB point is `cutoff_hz` after [`Self::zero_phase`]'s two passes.
    ///
    /// # Errors
    /// When the widened one-pass cut-off reaches half the rate.
    pub fn two_pass_low_pass(cutoff_hz: f64, rate_hz: f64) -> Result<Self, FilterError> {
        Self::low_pass(cutoff_hz / two_pass_share(), rate_hz)
    }

    /// High-pass whose -3 dB point is `cutoff_hz` after two passes.
    ///
    /// # Errors
    /// When the one-pass cut-off is not inside 0 to half the rate.
    pub fn two_pass_high_pass(cutoff_hz: f64, rate_hz: f64) -> Result<Self, FilterError> {
        Self::high_pass(cutoff_hz * two_pass_share(), rate_hz)
    }

    /// One causal pass from the filter's own rest at `signal[0]`.
    pub fn one_pass<T: Value>(&self, signal: &[T]) -> Vec<T> {
        let Some(&first) = signal.first() else {
            return Vec::new();
        };
        let settled = self.b.iter().sum::<f64>() / self.a.iter().sum::<f64>();
        // state of the transposed form after a long constant input
        let mut z2 = first * (self.b[2] - self.a[2] * settled);
        let mut z1 = first * (self.b[1] - self.a[1] * settled) + z2;
        let mut filtered = Vec::with_capacity(signal.len());
        for &x in signal {
            let y = x * self.b[0] + z1;
            z1 = x * self.b[1] - y * self.a[1] + z2;
            z2 = x * self.b[2] - y * self.a[2];
            filtered.push(y);
        }
        filtered
    }

    /// Forward and back, ends continued by odd reflection; phase is zero, order doubles.
    ///
    /// `pad` samples are reflected at each end (at most `signal.len() - 1`).
    pub fn zero_phase<T: Value>(&self, signal: &[T], pad: usize) -> Vec<T> {
        let (Some(&first), Some(&last)) = (signal.first(), signal.last()) else {
            return Vec::new();
        };
        let pad = pad.min(signal.len() - 1);
        let mut padded = Vec::with_capacity(signal.len() + 2 * pad);
        padded.extend(signal[1..=pad].iter().rev().map(|x| first * 2.0 - *x));
        padded.extend_from_slice(signal);
        let tail = signal.len() - 1;
        padded.extend(
            signal[tail - pad..tail]
                .iter()
                .rev()
                .map(|x| last * 2.0 - *x),
        );
        let mut back = self.one_pass(&padded);
        back.reverse();
        let mut filtered = self.one_pass(&back);
        filtered.reverse();
        filtered[pad..pad + signal.len()].to_vec()
    }
}

fn prewarped(cutoff_hz: f64, rate_hz: f64) -> Result<f64, FilterError> {
    let inside = cutoff_hz > 0.0 && cutoff_hz < 0.5 * rate_hz;
    if inside {
        Ok((PI * cutoff_hz / rate_hz).tan())
    } else {
        Err(FilterError { cutoff_hz, rate_hz })
    }
}

fn denominator(k: f64, norm: f64) -> [f64; 3] {
    [
        1.0,
        2.0 * (k * k - 1.0) * norm,
        (1.0 - SQRT_2 * k + k * k) * norm,
    ]
}
