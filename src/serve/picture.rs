//! What one candidate looked like: durations, directions and shares, no verdict.

use std::collections::VecDeque;
use std::ops::{Add, Div, Sub};

use nalgebra::Vector3;

use crate::math::length;
use crate::samples::Samples;

use super::impact::Impact;
use super::params::ServeParams;
use super::swing::Swing;

/// Averaging time of the stillness measure, s.
const SMOOTH_S: f64 = 0.06;

/// A stretch of time, reference clock.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stretch {
    /// Start, s.
    pub from_s: f64,
    /// End, s.
    pub to_s: f64,
}

/// What one candidate looked like.
#[derive(Debug, Clone, PartialEq)]
pub struct Picture {
    /// Fastest wrist rate, rad/s.
    pub peak_rad_s: f64,
    /// Its time, reference clock, s.
    pub peak_s: f64,
    /// When and how sharply the ball was met, or would have been.
    pub impact: Impact,
    /// Forearm elevation at the ball, see [`Forearm`], rad.
    pub elevation_rad: Option<f64>,
    /// Lowest forearm elevation in the follow-through, rad.
    pub lowest_after_rad: Option<f64>,
    /// Vertical share of the axis the forearm sweeps about, -1 to 1: 0 is a swing in an upright
    /// plane, +1 a level swing counter-clockwise seen from above.
    pub level_share: Option<f64>,
    /// Largest wrist rate outside the swing but within two seconds, share of the peak.
    pub rival_share: f64,
    /// The last still stretch of the hand before the swing.
    pub stance: Option<Stretch>,
    /// Quietest quarter second before the swing: root mean square wrist rate, rad/s.
    pub quiet_rad_s: Option<f64>,
    /// Fastest rate of hip or trunk from 0.4 s before to 0.1 s after impact, rad/s.
    pub body_rad_s: Option<f64>,
    /// Time since the fast moment before, s.
    pub since_fast_s: Option<f64>,
    /// Time since the stroke before that met a ball with the forearm down, s.
    pub since_stroke_s: Option<f64>,
    /// How far the gravity estimate is from gravity's length, share.
    pub gravity_misfit: f64,
    /// When the wrist turned fastest about the centre, reference clock, s.
    pub fastest_s: f64,
    /// When it was fast and up together, s.
    pub raised_s: Option<f64>,
    /// When the forearm swept fastest, reference clock, s.
    pub sweep_s: f64,
    /// When the forearm stood highest about the swing's peak, reference clock, s.
    pub highest_s: Option<f64>,
    /// How high that was, rad.
    pub highest_rad: Option<f64>,
    /// The furthest the forearm came up in a third of a second, ending near the swing's centre, rad.
    pub rise_rad: Option<f64>,
    /// Quick shaking (above a few Hz) of the hip (or else the trunk) from 1.5 s to 0.4 s before impact, m/s^2:
    /// footfalls.
    pub core_shake_m_s2: Option<f64>,
    /// The same of the wrist.
    pub hand_shake_m_s2: Option<f64>,
}

/// Samples of hip and trunk about a swing on the reference clock, where they are worn and logged.
pub type Core = [Option<Samples>; 2];

/// Everything the picture is made from.
pub struct View<'a> {
    /// The wrist's swing.
    pub swing: &'a Swing,
    /// Elbow to hand, sensor axes, where known.
    pub axis: Option<Vector3<f64>>,
    /// How the forearm swung, where its axis is known.
    pub forearm: Option<Forearm>,
    /// Hip and trunk.
    pub core: &'a Core,
    /// Time since the fast moment before, s.
    pub since_fast_s: Option<f64>,
    /// Time since the stroke before that met a ball with the forearm down, s.
    pub since_stroke_s: Option<f64>,
}

/// When a measure was largest about the swing's centre, reference clock, s: the middle of the time it
/// spent within a twentieth of its largest value, which a clipped or noisy top moves little.
fn moment(swing: &Swing, measure: impl Fn(usize) -> f64) -> f64 {
    let span = swing.span(-MOMENT_REACH_S, MOMENT_REACH_S);
    let times_s = &swing.samples.time_s;
    let Some((top, largest)) = span
        .clone()
        .map(|i| (i, measure(i)))
        .max_by(|a, b| a.1.total_cmp(&b.1))
    else {
        return swing.peak_s();
    };
    let high = |i: &usize| measure(*i) >= 0.95 * largest;
    let last = (top..span.end).take_while(high).last().unwrap_or(top);
    let first = (span.start..=top).rev().take_while(high).last();
    0.5 * (times_s[first.unwrap_or(top)] + times_s[last])
}

