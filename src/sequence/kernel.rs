//! Covariance functions of motion and of skin, and the linear algebra on them.
//!
//! Source: Rasmussen & Williams 2006, Gaussian Processes for Machine Learning, ch. 2 (posterior,
//! marginal likelihood) and eq. 4.16 (Matern, half-integer order).

use archmage::autoversion;
use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

/// Matern order 13/2: six derivatives exist. Muscle-driven rates are that smooth; rougher orders
/// take skin's ringing for motion, an infinitely smooth one takes an uneven bell for ringing.
const HALF_ORDER: usize = 6;

/// Coefficients of the half-integer Matern polynomial in (2 s), highest power first:
/// p! / (2p)! * (p + i)! / (i! (p - i)!), i = 0..=p.
const MATERN: [f64; HALF_ORDER + 1] = matern_coefficients();

const fn factorial(n: usize) -> f64 {
    let mut product = 1.0;
    let mut k = 2;
    while k <= n {
        product *= k as f64;
        k += 1;
    }
    product
}

const fn matern_coefficients() -> [f64; HALF_ORDER + 1] {
    let p = HALF_ORDER;
    let mut coefficients = [0.0; HALF_ORDER + 1];
    let mut i = 0;
    while i <= p {
        coefficients[i] =
            factorial(p) / factorial(2 * p) * factorial(p + i) / (factorial(i) * factorial(p - i));
        i += 1;
    }
    coefficients
}

fn matern(apart_lengths: f64) -> f64 {
    let s = (2.0 * HALF_ORDER as f64 + 1.0).sqrt() * apart_lengths.abs();
    polynomial(s) * (-s).exp()
}

fn polynomial(s: f64) -> f64 {
    MATERN.iter().fold(0.0, |sum, c| sum * 2.0 * s + c)
}

/// Times of observations with the motion's decay to each taken out of them: the covariance with any one
/// time then needs two exponentials instead of one per observation.
pub struct Decays {
    /// Ascending, s.
    pub times_s: Vec<f64>,
    rising: Vec<f64>,
    falling: Vec<f64>,
}

/// Motion plus skin, relative to a motion variance of 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Kernel {
    /// Correlation length of the motion, s.
    pub length_s: f64,
    /// Standard deviation of the skin's oscillation relative to the motion's.
    pub skin_sd: f64,
    /// Frequency of the skin's oscillation, Hz.
    pub skin_hz: f64,
    /// Correlation length of the skin's ringing, s.
    pub skin_length_s: f64,
}

impl Kernel {
    /// Covariance of the motion over a time difference, s.
    pub fn motion(&self, apart_s: f64) -> f64 {
        matern(apart_s / self.length_s)
    }

    /// Variance of the motion's first derivative, 1/s^2: nu / ((nu - 1) length^2).
    pub fn slope_variance(&self) -> f64 {
        let nu = HALF_ORDER as f64 + 0.5;
        nu / ((nu - 1.0) * self.length_s * self.length_s)
    }

    /// Covariance of the skin's oscillation over a time difference, s. Its envelope is a Matern of order
    /// 3/2: ringing may start with a kink (a foot lands, a ball is met), motion may not.
    fn skin(&self, apart_s: f64) -> f64 {
        let turn = (std::f64::consts::TAU * self.skin_hz * apart_s).cos();
        let s = 3_f64.sqrt() * (apart_s / self.skin_length_s).abs();
        self.skin_sd * self.skin_sd * (1.0 + s) * (-s).exp() * turn
    }

    /// Covariance of what the unit shows, by distance in even steps: entry k is k steps apart.
    pub fn by_steps(&self, step_s: f64, count: usize) -> Vec<f64> {
        let at = |k: usize| {
            let apart_s = k as f64 * step_s;
            self.motion(apart_s)
                + if self.skin_sd > 0.0 {
                    self.skin(apart_s)
                } else {
                    0.0
                }
        };
        (0..count).map(at).collect()
    }

    /// Decay of the motion's covariance, 1/s.
    fn decay_per_s(&self) -> f64 {
        (2.0 * HALF_ORDER as f64 + 1.0).sqrt() / self.length_s
    }

