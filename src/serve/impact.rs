//! The instant the ball was met, from what breaks the swing's smoothness.
//!
//! An arm's swing is smooth over a few samples, a ball's shock is not. Each channel is predicted from
//! its last three samples by a parabola; what the prediction misses, measured against what it misses
//! elsewhere in the same swing, is the surprise. Channels at their limit are left out, so a saturated
//! long axis does not hide the shock on the others or in the gyroscope.

use super::params::ServeParams;
use super::swing::Swing;
use crate::samples::{Flags, Samples};

/// The ball's shock, or its absence.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Impact {
    /// Onset, reference clock, s.
    pub time_s: f64,
    /// Standard uncertainty, s.
    pub sd_s: f64,
    /// Largest surprise over the swing's own level; smooth swings stay at a few.
    pub ratio: f64,
    /// Whether the time stands on a shock.
    pub from_shock: bool,
}

/// Smallest surprise scale of an accelerometer axis, m/s^2: below any unit's noise times four.
const FORCE_FLOOR_M_S2: f64 = 0.4;
/// Smallest surprise scale of a gyroscope axis, rad/s.
const RATE_FLOOR_RAD_S: f64 = 0.02;
/// The shock rings at most this long before its largest surprise, s.
const RING_S: f64 = 0.012;

/// Looks for the shock near a swing's fastest moment. `fastest_sweep_s`: when the forearm swept
/// fastest, which stands in where there is no shock.
pub fn impact(swing: &Swing, fastest_sweep_s: f64, params: &ServeParams) -> Impact {
    let without = |ratio| Impact {
        time_s: fastest_sweep_s + params.no_shock_offset_s,
        sd_s: params.no_shock_sd_s,
        ratio,
        from_shock: false,
    };
    let channels = Channels::of(swing);
    let search = swing.span(-params.shock_before_s, params.shock_after_s);
    let loudest = search
        .map(|index| (index, channels.surprise(index)))
        .max_by(|a, b| a.1.total_cmp(&b.1));
    let Some((top, ratio)) = loudest else {
        return without(0.0);
    };
    if ratio < params.shock_ratio {
        return without(ratio);
    }
    let onset = channels.onset(top, ratio, swing.samples.rate_hz);
    let (time_s, sd_s) = channels.between_samples(onset, &swing.samples);
    Impact {
        time_s,
        sd_s,
        ratio,
        from_shock: true,
    }
}

/// The six channels with the surprise scale of each.
struct Channels {
    values: Vec<[f64; 6]>,
    usable: Vec<[bool; 6]>,
    scale: [f64; 6],
}

impl Channels {
    fn of(swing: &Swing) -> Self {
        let samples = &swing.samples;
        let force_limit = limit(samples, Flags::ACCEL_CLIPPED, |s, i, k| s.accel_m_s2[i][k]);
        let rate_limit = limit(samples, Flags::GYRO_CLIPPED, |s, i, k| s.gyro_rad_s[i][k]);
        let mut channels = Self {
            values: Vec::with_capacity(samples.len()),
            usable: Vec::with_capacity(samples.len()),
            scale: [1.0; 6],
        };
        for index in 0..samples.len() {
            let (force, rate) = (samples.accel_m_s2[index], samples.gyro_rad_s[index]);
            channels
                .values
                .push([force.x, force.y, force.z, rate.x, rate.y, rate.z]);
            channels.usable.push(std::array::from_fn(|k| match k {
                0..3 => force[k].abs() < force_limit,
                _ => rate[k - 3].abs() < rate_limit,
            }));
        }
        let span = swing.span(-0.25, 0.2);
        for channel in 0..6 {
            let mut misses: Vec<f64> = span
                .clone()
                .filter_map(|index| channels.miss(index, channel, 1))
                .map(f64::abs)
                .collect();
            misses.sort_by(f64::total_cmp);
            let common = misses.get(misses.len() * 7 / 10).copied().unwrap_or(0.0);
            let floor = if channel < 3 {
                FORCE_FLOOR_M_S2
            } else {
                RATE_FLOOR_RAD_S
            };
            channels.scale[channel] = common.max(floor);
        }
        channels
    }

