//! The exact truth beside a simulated log.

use std::collections::BTreeMap;

use nalgebra::UnitQuaternion;
use serde::{Deserialize, Serialize};

use super::scenario::{Scenario, Variant};
use crate::frames::Site;

/// Schema name of [`Truth`].
pub const TRUTH_SCHEMA: &str = "overarm.truth/1";

/// What really happened. Times are seconds on the reference unit's clock.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Truth {
    /// Always [`TRUTH_SCHEMA`].
    pub schema: String,
    /// Always true.
    pub simulated: bool,
    /// Whose clock the times are on.
    pub reference_site: Site,
    /// Clock of each unit.
    pub clocks: BTreeMap<Site, ClockTruth>,
    /// Mounting of each unit: sensor to segment, w x y z.
    pub mountings: BTreeMap<Site, [f64; 4]>,
    /// Gyroscope offset of each unit at the start, deg/s, sensor axes.
    pub gyro_bias_dps: BTreeMap<Site, [f64; 3]>,
    /// Swings of every kind, in time order.
    pub swings: Vec<SwingTruth>,
    /// What went on, in time order.
    pub activities: Vec<ActivityTruth>,
    /// Sync gestures.
    pub gestures: Vec<GestureTruth>,
    /// Attitudes at rest and at impacts.
    pub attitudes: Vec<AttitudeTruth>,
    /// Seed of the practice.
    pub seed: u64,
    /// Every knob.
    pub scenario: Scenario,
}

/// `unit_time = ref_time * (1 + drift_ppm * 1e-6) + offset_s`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ClockTruth {
    /// Offset at reference time 0.
    pub offset_s: f64,
    /// Drift.
    pub drift_ppm: f64,
    /// After a restart: from when on the reference clock, and the offset from then on.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub steps: Vec<ClockStep>,
}

/// A later piece of a clock that stepped; the drift stays.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ClockStep {
    /// First sample after the step, reference clock.
    pub from_s: f64,
    /// Offset at reference time 0 from then on.
    pub offset_s: f64,
}

/// One swing.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SwingTruth {
    /// `serve`, `dry swing`, `smash`, `forehand`, `backhand`, `volley`, `throw`.
    pub kind: String,
    /// First touch of the ball, or when it would have been.
    pub impact_s: f64,
    /// Whether a ball was met.
    pub contact: bool,
    /// Share of full effort.
    pub effort: f64,
    /// `flat`, `slice`, `kick` for serves.
    pub spin: Option<String>,
    /// 1 or 2 for serves.
    pub serve: Option<u8>,
    /// Order of the peaks that was asked for; serve motions only.
    pub variant: Option<Variant>,
    /// Largest angular speed of each segment's bone from 0.30 s before to 0.10 s after impact.
    pub peaks: BTreeMap<Site, PeakTruth>,
    /// Phase times; those that took place.
    pub phases: BTreeMap<String, f64>,
}

/// One segment's peak.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PeakTruth {
    /// When.
    pub time_s: f64,
    /// How fast.
    pub speed_dps: f64,
}

/// Something that went on for a while.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ActivityTruth {
    /// What.
    pub kind: String,
    /// From.
    pub from_s: f64,
    /// To.
    pub to_s: f64,
}

/// One event of a gesture.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct GestureTruth {
    /// `tap`, `jump`, `heel drop`.
    pub kind: String,
    /// First touch.
    pub time_s: f64,
}

/// Attitude of a segment at a time, segment to world (x towards the net, z up), w x y z.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct AttitudeTruth {
    /// Which segment.
    pub site: Site,
    /// When.
    pub time_s: f64,
    /// w x y z.
    pub wxyz: [f64; 4],
}

/// w x y z of a quaternion.
pub fn wxyz(q: &UnitQuaternion<f64>) -> [f64; 4] {
    [q.w, q.i, q.j, q.k]
}