/// How far from the centre the swing's moments are looked for, s.
const MOMENT_REACH_S: f64 = 0.12;

/// Measures a candidate.
pub fn picture(view: &View<'_>, impact: Impact, params: &ServeParams) -> Picture {
    let swing = view.swing;
    let impact_s = impact.time_s;
    let axis = view.axis.as_ref();
    let forearm = view.forearm;
    let smooth = smoothed_rate(swing);
    let highest = forearm.and_then(|f| f.highest);
    let stance = stance(swing, axis, &smooth, impact_s, params);
    let moving_s = stance.map_or(impact_s - 1.5, |s| {
        s.to_s.clamp(impact_s - 1.5, impact_s - 0.7)
    });
    let shaken = |samples: &Samples| shake(samples, moving_s, impact_s - 0.45);
    let core = || view.core.iter().flatten();
    Picture {
        peak_rad_s: swing.peak_rad_s(),
        peak_s: swing.peak_s(),
        impact,
        elevation_rad: forearm.map(|f| f.elevation_rad),
        lowest_after_rad: axis.and_then(|axis| {
            swing
                .between(impact_s, impact_s + follow_through_s(swing))
                .map(|i| swing.elevation_sine(axis, i))
                .reduce(f64::min)
                .map(f64::asin)
        }),
        level_share: forearm.map(|f| f.level_share),
        rival_share: rival_share(swing, &smooth),
        stance,
        quiet_rad_s: quietest(swing, impact_s),
        body_rad_s: core()
            .filter_map(|samples| fastest(samples, impact_s - 0.4, impact_s + 0.1))
            .reduce(f64::max),
        since_fast_s: view.since_fast_s,
        since_stroke_s: view.since_stroke_s,
        gravity_misfit: swing.gravity_misfit,
        fastest_s: moment(swing, |i| swing.rate_rad_s(i)),
        raised_s: axis.map(|axis| {
            moment(swing, |i| {
                swing.rate_rad_s(i) * swing.elevation_sine(axis, i)
            })
        }),
        sweep_s: axis.map_or(swing.peak_s(), |axis| {
            moment(swing, |i| length(&swing.sweep(axis, i)))
        }),
        highest_s: highest.map(|(time_s, _)| time_s),
        highest_rad: highest.map(|(_, rad)| rad),
        rise_rad: forearm.and_then(|f| f.rise_rad),
        core_shake_m_s2: core().find_map(shaken),
        hand_shake_m_s2: shaken(&swing.samples),
    }
}

/// How long a swing's follow-through lasts: a slower swing comes down later.
fn follow_through_s(swing: &Swing) -> f64 {
    let slowness = FULL_SPEED_RAD_S / swing.peak_rad_s().max(1e-3);
    FOLLOW_THROUGH_S * slowness.clamp(1.0, LONGEST_FOLLOW_THROUGH)
}

/// A fast swing's follow-through, s.
const FOLLOW_THROUGH_S: f64 = 0.5;
/// A swing this fast is over in that time, rad/s: about 1000 deg/s.
const FULL_SPEED_RAD_S: f64 = 17.5;
/// The longest follow-through, in fast ones.
const LONGEST_FOLLOW_THROUGH: f64 = 1.4;

/// The furthest the forearm came up within [`RISE_S`], ending near the swing's centre, rad.
fn rise(swing: &Swing, axis: &Vector3<f64>) -> Option<f64> {
    let tops = swing.span(-0.14, 0.05);
    let times_s = &swing.samples.time_s;
    let first = swing
        .between(times_s.get(tops.start)? - RISE_S, f64::MAX)
        .start;
    let elevations_rad: Vec<f64> = (first..tops.end)
        .map(|i| swing.elevation_rad(axis, i))
        .collect();
    // from the lowest before on, each lower than all behind it: the first that is not too old is the lowest
    let mut lows: VecDeque<usize> = VecDeque::new();
    let rises = (first..tops.end).filter_map(|top| {
        let elevation = |index: usize| elevations_rad[index - first];
        while lows
            .back()
            .is_some_and(|low| elevation(*low) >= elevation(top))
        {
            lows.pop_back();
        }
        lows.push_back(top);
        while lows
            .front()
            .is_some_and(|low| times_s[*low] < times_s[top] - RISE_S)
        {
            lows.pop_front();
        }
        let rise = elevation(top) - elevation(*lows.front()?);
        tops.contains(&top).then_some(rise)
    });
    rises.reduce(f64::max)
}