    /// What the parabola through the three samples before misses, `ahead` (1 or 2) samples on; the
    /// sample meant is `index`. `None` near the start and where any of the samples is at its limit.
    fn miss(&self, index: usize, channel: usize, ahead: usize) -> Option<f64> {
        let last = index.checked_sub(ahead)?;
        let first = last.checked_sub(2)?;
        let usable = |at: usize| self.usable.get(at).is_some_and(|u| u[channel]);
        if !(usable(first) && usable(first + 1) && usable(last) && usable(index)) {
            return None;
        }
        let value = |at: usize| self.values[at][channel]; // in range: usable
        let (a, b, c) = (value(last), value(last - 1), value(first));
        let predicted = if ahead == 1 {
            3.0 * a - 3.0 * b + c
        } else {
            6.0 * a - 8.0 * b + 3.0 * c
        };
        Some(value(index) - predicted)
    }

    /// Root mean square of the misses of all usable channels in units of their scales.
    fn missed(&self, index: usize, ahead: usize) -> f64 {
        let (mut sum, mut count) = (0.0, 0.0_f64);
        for channel in 0..6 {
            if let Some(miss) = self.miss(index, channel, ahead) {
                sum += (miss / self.scale[channel]).powi(2);
                count += 1.0;
            }
        }
        (sum / count.max(1.0)).sqrt()
    }

    fn surprise(&self, index: usize) -> f64 {
        self.missed(index, 1)
    }

    /// First sample of the shock whose largest surprise is at `top`.
    fn onset(&self, top: usize, ratio: f64, rate_hz: f64) -> usize {
        // a few dozen samples at most
        let ring = (RING_S * rate_hz).ceil().max(3.0) as usize;
        let from = top.saturating_sub(ring);
        let before = from.saturating_sub(2 * ring)..from;
        let count = before.len().max(1) as f64;
        let level = (before.map(|i| self.surprise(i).powi(2)).sum::<f64>() / count).sqrt();
        let threshold = (4.0 * level).max(0.06 * ratio).min(ratio);
        (from..=top)
            .find(|&index| self.surprise(index) >= threshold)
            .unwrap_or(top)
    }

    /// Where between the sample before `onset` and `onset` the shock began, and how sure.
    ///
    /// A shock that grows is traced back to zero along its first two samples; one that is at its
    /// height at once began anywhere in the interval.
    fn between_samples(&self, onset: usize, samples: &Samples) -> (f64, f64) {
        let time_s = samples.time_s[onset];
        let step_s = 1.0 / samples.rate_hz;
        let (first, second) = (self.missed(onset, 1), self.missed(onset + 1, 2));
        let grows = second >= 2.0 * first && first > 0.0;
        if grows {
            (time_s - step_s * first / (second - first), 0.2 * step_s)
        } else {
            (time_s - 0.5 * step_s, 0.29 * step_s)
        }
    }
}

/// The value beyond which a sample of a clipping channel is not to be trusted.
fn limit(samples: &Samples, flag: Flags, value: impl Fn(&Samples, usize, usize) -> f64) -> f64 {
    let largest = (0..samples.len())
        .filter(|&index| samples.flags[index].has(flag))
        .flat_map(|index| (0..3).map(move |axis| (index, axis)))
        .map(|(index, axis)| value(samples, index, axis).abs())
        .fold(0.0, f64::max);
    if largest > 0.0 {
        0.985 * largest
    } else {
        f64::INFINITY
    }
}

/// Largest trustworthy specific force per axis, m/s^2; infinite where nothing clipped.
pub fn force_limit_m_s2(samples: &Samples) -> f64 {
    limit(samples, Flags::ACCEL_CLIPPED, |s, i, k| s.accel_m_s2[i][k])
}
