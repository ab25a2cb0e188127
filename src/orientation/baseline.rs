//! The published live filters, as the `ahrs` crate has them: yardsticks, not the default.

use ahrs::{Ahrs, Madgwick, Mahony};
use nalgebra::UnitQuaternion;

use super::{Attitude, OrientationFilter, OrientationParams};
use crate::calibration::Leftover;
use crate::samples::Samples;

/// Gradient-descent filter. Source: Madgwick, Harrison and Vaidyanathan 2011, ICORR.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MadgwickFilter {
    /// Gain, rad/s.
    pub beta_rad_s: f64,
}

/// Complementary filter on the rotation group. Source: Mahony, Hamel and Pflimlin 2008, IEEE TAC 53(5).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MahonyFilter {
    /// Proportional gain, 1/s.
    pub kp: f64,
    /// Integral gain, 1/s^2.
    pub ki: f64,
}

impl MadgwickFilter {
    /// With the gain of `params`.
    pub fn new(params: &OrientationParams) -> Self {
        Self {
            beta_rad_s: params.madgwick_beta_rad_s,
        }
    }
}

impl MahonyFilter {
    /// With the gains of `params`.
    pub fn new(params: &OrientationParams) -> Self {
        Self {
            kp: params.mahony_kp,
            ki: params.mahony_ki,
        }
    }
}

impl OrientationFilter for MadgwickFilter {
    fn orient(&self, samples: &Samples, _leftover: Leftover) -> Attitude {
        live(samples, |period_s, start| {
            Madgwick::new_with_quat(period_s, self.beta_rad_s, start)
        })
    }
}

impl OrientationFilter for MahonyFilter {
    fn orient(&self, samples: &Samples, _leftover: Leftover) -> Attitude {
        live(samples, |period_s, start| {
            Mahony::new_with_quat(period_s, self.kp, self.ki, start)
        })
    }
}

/// Runs a live filter over each gap-free run, started level from the run's first sample.
fn live<F: Ahrs<f64>>(
    samples: &Samples,
    start: impl Fn(f64, UnitQuaternion<f64>) -> F,
) -> Attitude {
    let mut sensor_to_world = Vec::with_capacity(samples.len());
    for run in samples.runs() {
        let rates = samples.gyro_rad_s.get(run.clone()).unwrap_or_default();
        let forces = samples.accel_m_s2.get(run).unwrap_or_default();
        let Some(first) = forces.first() else {
            continue;
        };
        let mut last = super::level(first);
        let mut filter = start(1.0 / samples.rate_hz, last);
        for (rate, force) in rates.iter().zip(forces) {
            last = match filter.update_imu(rate, force) {
                Ok(q) => *q,
                Err(_) => *filter.update_gyro(rate), // free fall: no direction in the force
            };
            sensor_to_world.push(last);
        }
    }
    Attitude {
        sensor_to_world,
        inclination_sd_rad: None,
    }
}
