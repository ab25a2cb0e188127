//! One unit's whole log after the single pass over it: facts in memory, samples on call.

use std::path::PathBuf;

use archmage::autoversion;
use nalgebra::Vector3;

use super::front_spill::{Spill, Stretch};
use super::front_track::STEP_S;
use crate::finding::Finding;
use crate::samples::{Flags, Limits, Samples};

/// A stretch without samples, on the unit's clock.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gap {
    /// Last sample before, s.
    pub from_s: f64,
    /// First sample after, s.
    pub to_s: f64,
}

/// Means and spreads of one short still chunk, on the unit's clock.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct QuietChunk {
    /// Middle of the chunk, s.
    pub time_s: f64,
    /// Length, s.
    pub length_s: f64,
    /// Mean specific force per axis, m/s^2.
    pub accel_m_s2: [f32; 3],
    /// Mean angular rate per axis, rad/s (bias not removed).
    pub gyro_rad_s: [f32; 3],
    /// Standard deviation of the specific force per axis, m/s^2.
    pub accel_sd_m_s2: [f32; 3],
    /// Standard deviation of the angular rate per axis, rad/s.
    pub gyro_sd_rad_s: [f32; 3],
}

/// Coarse envelopes on an even grid: enough to find where to look.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct CoarseTrack {
    /// Unit clock at the start of the first bin, s.
    pub start_s: f64,
    /// Bin width, s (0.01).
    pub step_s: f64,
    /// Largest resultant angular rate in each bin, rad/s (bias not removed); 0 in a gap.
    pub rate_max_rad_s: Vec<f32>,
    /// Largest resultant specific force in each bin, m/s^2; 0 in a gap.
    pub force_max_m_s2: Vec<f32>,
    /// Mean resultant specific force in each bin, m/s^2; 0 in a gap.
    pub force_mean_m_s2: Vec<f32>,
}

/// One unit's log after one pass. Memory does not grow with the log's length beyond a few bytes a
/// second: samples and envelopes stand in a spill file and are read back by stretch.
pub struct Recording {
    /// Name for messages: the file, and the unit id in a combined file.
    pub name: String,
    /// Where it was read from.
    pub file: PathBuf,
    /// Name of the sensor profile.
    pub profile: String,
    /// Median rate, Hz.
    pub rate_hz: f64,
    /// Standard deviation of the stamps about an even grid, s.
    pub jitter_s: f64,
    /// Unit clock at the first and last sample, s.
    pub start_s: f64,
    /// See `start_s`.
    pub end_s: f64,
    /// Rows accepted.
    pub rows: u64,
    /// Rows refused, each counted and the first of each kind told in `findings`.
    pub rows_rejected: u64,
    /// Samples with an accelerometer axis at its limit.
    pub accel_clipped: u64,
    /// Samples with a gyroscope axis at its limit.
    pub gyro_clipped: u64,
    /// How long any part of the gyroscope stood still at one value while the rest worked, s in all.
    pub gyro_stuck_s: f64,
    /// Stated full-scale range, m/s^2, where given.
    pub accel_full_scale_m_s2: Option<f64>,
    /// Stated full-scale range, rad/s, where given.
    pub gyro_full_scale_rad_s: Option<f64>,
    /// Group delay of the unit's own filter as the profile states it, s; 0 where not stated.
    pub filter_delay_s: f64,
    /// Whether the profile states the filter delay.
    pub filter_delay_known: bool,
    /// Stretches without samples.
    pub gaps: Vec<Gap>,
    /// Still chunks in time order.
    pub quiet: Vec<QuietChunk>,
    /// What was noticed while reading.
    pub findings: Vec<Finding>,
    /// XXH3 of the file's bytes, as in `xxh128:` and lower-case hex.
    pub digest: String,
    pub(crate) store: Store,
}

/// Where the samples are kept; private to the front.
pub(crate) struct Store {
    pub spill: Spill,
    pub limits: Limits,
}

