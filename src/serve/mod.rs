//! Finds every serve and nothing else.

use serde::{Deserialize, Serialize};

use crate::estimate::{Estimate, Reading};

/// What a found swing was.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SwingKind {
    /// A serve that met a ball.
    Serve,
    /// A serve motion without a ball.
    DrySwing,
}

/// Times of the phases, reference clock, s.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Phases {
    /// End of the still stance.
    pub stance_end_s: Reading<f64>,
    /// Start of loading.
    pub loading_start_s: Reading<f64>,
    /// Deepest loading.
    pub deepest_loading_s: Reading<f64>,
    /// Start of the acceleration.
    pub acceleration_start_s: Reading<f64>,
    /// End of the deceleration after impact.
    pub deceleration_end_s: Reading<f64>,
    /// Landing.
    pub landing_s: Reading<f64>,
}

/// One serve or dry swing.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Serve {
    /// Serve with contact or dry swing.
    pub kind: SwingKind,
    /// Impact (or, dry, when it would have been), reference clock, s.
    pub impact_s: Estimate<f64>,
    /// Probability that it is a serve motion, 0 to 1, calibrated.
    pub confidence: f64,
    /// Probability that a ball was met, 0 to 1.
    pub contact_confidence: f64,
    /// Why, in words.
    pub reasons: Vec<String>,
    /// Phase times.
    pub phases: Phases,
}

/// A candidate that was refused.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Refused {
    /// Peak of the swing, reference clock, s.
    pub time_s: f64,
    /// What it looked like, in words.
    pub reason: String,
    /// Probability that it was a serve all the same, 0 to 1.
    pub confidence: f64,
}
