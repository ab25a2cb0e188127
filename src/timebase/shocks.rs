//! Shocks: found and timed on two clocks at full rate.
//!
//! The band lies above what swings hold, so that segments which turn at different times do not pull.
//! What is left is what travels: steps, landings and jumps from the ground up, blows from the racket
//! down. Which way a shock travelled shows in where it is stronger. Taps on a stack do not travel;
//! they are told by whole waveforms that are one after a rotation.

use nalgebra::Vector3;

use super::align::Line;
use super::delay::{self, BandPass, GridWindow, Interpolator};
use super::moments::{Moment, Why};
use super::tie::Evidence;
use super::tie_params::TieParams;
use crate::samples::Samples;

/// Rate of the comparison grid, Hz: five times the top of the band in which shocks are timed.
const GRID_HZ: f64 = 1000.0;

/// One event timed between two units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Sighting {
    /// Reference clock by the rough lines, s.
    pub ref_s: f64,
    /// The far unit's rough shift less the near unit's falls short by this, s.
    pub lag_s: f64,
    pub sd_s: f64,
    pub evidence: Evidence,
    pub gesture: bool,
}

/// One unit's shocks over one moment; times are on the reference clock by the unit's rough line.
pub(crate) struct ShockLook {
    window: GridWindow,
    envelope: Vec<f64>,
    onsets_s: Vec<f64>,
    /// Spread of the rate over the moment, rad/s.
    rate_spread_rad_s: f64,
}

/// Band in which shocks are compared, Hz.
pub(crate) fn shock_band_hz(slowest_hz: f64, params: &TieParams) -> (f64, f64) {
    let high_hz = params.shock_band_high_hz.min(0.45 * slowest_hz);
    (params.shock_band_low_hz.min(0.5 * high_hz), high_hz)
}

/// What passes the band over `span_s`.
pub(crate) fn band_pass((from_s, to_s): (f64, f64), (low_hz, high_hz): (f64, f64)) -> BandPass {
    // a whole number of twentieths of a second
    let count = ((to_s - from_s) * 20.0).floor() as usize * 50;
    BandPass::new(count, GRID_HZ, low_hz, high_hz)
}

/// Filters one unit's force from a reference time on; `None` where the log has a gap there.
pub(crate) fn look(
    interpolator: &Interpolator,
    samples: &Samples,
    from_s: f64,
    line: &Line,
    band: &BandPass,
    params: &TieParams,
) -> Option<ShockLook> {
    let start_s = from_s + line.shift_at_s(from_s);
    let rate_hz = GRID_HZ / (1.0 + line.drift);
    let mut raw = interpolator.on_grid(samples, start_s, band.len(), rate_hz)?;
    raw.start_s = from_s;
    raw.rate_hz = GRID_HZ;
    let window = band.pass(&raw);
    let envelope = envelope(&window);
    let onsets_s = onsets(&window, &envelope, params);
    Some(ShockLook {
        window,
        envelope,
        onsets_s,
        rate_spread_rad_s: rate_spread(samples),
    })
}

/// Root mean square of the rate about its mean.
fn rate_spread(samples: &Samples) -> f64 {
    let count = samples.len().max(1) as f64;
    let mean = samples.gyro_rad_s.iter().sum::<Vector3<f64>>() / count;
    let square = |w: &Vector3<f64>| (w - mean).norm_squared();
    (samples.gyro_rad_s.iter().map(square).sum::<f64>() / count).sqrt()
}

/// All shocks of one moment that both units felt.
pub(crate) fn shocks(
    near: &ShockLook,
    far: &ShockLook,
    moment: &Moment,
    bandwidth_hz: f64,
    params: &TieParams,
) -> Vec<Sighting> {
    let mut times_s: Vec<f64> = near.onsets_s.iter().chain(&far.onsets_s).copied().collect();
    times_s.retain(|t| (moment.from_ref_s..=moment.to_ref_s).contains(t));
    times_s.sort_by(f64::total_cmp);
    times_s.dedup_by(|later, kept| *later - *kept < params.shock_apart_s);
    let pair = Pair {
        near,
        far,
        bandwidth_hz,
    };
    times_s
        .into_iter()
        .filter_map(|at_s| pair.sighting(at_s, moment, params))
        .collect()
}

