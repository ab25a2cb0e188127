//! When a serve's phases began and ended, as far as the worn units can see.
//!
//! Stages after Kovacs and Ellenbecker (2011). The ball's release and the knee are not visible from
//! these sites; loading is read from how the pelvis (or, second best, the thorax) sinks and rises.

use nalgebra::Vector3;

use crate::estimate::{Estimate, Reading, Why};
use crate::math::{length, median};
use crate::orientation::carry;
use crate::samples::Samples;
use crate::units::STANDARD_GRAVITY_M_S2;

use super::Phases;
use super::picture::{Core, Picture, Stretch, indices, moving_mean};
use super::swing::Swing;

/// Share of the peak rate under which the burst has not begun, and at which deceleration is said to end.
const BURST_SHARE: f64 = 0.2;
/// The stance ends where the hand leaves this many times its usual rate ...
const QUIET_TIMES: f64 = 2.5;
/// ... or this rate, rad/s, whichever is more: sway of a held racket.
const QUIET_RAD_S: f64 = 0.15;
/// A sinking slower than this is sway, m/s.
const SINKING_M_S: f64 = 0.12;
/// Share of the deepest sinking speed at which loading is said to start.
const SINKING_SHARE: f64 = 0.15;
/// A landing shakes the body at least this much above gravity, m/s^2.
const LANDING_M_S2: f64 = 4.0;
/// Share of the rise from the lightest moment of the flight to that shake at which the foot is down.
const LANDING_SHARE: f64 = 0.15;

/// The thorax leans besides sinking: its times are this many times less sure than the pelvis'.
const TRUNK_BLUR: f64 = 2.0;

/// Times the phases of an accepted swing; `no_core` says why neither hip nor trunk shows it, where that is so.
pub fn phases(swing: &Swing, picture: &Picture, core: &Core, no_core: &Why) -> Phases {
    let impact_s = picture.impact.time_s;
    let stance_end_s = picture
        .stance
        .map_or(Reading::Unknown(Why::NotSeen), |stance| {
            Reading::Known(Estimate::one(first_move(swing, stance), 0.08))
        });
    let [hip, trunk] = core.each_ref().map(Option::as_ref);
    let core = hip.map(|samples| (1.0, samples));
    let core = core.or(trunk.map(|samples| (TRUNK_BLUR, samples)));
    let (loading_start_s, deepest_loading_s, landing_s) = match core {
        None => {
            let none = || Reading::Unknown(no_core.clone());
            (none(), none(), none())
        }
        Some((blur, samples)) => {
            let sinking = Sinking::of(samples, impact_s);
            let told = |time_s: Option<f64>, sd_s: f64| {
                time_s.map_or(Reading::Unknown(Why::NotSeen), |time_s| {
                    Reading::Known(Estimate::one(time_s, sd_s * blur))
                })
            };
            (
                told(sinking.as_ref().map(|s| s.start_s), 0.06),
                told(sinking.as_ref().map(|s| s.deepest_s), 0.04),
                told(landing(samples, impact_s), 0.015),
            )
        }
    };
    let (start, end) = burst(swing, impact_s);
    let told = |time_s: Option<f64>, sd_s: f64| {
        time_s.map_or(Reading::Unknown(Why::NotSeen), |time_s| {
            Reading::Known(Estimate::one(time_s, sd_s))
        })
    };
    Phases {
        stance_end_s,
        loading_start_s,
        deepest_loading_s,
        acceleration_start_s: told(start, 0.05),
        deceleration_end_s: told(end, 0.02),
        landing_s,
    }
}

/// When the hand left the quiet of its stance for good: the first move is slow, long before it counts as
/// moving.
fn first_move(swing: &Swing, stance: Stretch) -> f64 {
    let span = swing.between(stance.from_s, stance.to_s);
    let start = span.start;
    let rates: Vec<f64> = span.map(|i| swing.rate_rad_s(i)).collect();
    // a twentieth of a second of samples
    let smooth = moving_mean(&rates, (0.025 * swing.samples.rate_hz).round() as usize);
    let Some(usual) = median(&smooth) else {
        return stance.to_s;
    };
    let level = (QUIET_TIMES * usual).max(QUIET_RAD_S);
    (0..smooth.len())
        .rev()
        .find(|&i| smooth[i] < level)
        .and_then(|i| swing.samples.time_s.get(start + i))
        .copied()
        .unwrap_or(stance.to_s)
}

