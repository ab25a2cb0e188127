//! Sensor-to-world orientation, z up.
//!
//! One trait, three ways: [`Smoother`] (the default, offline), [`MadgwickFilter`] and [`MahonyFilter`]
//! (live baselines). Without a magnetometer the heading of a record starts at an arbitrary angle.

mod baseline;
mod preintegrate;
mod smoother;

pub use baseline::{MadgwickFilter, MahonyFilter};
pub use smoother::Smoother;

use nalgebra::{UnitQuaternion, Vector3};

use crate::samples::Samples;

crate::stage_params! {
    /// Tuning numbers of the orientation stage.
    pub struct OrientationParams in "orientation" {
        /// Time between the smoother's nodes. Shorter follows faster errors and costs more.
        node_s: f64 = 0.1, "s", 0.01, 1.0, "own choice";
        /// Speed of the wearer about rest, as a spread. Smaller trusts the mean force more.
        speed_m_s: f64 = 1.0, "m/s", 0.05, 20.0, "own choice";
        /// Time over which the wearer's speed forgets itself. Longer trusts the mean force less.
        speed_memory_s: f64 = 0.5, "s", 0.01, 10.0, "own choice";
        /// Wander of the orientation by gyroscope noise and scale, in a root second. Larger trusts gravity more.
        turn_wander_rad: f64 = 0.002, "rad/sqrt(s)", 0.00001, 0.1, "own choice";
        /// Error of the specific force, as a spectral density.
        force_noise_m_s: f64 = 0.02, "m/s/sqrt(s)", 0.0001, 1.0, "own choice";
        /// Wander of the gyroscope bias inside a record, in a root second.
        bias_wander_rad_s: f64 = 0.00005, "rad/s/sqrt(s)", 0.0, 0.01, "own choice";
        /// Gain of the Madgwick baseline.
        madgwick_beta_rad_s: f64 = 0.055, "rad/s", 0.0, 10.0, "best common gain on eight open benchmark trials (Laidig et al. 2021 data)";
        /// Proportional gain of the Mahony baseline.
        mahony_kp: f64 = 0.28, "1/s", 0.0, 100.0, "best common gain on eight open benchmark trials (Laidig et al. 2021 data)";
        /// Integral gain of the Mahony baseline.
        mahony_ki: f64 = 0.001, "1/s^2", 0.0, 100.0, "best common gain on eight open benchmark trials (Laidig et al. 2021 data)";
    }
}

/// Orientation of every sample of a stretch.
#[derive(Debug, Clone, PartialEq)]
pub struct Attitude {
    /// Takes sensor components to world components (z up), one per sample.
    pub sensor_to_world: Vec<UnitQuaternion<f64>>,
    /// Standard uncertainty of the inclination (angle between true and estimated vertical), per
    /// horizontal axis, rad, one per sample; `None` from a filter that does not state it.
    pub inclination_sd_rad: Option<Vec<f64>>,
}

/// A way from force and rate to orientation.
pub trait OrientationFilter {
    /// Orientation of every sample. `samples` has its gyroscope bias removed as far as known;
    /// `bias_sd_rad_s` is what is left of it, per axis (standard uncertainty, rad/s).
    fn orient(&self, samples: &Samples, bias_sd_rad_s: Vector3<f64>) -> Attitude;
}

/// Which filter.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, clap::ValueEnum)]
pub enum FilterKind {
    /// Offline smoother over past and future.
    #[default]
    Smoother,
    /// Madgwick's live filter.
    Madgwick,
    /// Mahony's live filter.
    Mahony,
}

impl FilterKind {
    /// The filter with the numbers of `params`.
    pub fn build(self, params: &OrientationParams) -> Box<dyn OrientationFilter + Sync> {
        match self {
            Self::Smoother => Box::new(Smoother::new(params)),
            Self::Madgwick => Box::new(MadgwickFilter::new(params)),
            Self::Mahony => Box::new(MahonyFilter::new(params)),
        }
    }
}

/// The shortest turn that brings the given specific force to straight up; heading as it falls.
pub fn level(up_in_sensor: &Vector3<f64>) -> UnitQuaternion<f64> {
    UnitQuaternion::rotation_between(up_in_sensor, &Vector3::z()).unwrap_or_else(|| {
        // straight down (or no direction at all): half a turn about x
        UnitQuaternion::from_axis_angle(&Vector3::x_axis(), std::f64::consts::PI)
    })
}