    /// Makes ready for [`Self::towards`]; times ascend and lie within some tens of lengths of 0.
    pub fn decays(&self, times_s: Vec<f64>) -> Decays {
        let rate_per_s = self.decay_per_s();
        Decays {
            rising: times_s.iter().map(|t| (rate_per_s * t).exp()).collect(),
            falling: times_s.iter().map(|t| (-rate_per_s * t).exp()).collect(),
            times_s,
        }
    }

    /// Covariance of the motion at `at_s` with the observations.
    #[autoversion(v3)]
    pub fn towards(&self, at_s: f64, to: &Decays) -> DVector<f64> {
        let rate_per_s = self.decay_per_s();
        let (rise, fall) = ((rate_per_s * at_s).exp(), (-rate_per_s * at_s).exp());
        let before = to.times_s.partition_point(|t| *t <= at_s);
        let mut out = DVector::zeros(to.times_s.len());
        let (early, late) = out.as_mut_slice().split_at_mut(before);
        for ((out, t), rising) in early.iter_mut().zip(&to.times_s).zip(&to.rising) {
            *out = polynomial(rate_per_s * (at_s - t)) * (fall * rising);
        }
        let behind = to.times_s.iter().zip(&to.falling).skip(before);
        for (out, (t, falling)) in late.iter_mut().zip(behind) {
            *out = polynomial(rate_per_s * (t - at_s)) * (rise * falling);
        }
        out
    }
}

/// Covariance matrix of what the unit shows at the given step positions (ascending), with the noise
/// variance of each added. `by_steps` must reach the largest distance.
pub fn observed(by_steps: &[f64], positions: &[usize], noise: &[f64]) -> DMatrix<f64> {
    DMatrix::from_fn(positions.len(), positions.len(), |row, column| {
        let shared = by_steps[positions[row].abs_diff(positions[column])];
        if row == column {
            shared + noise[row]
        } else {
            shared
        }
    })
}

/// Log determinant of a factorised covariance.
pub fn log_determinant(factor: &Cholesky<f64, Dyn>) -> f64 {
    2.0 * factor
        .l_dirty()
        .diagonal()
        .iter()
        .map(|d| d.ln())
        .sum::<f64>()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against the covariance itself, over the shortest and the longest motions.
    #[test]
    fn covariance_by_decays_is_the_covariance() {
        for length_s in [0.006, 0.03, 0.2] {
            let kernel = Kernel {
                length_s,
                skin_sd: 0.0,
                skin_hz: 15.0,
                skin_length_s: 0.1,
            };
            let times_s: Vec<f64> = (0..120).map(|k| 0.006 * f64::from(k) - 0.42).collect();
            let decays = kernel.decays(times_s.clone());
            for at_s in [-0.5, -0.0813, 0.0, 0.3] {
                let got = kernel.towards(at_s, &decays);
                for (got, t) in got.iter().zip(&times_s) {
                    // relative: far times are as right as near ones
                    let want = kernel.motion(at_s - t);
                    assert!((got - want).abs() <= 1e-12 * want, "{got} against {want}");
                }
            }
        }
    }

    /// Closed form: the curvature of the covariance at 0 is minus the slope's variance, and the
    /// spectrum's second moment of a Matern of order 13/2 is 13/11 over the length squared.
    #[test]
    fn covariance_at_zero_has_the_stated_value_and_curvature() {
        let kernel = Kernel {
            length_s: 0.07,
            skin_sd: 0.0,
            skin_hz: 15.0,
            skin_length_s: 0.1,
        };
        assert!((kernel.motion(0.0) - 1.0).abs() < 1e-12);
        let h = 1e-4;
        let curvature = (2.0 * kernel.motion(h) - 2.0) / (h * h);
        assert!((curvature / -kernel.slope_variance() - 1.0).abs() < 1e-3);
        assert!((kernel.slope_variance() * 0.07 * 0.07 - 13.0 / 11.0).abs() < 1e-12);
    }
}
