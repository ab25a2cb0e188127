//! What the still chunks of a log say about the sensor, before any calibration.

use super::{QuietChunk, Recording};
use crate::math::median;
use crate::units::STANDARD_GRAVITY_M_S2;

/// Levels at rest that a poorly calibrated accelerometer may read, g: zero-g offsets of consumer chips are limited to
/// 50 to 80 mg an axis before board calibration (public six-axis datasheets), two axes' together with a scale off by
/// 3 % reach 0.15 g; gravity itself stays within 0.3 % of standard gravity (WGS-84). Beyond, unit or scale is wrong.
pub const REST_POSSIBLE_G: std::ops::RangeInclusive<f64> = 0.85..=1.15;

/// Levels and noise while still: medians over the still chunks.
#[derive(Debug, Clone, PartialEq)]
pub struct Still {
    /// Still time behind it, s.
    pub length_s: f64,
    /// Resultant specific force, g (1 expected).
    pub rest_g: f64,
    /// Gyroscope bias, deg/s.
    pub gyro_bias_dps: [f64; 3],
    /// Noise of the noisiest gyroscope axis, deg/s.
    pub gyro_noise_dps: f64,
    /// Noise of the noisiest accelerometer axis, g.
    pub accel_noise_g: f64,
}

impl Recording {
    /// Levels and noise while still; none where the unit never was.
    pub fn still(&self) -> Option<Still> {
        let quiet = self.quiet.as_slice();
        let over = |value: &dyn Fn(&QuietChunk) -> f64| {
            median(&quiet.iter().map(value).collect::<Vec<f64>>())
        };
        let largest = |three: [f32; 3]| f64::from(three.into_iter().fold(0f32, f32::max));
        let bias_dps = |axis: usize| over(&|q| f64::from(q.gyro_rad_s[axis]).to_degrees());
        Some(Still {
            length_s: quiet.iter().map(|q| q.length_s).sum(),
            rest_g: over(&|q| {
                let [x, y, z] = q.accel_m_s2.map(f64::from);
                (x * x + y * y + z * z).sqrt() / STANDARD_GRAVITY_M_S2
            })?,
            gyro_bias_dps: [bias_dps(0)?, bias_dps(1)?, bias_dps(2)?],
            gyro_noise_dps: over(&|q| largest(q.gyro_sd_rad_s).to_degrees())?,
            accel_noise_g: over(&|q| largest(q.accel_sd_m_s2) / STANDARD_GRAVITY_M_S2)?,
        })
    }
}
