//! Speed curves around impact, for pictures.

use serde::Serialize;

use crate::frames::PerSite;
use crate::sequence::SegmentWindow;

/// Most points a curve keeps; pictures need no more.
const MOST_POINTS: usize = 400;

/// The resultant angular velocities of one serve's worn segments.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ServeCurves {
    /// Serve number of the record.
    pub number: u32,
    /// Per site, where worn and sampled.
    pub sites: PerSite<SpeedCurve>,
}

/// One segment's resultant angular velocity, as logged, bias removed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SpeedCurve {
    /// Time from impact, s.
    pub time_s: Vec<f32>,
    /// Speed, rad/s.
    pub speed_rad_s: Vec<f32>,
    /// True where an axis was at its limit.
    pub clipped: Vec<bool>,
}

impl SpeedCurve {
    /// The curve of a window, thinned evenly where it is finer than a picture.
    pub fn of(window: &SegmentWindow) -> Self {
        let every = window.time_s.len().div_ceil(MOST_POINTS).max(1);
        let kept: Vec<usize> = (0..window.time_s.len()).step_by(every).collect();
        Self {
            // a picture needs no more than single precision
            time_s: kept.iter().map(|i| window.time_s[*i] as f32).collect(),
            speed_rad_s: kept
                .iter()
                .map(|i| window.gyro_rad_s[*i].norm() as f32)
                .collect(),
            clipped: kept
                .iter()
                .map(|i| window.clipped[*i].contains(&true))
                .collect(),
        }
    }
}