/// Length of each vector, smoothed over two milliseconds to hold its bandwidth.
fn envelope(window: &GridWindow) -> Vec<f64> {
    let raw: Vec<f64> = window.xyz.iter().map(Vector3::norm).collect();
    let mut smooth = raw.clone();
    for (index, out) in smooth.iter_mut().enumerate().skip(2) {
        if let Some(five) = raw.get(index - 2..index + 3) {
            *out = (five[0] + five[4] + 4.0 * (five[1] + five[3]) + 6.0 * five[2]) / 16.0;
        }
    }
    smooth
}

/// Times at which an envelope jumps: short-term level over the level just before.
/// Source of the idea: the short-term over long-term average trigger, Allen 1978, Bull. Seism. Soc.
/// Am. 68:1521-1532.
fn onsets(window: &GridWindow, envelope: &[f64], params: &TieParams) -> Vec<f64> {
    let samples = |seconds: f64| (seconds * window.rate_hz) as usize; // constants: small
    let (apart, from, to) = (samples(0.03), samples(0.12), samples(0.02));
    let mut times_s = Vec::new();
    for index in from..envelope.len().saturating_sub(apart) {
        let here = envelope[index];
        if here < params.shock_floor_m_s2 {
            continue;
        }
        let around = &envelope[index - apart..index + apart];
        let before = &envelope[index - from..index - to];
        let level = before.iter().sum::<f64>() / before.len() as f64;
        if around.iter().all(|v| *v <= here) && here >= params.shock_contrast_min * level {
            times_s.push(window.time_s(index));
        }
    }
    times_s
}

struct Pair<'a> {
    near: &'a ShockLook,
    far: &'a ShockLook,
    bandwidth_hz: f64,
}

impl Pair<'_> {
    /// Times one shock; `None` where the two windows do not tell.
    fn sighting(&self, at_s: f64, moment: &Moment, params: &TieParams) -> Option<Sighting> {
        let (near, far) = (&self.near.window, &self.far.window);
        let (from_s, to_s) = (at_s - params.shock_before_s, at_s + params.shock_after_s);
        let near_range = near.index_of(from_s)..near.index_of(to_s);
        let far_range =
            far.index_of(from_s - params.event_reach_s)..far.index_of(to_s + params.event_reach_s);
        let short = &self.near.envelope[near_range.clone()];
        let long = &self.far.envelope[far_range.clone()];
        let outline = delay::sliding_delay(short, long, GRID_HZ, self.bandwidth_hz)?;
        let lag = (outline.lag_s * GRID_HZ).round() as usize; // not negative: from a slice's start
        let matched = long.get(lag..lag + short.len())?;
        let peak = |values: &[f64]| values.iter().copied().fold(0.0, f64::max);
        let ratio = (peak(short) / peak(matched).max(f64::MIN_POSITIVE)).ln();
        let (found, evidence) = if moment.why == Why::Spike && self.still(params) {
            let (short, long) = (&near.xyz[near_range.clone()], &far.xyz[far_range.clone()]);
            let whole =
                delay::vector_delay(short, long, outline.lag_s, 5e-3, GRID_HZ, self.bandwidth_hz)?;
            if whole.correlation >= params.stacked_likeness_min
                && ratio.abs() < params.stacked_ratio_max
            {
                (whole, Evidence::Stacked)
            } else {
                worn(outline, ratio, params)?
            }
        } else {
            worn(outline, ratio, params)?
        };
        Some(Sighting {
            ref_s: at_s,
            lag_s: far.time_s(far_range.start) - near.time_s(near_range.start) + found.lag_s,
            sd_s: found.sd_s,
            evidence,
            gesture: moment.gesture || evidence == Evidence::Stacked,
        })
    }

    /// True where neither unit turns or both turn alike, as a stack must.
    fn still(&self, params: &TieParams) -> bool {
        let (a, b) = (self.near.rate_spread_rad_s, self.far.rate_spread_rad_s);
        (a - b).abs() <= params.stacked_rate_slack_rad_s + 0.2 * a.max(b)
    }
}

/// A shock through the body: which way it travelled by where it is stronger.
fn worn(outline: delay::Delay, ratio: f64, params: &TieParams) -> Option<(delay::Delay, Evidence)> {
    if outline.correlation < params.shock_correlation_min || ratio.abs() < params.shock_ratio_min {
        None
    } else if ratio > 0.0 {
        Some((outline, Evidence::ShockFromReference))
    } else {
        Some((outline, Evidence::ShockFromUnit))
    }
}