/// An upswing takes at most this long, s.
const RISE_S: f64 = 0.35;

/// What a moving mean leaves.
fn above<T: Averaged>(values: &[T], half: usize) -> Vec<T> {
    let means = moving_mean(values, half);
    let pairs = values.iter().zip(means);
    pairs.map(|(value, mean)| *value - mean).collect()
}

/// Root mean square of the force's quick part: what a tenth of a second's mean leaves, twice.
fn shake(samples: &Samples, from_s: f64, to_s: f64) -> Option<f64> {
    let within = indices(samples, from_s, to_s);
    if within.len() < 20 {
        return None;
    }
    // a twentieth of a second of samples
    let half = (0.05 * samples.rate_hz).round() as usize;
    let quick = above(&above(&samples.accel_m_s2[within], half), half);
    let energy: f64 = quick.iter().map(Vector3::norm_squared).sum();
    Some((energy / quick.len() as f64).sqrt())
}

/// The whole swing about its centre, s.
const WHOLE_SWING_S: (f64, f64) = (-0.2, 0.1);
/// The part of it where the ball is, s: before that a racket that drops far takes the forearm down with it, the further
/// the faster the serve, and behind it the arm comes down.
const AT_BALL_S: (f64, f64) = (-0.06, 0.02);
/// Say of the elevation about a centre that no shock tells: own choice, held by real strokes (tests/serve/real_wrist.rs).
const RAISED_SAYS: f64 = 1.0 / 3.0;

/// How the forearm swung about its fastest moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Forearm {
    /// Elevation, weighted by the square of the sweep, rad: that at the ball, where its shock is the swing's centre. Else
    /// that about the raised centre has little say beside that over the whole swing: a stroke that ends high is raised
    /// as well, behind the ball.
    pub elevation_rad: f64,
    /// Vertical share of the axis it swept about over the whole swing, weighted likewise.
    pub level_share: f64,
    /// When it stood highest, reference clock, s, and how high, rad.
    pub highest: Option<(f64, f64)>,
    /// The furthest it came up, rad.
    pub rise_rad: Option<f64>,
}

impl Forearm {
    /// From the swing, the forearm's long axis (elbow to hand, sensor axes) and whether a shock is its centre.
    pub fn of(swing: &Swing, axis: &Vector3<f64>, shocked: bool) -> Self {
        let elevation = |(from_s, to_s): (f64, f64)| {
            let (mut weights, mut sum) = (1e-9, 0.0);
            for index in swing.span(from_s, to_s) {
                let weight = swing.sweep(axis, index).norm_squared();
                weights += weight;
                sum += weight * swing.elevation_rad(axis, index);
            }
            sum / weights
        };
        let at_ball = elevation(AT_BALL_S);
        let elevation_rad = if shocked {
            at_ball
        } else {
            RAISED_SAYS * at_ball + (1.0 - RAISED_SAYS) * elevation(WHOLE_SWING_S)
        };
        let (mut plane, mut level) = (Vector3::zeros(), 0.0);
        for index in swing.span(WHOLE_SWING_S.0, WHOLE_SWING_S.1) {
            let sweep = swing.sweep(axis, index);
            plane += swing.turn[index] * sweep * length(&sweep);
            level += sweep.dot(&swing.up(index)) * length(&sweep);
        }
        Self {
            elevation_rad,
            level_share: level / plane.norm().max(1e-9),
            highest: swing
                .span(-0.14, 0.05)
                .map(|i| (swing.samples.time_s[i], swing.elevation_sine(axis, i)))
                .max_by(|a, b| a.1.total_cmp(&b.1))
                .map(|(time_s, sine)| (time_s, sine.asin())),
            rise_rad: rise(swing, axis),
        }
    }
}

/// Resultant rate averaged over [`SMOOTH_S`], rad/s.
fn smoothed_rate(swing: &Swing) -> Vec<f64> {
    let rates: Vec<f64> = (0..swing.samples.len())
        .map(|i| swing.rate_rad_s(i))
        .collect();
    // half a window is a few dozen samples at most
    let half = (0.5 * SMOOTH_S * swing.samples.rate_hz).round() as usize;
    moving_mean(&rates, half)
}

/// What a mean is taken of: a number or a vector.
pub trait Averaged:
    Copy + Default + Add<Output = Self> + Sub<Output = Self> + Div<f64, Output = Self>
{
}

impl<T> Averaged for T where
    T: Copy + Default + Add<Output = T> + Sub<Output = T> + Div<f64, Output = T>
{
}

