//! Samples in SI units, with what the sensor could not show flagged.

use nalgebra::Vector3;

mod scale;

pub use scale::{Limits, Scale};

/// What is known against one sample; a small bit set.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Flags(pub u8);

impl Flags {
    /// An accelerometer axis is at its limit.
    pub const ACCEL_CLIPPED: Self = Self(1);
    /// A gyroscope axis is at its limit.
    pub const GYRO_CLIPPED: Self = Self(2);
    /// Samples are missing between this one and the one before.
    pub const GAP_BEFORE: Self = Self(4);

    /// True if every bit of `other` is set.
    pub const fn has(self, other: Self) -> bool {
        self.0 & other.0 == other.0
    }
    /// Both together.
    pub const fn with(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }
}

/// Full-rate samples of one unit over one stretch, on the unit's own clock, in time order.
///
/// All vectors have the same length. Frame: the sensor's own axes. A still unit reads +9.81 m/s^2 on
/// the axis that points up.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Samples {
    /// Measured rate of the stretch, Hz.
    pub rate_hz: f64,
    /// Unit clock, s; evenly spaced inside a gap-free run (jitter of the stamps removed).
    pub time_s: Vec<f64>,
    /// Specific force, m/s^2.
    pub accel_m_s2: Vec<Vector3<f64>>,
    /// Angular rate, rad/s.
    pub gyro_rad_s: Vec<Vector3<f64>>,
    /// Clipping and gaps.
    pub flags: Vec<Flags>,
}

impl Samples {
    /// Number of samples.
    pub fn len(&self) -> usize {
        self.time_s.len()
    }
    /// True if there are none.
    pub fn is_empty(&self) -> bool {
        self.time_s.is_empty()
    }
    /// True if something of this kind is known against any sample.
    pub fn any(&self, flag: Flags) -> bool {
        let all = self
            .flags
            .iter()
            .fold(Flags::default(), |all, own| all.with(*own));
        all.has(flag)
    }
    /// Index ranges of the gap-free runs, in order.
    pub fn runs(&self) -> Vec<std::ops::Range<usize>> {
        let mut starts: Vec<usize> = (0..self.len())
            .filter(|&index| index == 0 || self.flags[index].has(Flags::GAP_BEFORE))
            .collect();
        starts.push(self.len());
        starts.windows(2).map(|pair| pair[0]..pair[1]).collect()
    }
}