/// Where the forearm's burst begins, at the turning point before it (as at greatest external rotation), and
/// where it has fallen to its share of the peak.
fn burst(swing: &Swing, impact_s: f64) -> (Option<f64>, Option<f64>) {
    let floor = BURST_SHARE * swing.peak_rad_s();
    let low = |index: &usize| swing.rate_rad_s(*index) < floor;
    let time = |index: usize| swing.samples.time_s[index];
    let span = swing.between(impact_s - 0.7, impact_s);
    let rates: Vec<f64> = span.clone().map(|i| swing.rate_rad_s(i)).collect();
    // a fiftieth of a second of samples
    let smooth = moving_mean(&rates, (0.01 * swing.samples.rate_hz).round() as usize);
    let foot = (0..smooth.len())
        .rev()
        .find(|&i| smooth[i] < floor)
        .map(|first| {
            let rises = |i: &usize| *i == 0 || smooth[i - 1] >= smooth[*i];
            span.start + (0..=first).rev().find(rises).unwrap_or(first)
        });
    let end = (swing.peak_index..swing.span(0.0, 0.9).end).find(low);
    (foot.map(time), end.map(time))
}

/// How the core sank and rose before impact.
struct Sinking {
    start_s: f64,
    deepest_s: f64,
}

impl Sinking {
    /// Integrates the vertical force from 2.2 s before impact; the mean speed of the still beginning
    /// is taken as zero. Deepest is where sinking turns into rising.
    fn of(samples: &Samples, impact_s: f64) -> Option<Self> {
        let span = indices(samples, impact_s - 2.2, impact_s);
        if span.len() < 40 {
            return None;
        }
        let (times_s, speed_m_s) = vertical_speed(samples, span)?;
        let until = times_s.partition_point(|&t| t < impact_s - 0.05);
        let from = times_s.partition_point(|&t| t < impact_s - 1.5);
        let lowest = (from..until).min_by(|&a, &b| speed_m_s[a].total_cmp(&speed_m_s[b]))?;
        let fastest_m_s = speed_m_s[lowest];
        if fastest_m_s > -SINKING_M_S {
            return None;
        }
        let deepest = (lowest..until).find(|&i| speed_m_s[i] >= 0.0)?;
        let start = (0..lowest)
            .rev()
            .find(|&i| speed_m_s[i] > SINKING_SHARE * fastest_m_s)?;
        Some(Self {
            start_s: times_s[start],
            deepest_s: times_s[deepest],
        })
    }
}

/// Upward speed, m/s, zero on average over the first half second.
fn vertical_speed(samples: &Samples, span: std::ops::Range<usize>) -> Option<(&[f64], Vec<f64>)> {
    let times_s = &samples.time_s[span.clone()];
    let first_s = *times_s.first()?;
    let turns = carry(times_s, &samples.gyro_rad_s[span.clone()]);
    let forces = turns.iter().zip(&samples.accel_m_s2[span]);
    let forces_m_s2: Vec<Vector3<f64>> = forces.map(|(turn, force)| turn * force).collect();
    let still = times_s.partition_point(|&t| t < first_s + 0.5).max(1);
    let rest = forces_m_s2.iter().take(still).sum::<Vector3<f64>>() / still as f64;
    let up = rest.try_normalize(1.0)?;
    let rest_m_s2 = rest.norm();
    if (rest_m_s2 / STANDARD_GRAVITY_M_S2 - 1.0).abs() > 0.15 {
        return None;
    }
    let (mut speed, mut before_s) = (0.0, first_s);
    let speeds = times_s.iter().zip(&forces_m_s2).map(|(time_s, force)| {
        speed += (force.dot(&up) - rest_m_s2) * (time_s - before_s);
        before_s = *time_s;
        speed
    });
    let speed_m_s = speeds.collect();
    Some((times_s, speed_m_s))
}

/// Onset of the largest shake of the core after impact.
fn landing(samples: &Samples, impact_s: f64) -> Option<f64> {
    let span = indices(samples, impact_s + 0.03, impact_s + 0.9);
    let start = span.start;
    let forces: Vec<f64> = span.map(|i| length(&samples.accel_m_s2[i])).collect();
    // a hundredth of a second of samples
    let half = (0.005 * samples.rate_hz).round() as usize;
    let smooth = moving_mean(&forces, half);
    let (top, &largest) = smooth
        .iter()
        .enumerate()
        .max_by(|a, b| a.1.total_cmp(b.1))?;
    if largest < STANDARD_GRAVITY_M_S2 + LANDING_M_S2 {
        return None;
    }
    let lightest = smooth[..top].iter().copied().reduce(f64::min)?;
    let level = lightest + LANDING_SHARE * (largest - lightest);
    let onset = (0..top).rev().find(|&i| smooth[i] < level)?;
    samples.time_s.get(start + onset).copied()
}