/// Sums of none, one, two and so on of some values.
fn running_sums<T: Averaged>(values: impl ExactSizeIterator<Item = T>) -> Vec<T> {
    let mut sum = T::default();
    let mut sums = Vec::with_capacity(values.len() + 1);
    sums.push(sum);
    for value in values {
        sum = sum + value;
        sums.push(sum);
    }
    sums
}

/// Mean over `half` samples to both sides, fewer at the ends.
pub fn moving_mean<T: Averaged>(values: &[T], half: usize) -> Vec<T> {
    let sums = running_sums(values.iter().copied());
    let count = values.len();
    let at_the_end = |index: usize| {
        let (from, to) = (index.saturating_sub(half), (index + half + 1).min(count));
        (sums[to] - sums[from]) / (to - from) as f64
    };
    let first = half.min(count);
    let last = count.saturating_sub(half).max(first);
    let mut means = Vec::with_capacity(count);
    means.extend((0..first).map(at_the_end));
    // between the ends all means are over as many values
    let whole = sums.iter().zip(sums.iter().skip(2 * half + 1));
    means.extend(whole.map(|(from, to)| (*to - *from) / (2 * half + 1) as f64));
    means.extend((last..count).map(at_the_end));
    means
}

fn rival_share(swing: &Swing, smooth: &[f64]) -> f64 {
    let largest = |range: std::ops::Range<usize>| {
        smooth
            .get(range)
            .into_iter()
            .flatten()
            .copied()
            .fold(0.0, f64::max)
    };
    let own = largest(swing.span(-0.2, 0.2));
    let other = largest(swing.span(-2.0, -0.45)).max(largest(swing.span(0.5, 1.3)));
    other / own.max(1e-9)
}

/// A still forearm that points up by more than this (sine) waits for the ball: no stance.
const WAITING_SINE: f64 = 0.7;

/// A pause closer to impact than this belongs to the loaded pose, not to the stance before the toss.
const LOADING_S: f64 = 0.65;

/// The last still stretch with the forearm down that ends at least [`LOADING_S`] before impact.
fn stance(
    swing: &Swing,
    axis: Option<&Vector3<f64>>,
    smooth: &[f64],
    impact_s: f64,
    params: &ServeParams,
) -> Option<Stretch> {
    let waiting = |i: usize| axis.is_some_and(|axis| swing.elevation_sine(axis, i) > WAITING_SINE);
    let times_s = &swing.samples.time_s;
    let last = times_s.partition_point(|&t| t < impact_s - LOADING_S);
    let mut end: Option<usize> = None;
    for index in (0..last.min(smooth.len())).rev() {
        let still = smooth[index] < params.still_rate_rad_s && !waiting(index);
        match (still, end) {
            (true, None) => end = Some(index),
            (false, Some(to)) if times_s[to] - times_s[index] >= params.stance_s => {
                return Some(Stretch {
                    from_s: times_s[index],
                    to_s: times_s[to],
                });
            }
            (false, Some(_)) => end = None,
            _ => {}
        }
    }
    let (first_s, to_s) = (*times_s.first()?, times_s[end?]);
    (to_s - first_s >= params.stance_s).then_some(Stretch {
        from_s: first_s,
        to_s,
    })
}

/// Root mean square rate of the quietest quarter second from 3.2 s to 0.4 s before impact, rad/s.
fn quietest(swing: &Swing, impact_s: f64) -> Option<f64> {
    let span = swing.between(impact_s - 3.2, impact_s - 0.45);
    // a quarter second of samples
    let quarter = (0.25 * swing.samples.rate_hz).round().max(2.0) as usize;
    let rates_rad_s = &swing.samples.gyro_rad_s[span];
    let sums = running_sums(rates_rad_s.iter().map(Vector3::norm_squared));
    let of_quarters = sums.iter().zip(sums.iter().skip(quarter));
    of_quarters
        .step_by((quarter / 5).max(1))
        .map(|(from, to)| ((to - from).max(0.0) / quarter as f64).sqrt())
        .reduce(f64::min)
}

fn fastest(samples: &Samples, from_s: f64, to_s: f64) -> Option<f64> {
    indices(samples, from_s, to_s)
        .map(|i| samples.gyro_rad_s[i].norm_squared())
        .reduce(f64::max)
        .map(f64::sqrt)
}

/// Indices between two times.
pub fn indices(samples: &Samples, from_s: f64, to_s: f64) -> std::ops::Range<usize> {
    let from = samples.time_s.partition_point(|&t| t < from_s);
    from..samples.time_s.partition_point(|&t| t <= to_s).max(from)
}
