//! A number with its uncertainty, or the reason why there is none.

use serde::{Deserialize, Serialize};

use crate::units::COVERAGE_95;

/// A measured value with its standard uncertainty.
/// Source of the vocabulary: JCGM 100:2008 (GUM).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Estimate<T> {
    /// The value, in the unit its field's name says.
    pub value: T,
    /// Standard uncertainty (one standard deviation), in the same unit.
    pub sd: T,
    /// Observations behind it.
    pub n: u32,
}

impl Estimate<f64> {
    /// One observation with its standard uncertainty.
    pub const fn one(value: f64, sd: f64) -> Self {
        Self { value, sd, n: 1 }
    }
    /// Half-width of the 95 % interval.
    pub fn expanded(&self) -> f64 {
        COVERAGE_95 * self.sd
    }
}

/// A result that may be missing, never silently.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Reading<T> {
    /// Measured.
    Known(Estimate<T>),
    /// Not measured, and why.
    Unknown(Why),
}

impl<T> Reading<T> {
    /// The estimate, if measured.
    pub const fn known(&self) -> Option<&Estimate<T>> {
        match self {
            Self::Known(estimate) => Some(estimate),
            Self::Unknown(_) => None,
        }
    }
    /// The reason, if not measured.
    pub const fn why(&self) -> Option<&Why> {
        match self {
            Self::Known(_) => None,
            Self::Unknown(why) => Some(why),
        }
    }
}

/// Why something was not measured.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum Why {
    /// No unit at this site.
    NotWorn,
    /// The unit has no samples there.
    NoSamples,
    /// A gap in the log crosses the window.
    Gap,
    /// The channel was at its limit for too long.
    Clipped {
        /// Samples at the limit.
        samples: u32,
    },
    /// The unit's clock is not tied to the reference clock.
    ClocksNotTied,
    /// The largest value stands at the edge of the window: the peak may lie outside.
    PeakAtEdge,
    /// The segment did not turn enough to have a peak.
    NoPeak,
    /// Two maxima of like height.
    RivalPeaks,
    /// Sensor-to-segment mounting unknown.
    MountingUnknown,
    /// The event was not seen in the signals.
    NotSeen,
    /// Impact was not seen in the signals, and a person's word places it no closer.
    ImpactNotSeen,
}
