//! Measures of a serve against closed forms and against the simulator's truth.

mod closed_form;
mod truth;

use nalgebra::{UnitQuaternion, Vector3};
use overarm::calibration::Leftover;
use overarm::measures::UnitWindow;
use overarm::orientation::Attitude;
use overarm::samples::{Flags, Samples};

/// A unit whose axes stand upright, with the given rate (rad/s) and upward acceleration (m/s^2).
pub fn upright(
    rate_hz: f64,
    length_s: f64,
    rate_rad_s: impl Fn(f64) -> Vector3<f64>,
    up_m_s2: impl Fn(f64) -> f64,
) -> UnitWindow {
    let count = (rate_hz * length_s) as usize;
    let time_s: Vec<f64> = (0..count).map(|k| k as f64 / rate_hz).collect();
    UnitWindow {
        samples: Samples {
            rate_hz,
            accel_m_s2: time_s
                .iter()
                .map(|&t| Vector3::new(0.0, 0.0, 9.80665 + up_m_s2(t)))
                .collect(),
            gyro_rad_s: time_s.iter().map(|&t| rate_rad_s(t)).collect(),
            flags: vec![Flags::default(); count],
            time_s,
        },
        attitude: Attitude {
            sensor_to_world: vec![UnitQuaternion::identity(); count],
            inclination_sd_rad: Some(vec![0.003; count]),
        },
        leftover: Leftover {
            bias_rad_s: Vector3::repeat(0.001),
            force_m_s2: 0.05,
        },
        tie_sd_s: 0.0,
    }
}
