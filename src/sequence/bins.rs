//! One segment's samples around one impact, gathered into bins with their noise.

use nalgebra::Vector3;

use super::SequenceParams;
use crate::estimate::Why;
use crate::math::{Butterworth, median};

/// One segment around one impact: full rate, gyro bias removed, reference clock.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SegmentWindow {
    /// Sampling rate, Hz.
    pub rate_hz: f64,
    /// Time from impact, s, evenly spaced.
    pub time_s: Vec<f64>,
    /// Angular rate, rad/s, sensor frame.
    pub gyro_rad_s: Vec<Vector3<f64>>,
    /// Axes at their limit.
    pub clipped: Vec<[bool; 3]>,
}

/// A segment window in bins of equal width.
#[derive(Debug, Clone, PartialEq)]
pub struct Bins {
    /// Middle of each bin from impact, s, evenly spaced.
    pub time_s: Vec<f64>,
    /// Mean angular rate, rad/s.
    pub gyro_rad_s: Vec<Vector3<f64>>,
    /// Variance that shock adds to the bin, (rad/s)^2.
    pub shock_var: Vec<f64>,
    /// Largest variance of a shock that impact has brought, (rad/s)^2; 0 where a quarter as much stands there
    /// before it (uneven sampling, samples at their limit).
    pub blow_var: f64,
    /// Axes at their limit anywhere in the bin.
    pub clipped: Vec<[bool; 3]>,
    /// Clipped samples inside the sequence window.
    pub clipped_samples: u32,
}

impl Bins {
    /// Width of a bin, s.
    pub fn step_s(&self) -> f64 {
        self.time_s
            .get(1)
            .zip(self.time_s.first())
            .map_or(0.0, |(b, a)| b - a)
    }

    /// Time during which any axis was at its limit, s.
    pub fn at_limit_s(&self) -> f64 {
        let hidden = self.clipped.iter().filter(|axes| axes.contains(&true));
        hidden.count() as f64 * self.step_s()
    }
}

/// Times its level elsewhere that the power above the shock corner must reach to be a shock.
const LEVELS: f64 = 4.0;

/// The samples that the sequence needs of a window, first and one past the last.
fn needed(window: &SegmentWindow, params: &SequenceParams) -> Result<(usize, usize), Why> {
    let (from_s, to_s) = (
        -params.window_before_s - params.margin_s,
        params.window_after_s + params.margin_s,
    );
    let first = window.time_s.partition_point(|t| *t < from_s);
    let last = window.time_s.partition_point(|t| *t <= to_s);
    let covered = window
        .time_s
        .get(first)
        .is_some_and(|t| *t <= -params.window_before_s)
        && last > first
        && window.time_s[last - 1] >= params.window_after_s;
    covered.then_some((first, last)).ok_or(Why::NoSamples)
}

/// Whether a window's bins will hold samples at their limit.
///
/// # Errors
/// Those of [`bin_window`].
pub fn holds_clipped(window: &SegmentWindow, params: &SequenceParams) -> Result<bool, Why> {
    let (first, last) = needed(window, params)?;
    let clipped = window.clipped.get(first..last).unwrap_or_default();
    Ok(clipped.iter().flatten().any(|clipped| *clipped))
}

/// Gathers a window into bins of about `width_s`.
///
/// # Errors
/// [`Why::NoSamples`] where the window does not cover the sequence window.
pub fn bin_window(
    window: &SegmentWindow,
    width_s: f64,
    params: &SequenceParams,
) -> Result<Bins, Why> {
    let (first, last) = needed(window, params)?;
    let (shock, blow_var) = shock_variance(window, params);
    let each = ((width_s * window.rate_hz).round() as usize).max(1); // a few samples: no overflow
    let ranges: Vec<std::ops::Range<usize>> = (first..last)
        .step_by(each)
        .map(|i| i..i + each)
        .filter(|r| r.end <= last)
        .collect();
    let share = 1.0 / each as f64;
    Ok(Bins {
        time_s: ranges
            .iter()
            .map(|r| window.time_s[r.clone()].iter().sum::<f64>() * share)
            .collect(),
        gyro_rad_s: ranges
            .iter()
            .map(|r| window.gyro_rad_s[r.clone()].iter().sum::<Vector3<f64>>() * share)
            .collect(),
        shock_var: ranges
            .iter()
            .map(|r| shock[r.clone()].iter().sum::<f64>() * share)
            .collect(),
        blow_var,
        clipped: ranges
            .iter()
            .map(|r| std::array::from_fn(|axis| window.clipped[r.clone()].iter().any(|c| c[axis])))
            .collect(),
        clipped_samples: (first..last)
            .filter(|&i| {
                (-params.window_before_s..=params.window_after_s).contains(&window.time_s[i])
                    && window.clipped[i].contains(&true)
            })
            .count()
            .try_into()
            .unwrap_or(u32::MAX),
    })
}

/// What stands above the shock corner, beyond its usual level before impact, (rad/s)^2 per sample; and
/// the most of it that impact has brought.
/// Smoothed over a cycle of the corner, so that zero crossings of the ringing weigh as its crests.
fn shock_variance(window: &SegmentWindow, params: &SequenceParams) -> (Vec<f64>, f64) {
    let n = window.time_s.len();
    let Ok(filter) = Butterworth::two_pass_high_pass(params.shock_corner_hz, window.rate_hz) else {
        return (vec![0.0; n], 0.0); // too slow a rate to see shock apart from motion
    };
    let cycle = (window.rate_hz / params.shock_corner_hz).ceil() as usize; // at most a few hundred
    let high = filter.zero_phase(&window.gyro_rad_s, 3 * cycle);
    let power: Vec<f64> = high.iter().map(|high| high.norm_squared() / 3.0).collect();
    let half = (cycle / 2).max(1);
    let smoothed: Vec<f64> = (0..n)
        .map(|i| {
            let near = &power[i.saturating_sub(half)..(i + half + 1).min(n)];
            near.iter().sum::<f64>() / near.len() as f64
        })
        .collect();
    let between = |from_s: f64, to_s: f64| {
        let times = window.time_s.iter().zip(&smoothed);
        times
            .filter(move |(t, _)| from_s <= **t && **t < to_s)
            .map(|(_, p)| *p)
    };
    let before: Vec<f64> = between(f64::MIN, -params.margin_s).collect();
    let usual = LEVELS * median(&before).unwrap_or(0.0);
    // shock follows impact; before it (and before the filter's own smear) only clipping makes edges
    let smear_s = 0.25 / params.shock_corner_hz;
    let excess = smoothed.iter().zip(&window.time_s);
    let excess: Vec<f64> = excess
        .map(|(p, t)| {
            if *t >= -smear_s {
                (p - usual).max(0.0)
            } else {
                0.0
            }
        })
        .collect();
    let most = excess.iter().copied().fold(0.0, f64::max);
    // as fast a motion without a shock, clear of the smear and of the half cycle it is smoothed over
    let as_fast = between(-params.margin_s, -3.0 * smear_s).fold(0.0, f64::max);
    (excess, (most - LEVELS * as_fast).max(0.0))
}
