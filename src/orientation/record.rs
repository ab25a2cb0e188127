//! A whole record, block by block: memory does not grow with its length.

use std::ops::Range;

use nalgebra::{Quaternion, UnitQuaternion};

use super::{Attitude, OrientationFilter};
use crate::calibration::Leftover;
use crate::samples::Samples;

/// Orients a record that is read block by block.
///
/// Each block sees some seconds of its neighbours on either side; its free heading is turned so that
/// it meets the block before. `leftover` says what calibration leaves about a time, `read` gives the calibrated samples between two times of the unit's
/// clock (s), ends included, the same ones each time; `emit` takes each sample once, in order: the
/// block's samples, which of them are new, and their attitudes.
///
/// # Errors
/// The first error of `read` or `emit`.
pub fn orient_record<E>(
    filter: &dyn OrientationFilter,
    span_s: Range<f64>,
    mut leftover: impl FnMut(f64) -> Leftover,
    mut read: impl FnMut(f64, f64) -> Result<Samples, E>,
    mut emit: impl FnMut(&Samples, Range<usize>, &Attitude) -> Result<(), E>,
) -> Result<(), E> {
    let length_s = span_s.end - span_s.start;
    let (block_s, context_s) = filter.block_s().unwrap_or((length_s, 0.0));
    // a span over a block length of at least some seconds: a small whole number
    let blocks = (length_s / block_s).ceil().max(1.0) as usize;
    let mut met: Option<(f64, UnitQuaternion<f64>)> = None;
    for block in 0..blocks {
        let from_s = span_s.start + block as f64 * block_s;
        let to_s = if block + 1 == blocks {
            f64::INFINITY
        } else {
            from_s + block_s
        };
        let last_s = to_s.min(span_s.end + block_s);
        let samples = read(from_s - context_s, last_s + context_s)?;
        let mut attitude = filter.orient(&samples, leftover(from_s + 0.5 * block_s));
        let start = samples
            .time_s
            .partition_point(|&time_s| met.map_or(time_s < from_s, |(met_s, _)| time_s <= met_s));
        let end = samples.time_s.partition_point(|&time_s| time_s < to_s);
        if let (Some((met_s, before)), Some(own)) = (met, start.checked_sub(1))
            && samples.time_s.get(own) == Some(&met_s)
            && let Some(after) = attitude.sensor_to_world.get(own)
        {
            let turn = heading_between(after, &before);
            for q in &mut attitude.sensor_to_world {
                *q = turn * *q;
            }
        }
        if start < end {
            let last = end - 1;
            met = samples
                .time_s
                .get(last)
                .copied()
                .zip(attitude.sensor_to_world.get(last).copied());
            emit(&samples, start..end, &attitude)?;
        }
    }
    Ok(())
}

/// The turn about the vertical that brings the first orientation nearest to the second.
pub fn heading_between(
    from: &UnitQuaternion<f64>,
    to: &UnitQuaternion<f64>,
) -> UnitQuaternion<f64> {
    let between = to * from.inverse();
    let twist = Quaternion::new(between.w, 0.0, 0.0, between.k);
    UnitQuaternion::try_new(twist, 1e-9).unwrap_or_else(UnitQuaternion::identity)
}

impl Attitude {
    /// Orientation at the stamps of some samples, where what a row reports is `age_s` old at its stamp.
    ///
    /// The orientations of `self` belong to the motion in the rows; this carries them forward with the
    /// rates of the rows that follow. At the end of a gap-free run the last rate is held.
    pub fn at_stamp(
        &self,
        samples: &Samples,
        wanted: Range<usize>,
        age_s: f64,
    ) -> Vec<UnitQuaternion<f64>> {
        let age_samples = (age_s * samples.rate_hz).max(0.0);
        let mut out = Vec::with_capacity(wanted.len());
        for run in samples.runs() {
            let last = run.end - 1; // a run is not empty
            for index in wanted.start.max(run.start)..wanted.end.min(run.end) {
                let at = index as f64 + age_samples;
                // between 0 and the last index, so the cast is exact
                let base = (at.floor() as usize).min(last);
                let next = (base + 1).min(last);
                let rate = 0.5 * (samples.gyro_rad_s[base] + samples.gyro_rad_s[next]);
                let ahead_s = (at - base as f64) / samples.rate_hz;
                let lead = UnitQuaternion::from_scaled_axis(rate * ahead_s);
                out.push(self.sensor_to_world[base] * lead);
            }
        }
        out
    }
}