impl Recording {
    /// Samples between two times of the unit's clock (both in s), stamps evened out inside each
    /// gap-free run. Fewer or none where the log has none.
    ///
    /// # Errors
    /// When the spill file cannot be read back.
    pub fn window(&self, from_s: f64, to_s: f64) -> std::io::Result<Samples> {
        let mut samples = Samples {
            rate_hz: self.rate_hz,
            ..Samples::default()
        };
        let limits = &self.store.limits;
        // a stretch of the log, and so a small number; nothing hangs on it but room
        let wanted = ((to_s - from_s) * self.rate_hz).clamp(0.0, MOST_ROOM) as usize + 2;
        samples.time_s.reserve_exact(wanted);
        samples.accel_m_s2.reserve_exact(wanted);
        samples.gyro_rad_s.reserve_exact(wanted);
        samples.flags.reserve_exact(wanted);
        self.store.spill.samples(from_s, to_s, |stretch| {
            let vectors = |first: usize| {
                let axis = |k: usize| {
                    stretch.axes[first + k]
                        .iter()
                        .map(|value| f64::from(*value))
                };
                let [x, y, z] = std::array::from_fn(axis);
                x.zip(y).zip(z).map(|((x, y), z)| Vector3::new(x, y, z))
            };
            samples.time_s.extend_from_slice(stretch.times_s);
            samples.accel_m_s2.extend(vectors(0));
            samples.gyro_rad_s.extend(vectors(3));
            let before = samples.flags.len();
            samples
                .flags
                .extend(stretch.flags.iter().map(|bits| Flags(*bits)));
            mark_clipped(&mut samples.flags[before..], &stretch, limits); // those just added
        })?;
        Ok(samples)
    }

    /// Coarse envelopes between two times of the unit's clock (both in s), cut to the log's own span;
    /// bins start at multiples of the bin width after the log's start.
    ///
    /// # Errors
    /// When the spill file cannot be read back.
    pub fn coarse(&self, from_s: f64, to_s: f64) -> std::io::Result<CoarseTrack> {
        let (from_s, to_s) = (from_s.max(self.start_s), to_s.min(self.end_s));
        // both are at least 0 and bounded by the log's span
        let first = ((from_s - self.start_s) / STEP_S).floor().max(0.0) as u64;
        let last = ((to_s - self.start_s) / STEP_S).floor().max(0.0) as u64;
        let count = if from_s > to_s {
            0
        } else {
            (last + 1).saturating_sub(first)
        };
        let count = usize::try_from(count).unwrap_or(0);
        let [rate_max_rad_s, force_max_m_s2, force_mean_m_s2] =
            self.store.spill.bins(first, count)?;
        Ok(CoarseTrack {
            start_s: self.start_s + first as f64 * STEP_S,
            step_s: STEP_S,
            rate_max_rad_s,
            force_max_m_s2,
            force_mean_m_s2,
        })
    }
}

/// Samples for which room is made at once at most.
const MOST_ROOM: f64 = 1e5;

/// Whether any value of an axis is at its limit, which few stretches have.
#[autoversion(v3)]
fn any_reached(values: &[f32], limits: &Limits, axis: usize) -> bool {
    let reached = values.iter().map(|value| limits.reached(axis, *value));
    reached.fold(false, |any, reached| any | reached)
}

/// Adds clipping to the flags of a stretch's samples.
fn mark_clipped(flags: &mut [Flags], stretch: &Stretch, limits: &Limits) {
    for axis in 0..6 {
        let sensor = if axis < 3 {
            Flags::ACCEL_CLIPPED
        } else {
            Flags::GYRO_CLIPPED
        };
        if any_reached(stretch.axes[axis], limits, axis) {
            for (flags, value) in flags.iter_mut().zip(stretch.axes[axis]) {
                flags.0 |= sensor.0 * u8::from(limits.reached(axis, *value));
            }
        }
    }
}
