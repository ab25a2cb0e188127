//! From a log's units to SI, and where a channel's limit lies.

use crate::profile::{AccelUnit, GyroUnit, SensorProfile};
use crate::units::STANDARD_GRAVITY_M_S2;

/// Bits of a code where the profile does not say.
const USUAL_BITS: u32 = 16;

/// A sample this close to a stated limit stands at it, as a share of the limit: the positive rail is
/// one code short of full scale (1/32768 at 16 bits), and logs round.
const LIMIT_MARGIN: f64 = 5e-4;

/// Factors from a log's own numbers to SI.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scale {
    /// m/s^2 per accelerometer number, sign included.
    pub accel_m_s2: f64,
    /// rad/s per gyroscope number, sign included.
    pub gyro_rad_s: f64,
    /// Stamp numbers in one second; the rate where rows are counted. 1 for calendar stamps.
    pub stamps_per_s: f64,
    /// Stamp number at which the stamp starts again from 0.
    pub wrap: Option<f64>,
    /// Full scale, m/s^2, where stated.
    pub accel_full_scale_m_s2: Option<f64>,
    /// Full scale, rad/s, where stated.
    pub gyro_full_scale_rad_s: Option<f64>,
    /// Where the positive rail of the codes lies, m/s^2 and rad/s, for logs in counts.
    rails: [Option<f64>; 2],
}

impl Scale {
    /// From a profile; the ranges stated in the settings go before those of the profile.
    ///
    /// # Shape and units
    /// `accel_range_g` in g, `gyro_range_dps` in deg/s.
    pub fn new(
        profile: &SensorProfile,
        accel_range_g: Option<f64>,
        gyro_range_dps: Option<f64>,
    ) -> Self {
        let (accel, gyro, time) = (&profile.accel, &profile.gyro, &profile.time);
        let per_g = profile.accel_counts_per_g().unwrap_or(1.0);
        let per_dps = profile.gyro_counts_per_dps().unwrap_or(1.0);
        let accel_m_s2 = match accel.unit {
            AccelUnit::G => STANDARD_GRAVITY_M_S2,
            AccelUnit::MilliG => STANDARD_GRAVITY_M_S2 / 1000.0,
            AccelUnit::MetrePerSecond2 => 1.0,
            AccelUnit::Counts => STANDARD_GRAVITY_M_S2 / per_g,
        };
        let gyro_rad_s = match gyro.unit {
            GyroUnit::DegPerSecond => 1f64.to_radians(),
            GyroUnit::MilliDegPerSecond => 1f64.to_radians() / 1000.0,
            GyroUnit::RadPerSecond => 1.0,
            GyroUnit::Counts => 1f64.to_radians() / per_dps,
        };
        let rail = |bits: Option<u32>| 2f64.powf(f64::from(bits.unwrap_or(USUAL_BITS) - 1)) - 1.0;
        let accel_rail = (accel.unit == AccelUnit::Counts).then(|| rail(accel.bits) * accel_m_s2);
        let gyro_rail = (gyro.unit == GyroUnit::Counts).then(|| rail(gyro.bits) * gyro_rad_s);
        Self {
            accel_m_s2: accel.sign * accel_m_s2,
            gyro_rad_s: gyro.sign * gyro_rad_s,
            stamps_per_s: time.stamps_per_s(),
            wrap: time.wrap,
            accel_full_scale_m_s2: accel_range_g
                .or(accel.full_scale_g)
                .map(|range_g| range_g * STANDARD_GRAVITY_M_S2),
            gyro_full_scale_rad_s: gyro_range_dps.or(gyro.full_scale_dps).map(f64::to_radians),
            rails: [accel_rail, gyro_rail],
        }
    }

    /// SI unit per log unit of an axis: accelerometer x, y, z (m/s^2), then gyroscope (rad/s).
    pub fn factor(&self, axis: usize) -> f64 {
        if axis < 3 {
            self.accel_m_s2
        } else {
            self.gyro_rad_s
        }
    }

    /// Limits from the stated ranges and the codes' rails; none where nothing is stated.
    pub fn limits(&self) -> Limits {
        let stated = [self.accel_full_scale_m_s2, self.gyro_full_scale_rad_s];
        let limit = |sensor: usize| {
            let range = stated.get(sensor).copied().flatten();
            let rail = self.rails.get(sensor).copied().flatten();
            let range = range.map(|range| range * (1.0 - LIMIT_MARGIN));
            // half a code below the rail, so that rounding to f32 cannot hide it
            let rail = rail.map(|rail| rail * (1.0 - 1e-6));
            match (range, rail) {
                (Some(a), Some(b)) => Some(a.min(b)),
                (one, other) => one.or(other),
            }
        };
        let of_axis = |axis: usize| limit(axis / 3).map_or(f32::INFINITY, |limit| limit as f32);
        Limits {
            high: std::array::from_fn(of_axis),
            low: std::array::from_fn(|axis| -of_axis(axis)),
        }
    }
}

/// Values at or beyond which an axis is at its limit: m/s^2 (x, y, z), then rad/s.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// Upper limits; infinite where none is known.
    pub high: [f32; 6],
    /// Lower limits.
    pub low: [f32; 6],
}

impl Limits {
    /// Whether a value of an axis is at its limit.
    #[inline]
    pub fn reached(&self, axis: usize, value: f32) -> bool {
        (value >= self.high[axis]) | (value <= self.low[axis])
    }
}
