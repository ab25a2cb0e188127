//! Sensor-to-world orientation, z up.
//!
//! One trait, three ways: [`Smoother`] (the default, offline), [`MadgwickFilter`] and [`MahonyFilter`]
//! (live baselines). Without a magnetometer the heading of a record starts at an arbitrary angle.

mod baseline;
mod joint;
mod mounting;
mod passes;
mod posture;
mod preintegrate;
mod record;
mod smoother;
mod spelled;
mod turns;

pub use baseline::{MadgwickFilter, MahonyFilter};
pub use joint::{
    Direction, JointArms, Kinematics, axis_between, axis_to_proximal, joint_arms, joint_arms_near,
    kinematics, kinematics_of_both,
};
pub use mounting::{UnitTurned, stance_axis, unit_turned};
pub use posture::{Posture, since_stance};
pub use record::{heading_between, orient_record};
pub use smoother::Smoother;
pub(crate) use turns::carry;

use nalgebra::{UnitQuaternion, Vector3};

use crate::calibration::Leftover;
use crate::samples::Samples;

crate::stage_params! {
    /// Tuning numbers of the orientation stage.
    pub struct OrientationParams in "orientation" {
        /// Time between the smoother's nodes. Shorter follows faster errors and costs more.
        node_s: f64 = 0.1, "s", 0.01, 1.0, "own choice; 0.05 and 0.2 s change the benchmark by under 0.003 deg";
        /// Wander of the orientation in a root second at no rate. Larger trusts gravity more.
        turn_wander_rad: f64 = 0.003, "rad/sqrt(s)", 0.00001, 0.1, "own choice, leave-one-trial-out on open benchmark trials (Laidig et al. 2021 data)";
        /// Wander of the orientation in a root second, per rate: scale and alignment of the gyroscope. Larger trusts gravity more in fast motion.
        rate_error_s: f64 = 0.001, "sqrt(s)", 0.0, 0.1, "own choice, leave-one-trial-out on open benchmark trials (Laidig et al. 2021 data)";
        /// Wander of the gyroscope bias in a root second.
        bias_wander_rad_s: f64 = 0.00002, "rad/s/sqrt(s)", 0.0, 0.01, "own choice: 0.1 deg/s in an hour";
        /// Error of the specific force as a density. Larger averages gravity longer.
        force_noise_m_s: f64 = 0.02, "m/s/sqrt(s)", 0.0001, 1.0, "own choice; 0.01 and 0.05 change the benchmark by under 0.002 deg";
        /// How far force and rate of one row may lie apart in time. Larger trusts force less while the unit spins.
        force_lag_s: f64 = 0.002, "s", 0.0, 0.05, "own choice: half a sample at common rates";
        /// Speed of the wearer about rest before the record has been looked at, per axis.
        speed_start_m_s: f64 = 0.3, "m/s", 0.01, 10.0, "own choice; the rounds replace it";
        /// Least speed assumed, per axis. Smaller trusts the mean force more.
        speed_floor_m_s: f64 = 0.07, "m/s", 0.005, 5.0, "own choice, leave-one-trial-out on open benchmark trials (Laidig et al. 2021 data)";
        /// Time over which velocity forgets itself. Longer averages gravity longer.
        speed_memory_s: f64 = 0.09, "s", 0.01, 10.0, "own choice, leave-one-trial-out on open benchmark trials (Laidig et al. 2021 data)";
        /// Reach on either side of the speed's local mean.
        speed_window_s: f64 = 2.0, "s", 0.1, 60.0, "own choice; 1 to 10 s change the benchmark by under 0.002 deg";
        /// Largest spread of the force over a node's time that counts as rest.
        rest_force_sd_m_s2: f64 = 0.25, "m/s^2", 0.01, 5.0, "own choice: noise of consumer units, below standing sway";
        /// Largest spread of the rate over a node's time that counts as rest.
        rest_rate_sd_rad_s: f64 = 0.02, "rad/s", 0.0005, 0.5, "own choice: 1 deg/s";
        /// Largest mean rate that counts as rest, once the bias is removed.
        rest_rate_rad_s: f64 = 0.1, "rad/s", 0.001, 1.0, "own choice: 6 deg/s";
        /// Velocity at rest as a density. Smaller holds the velocity to zero more firmly.
        rest_velocity_m: f64 = 0.01, "m/s*sqrt(s)", 0.0005, 1.0, "own choice: standing sway";
        /// Rate at rest as a density. Smaller takes more of the rate at rest for bias.
        rest_turn_rad: f64 = 0.003, "rad/s*sqrt(s)", 0.0001, 0.1, "own choice: standing sway";
        /// Tilt uncertainty that no averaging removes, beside the accelerometer's offset: axis alignment.
        tilt_floor_rad: f64 = 0.002, "rad", 0.0, 0.1, "own choice: 0.1 deg";
        /// Length of a block of a long record.
        block_s: f64 = 60.0, "s", 5.0, 3600.0, "own choice; bounds memory";
        /// What a block sees of its neighbours on either side. Longer makes blocks agree better.
        context_s: f64 = 10.0, "s", 0.5, 120.0, "own choice; held by tests/orientation";
        /// Age of the motion at its row's stamp beyond the stated filter delay, in sample periods: half a period of averaging, half of read-out.
        stamp_age_samples: f64 = 1.0, "1", 0.0, 5.0, "own choice, leave-one-trial-out on open benchmark trials (Laidig et al. 2021 data)";
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
    /// `leftover` says what is still in them.
    fn orient(&self, samples: &Samples, leftover: Leftover) -> Attitude;

    /// Length of block and of context (s) in which a long record may be cut without changing the
    /// answer beyond its uncertainty; `None` for a filter whose state must run through.
    fn block_s(&self) -> Option<(f64, f64)> {
        None
    }
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
