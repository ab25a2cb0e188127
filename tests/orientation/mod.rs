//! Orientation against closed forms, an open recording, and itself.

mod closed_form;
mod motion;
mod mounting;
mod open_recording;
mod posture;
mod record;

use nalgebra::{UnitQuaternion, Vector3};
use overarm::calibration::Leftover;

/// Angle between true and estimated vertical, rad: heading does not count.
pub fn inclination_rad(estimate: &UnitQuaternion<f64>, truth: &UnitQuaternion<f64>) -> f64 {
    let error = estimate * truth.inverse();
    2.0 * error.w.hypot(error.k).min(1.0).acos()
}

/// Root mean square.
pub fn rms(values: impl IntoIterator<Item = f64>) -> f64 {
    let (sum, n) = values
        .into_iter()
        .fold((0.0, 0u32), |(sum, n), v| (sum + v * v, n + 1));
    assert!(n > 0, "nothing to average");
    (sum / f64::from(n)).sqrt()
}

/// What is left in samples whose accelerometer is true.
pub fn left(bias_rad_s: f64) -> Leftover {
    Leftover {
        bias_rad_s: Vector3::repeat(bias_rad_s),
        force_m_s2: 0.0,
    }
}
