//! First look: every fast moment of the wrist on the coarse track.

use std::io;

use crate::timebase::{CoarseTrack, side_by_side};

use super::params::ServeParams;
use super::source::WornUnit;

/// Envelopes are read this much at a time, so that memory does not follow the log's length.
const STRETCH_S: f64 = 600.0;

/// A peak is compared with the fastest this far to both sides, s.
const NEIGHBOUR_S: f64 = 0.6;

/// A fast moment, unit clock.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Candidate {
    /// When, unit clock, s.
    pub unit_s: f64,
    /// Largest resultant rate, rad/s.
    pub rate_rad_s: f64,
}

/// Every fast moment of a unit, in time order; looked for on `jobs` threads, 0 for one per processor.
///
/// # Errors
/// When the envelopes cannot be read.
pub fn candidates(
    unit: &WornUnit<'_>,
    params: &ServeParams,
    jobs: usize,
) -> io::Result<Vec<Candidate>> {
    let (start_s, end_s) = unit.source.span_s();
    let margin_s = params.candidate_radius_s.max(NEIGHBOUR_S) + 0.1;
    let starts = std::iter::successors(Some(start_s), |from_s| Some(from_s + STRETCH_S));
    let starts: Vec<f64> = starts.take_while(|from_s| *from_s <= end_s).collect();
    let in_stretch = |from_s: &f64| {
        let to_s = from_s + STRETCH_S;
        let track = unit.source.coarse(from_s - margin_s, to_s + margin_s)?;
        let mut found = peaks(&track, params);
        found.retain(|peak| (*from_s..to_s).contains(&peak.unit_s));
        Ok(found)
    };
    let found: io::Result<Vec<_>> = side_by_side(&starts, jobs, in_stretch)
        .into_iter()
        .collect();
    found.map(|of_stretches| of_stretches.concat())
}

/// Local maxima of the rate envelope. A flat top (a gyroscope at its limit) counts as one peak in the
/// middle of the top.
pub fn peaks(track: &CoarseTrack, params: &ServeParams) -> Vec<Candidate> {
    let rate = &track.rate_max_rad_s;
    if track.step_s <= 0.0 {
        return Vec::new();
    }
    // radius over step is small and positive
    let radius = (params.candidate_radius_s / track.step_s).round().max(1.0) as usize;
    let wide = (NEIGHBOUR_S / track.step_s).round().max(1.0) as usize;
    let mut found = Vec::new();
    let mut index = 0;
    while index < rate.len() {
        let here = rate[index];
        let around = |reach: usize| {
            let to = (index + reach + 1).min(rate.len());
            rate[index.saturating_sub(reach)..to]
                .iter()
                .copied()
                .fold(0.0_f32, f32::max)
        };
        let tall = f64::from(here) >= params.candidate_rate_rad_s;
        if !tall || here < around(radius) {
            index += 1;
            continue;
        }
        let top_end = (index..rate.len().min(index + radius))
            .take_while(|&at| rate[at] >= 0.98 * here)
            .last()
            .unwrap_or(index);
        if f64::from(here) >= params.candidate_share * f64::from(around(wide)) {
            let middle = (index + top_end) as f64 / 2.0 + 0.5;
            found.push(Candidate {
                unit_s: track.start_s + middle * track.step_s,
                rate_rad_s: f64::from(here),
            });
        }
        index = top_end + 1;
    }
    found
}
