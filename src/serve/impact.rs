//! The instant the ball was met, from what breaks the swing's smoothness.
//!
//! An arm's swing is smooth over a few samples, a ball's shock is not. Each channel is predicted from
//! its last three samples by a parabola; what the prediction misses, measured against what it misses
//! elsewhere in the same swing, is the surprise. Channels at their limit are left out, so a saturated
//! long axis does not hide the shock on the others or in the gyroscope.

use std::ops::Range;

use super::params::ServeParams;
use super::swing::{SWING_AFTER_S, SWING_BEFORE_S, Swing};
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
/// The shock starts where the surprise first exceeds this share of its largest value ...
const ONSET_SHARE: f64 = 0.03;
/// ... and this many times the swing's level before it.
const ONSET_LEVEL: f64 = 5.0;
/// ... but at this share of its largest value at the latest.
const ONSET_CAP: f64 = 0.35;
/// A sample before the onset that is this many times the level, which nine in ten stay below, may belong to the shock.
/// Own choice.
const STANDS_OUT: f64 = 2.0;
/// A first sample below this share of the second is a filter's ringing ahead of the shock.
const AHEAD_SHARE: f64 = 0.15;
/// A shock is at its roughest within this long of its onset, s.
const FRESH_RING_S: f64 = 0.015;
/// Share of the samples about impact that must be readable to tell ball from no ball.
const SEEN_SHARE: f64 = 0.6;
/// The level before is taken over this long, s.
const LEVEL_S: f64 = 0.05;

/// Surprise about a swing's fastest moment, kept so that impact can be timed again once the session
/// has taught when it comes.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Surprise {
    rate_hz: f64,
    /// By how much the samples were set earlier for the unit's own filter, s.
    filter_delay_s: f64,
    start_s: f64,
    /// Since the start. As what follows in single precision: many are kept.
    since_s: Vec<f32>,
    /// One sample ahead.
    first: Vec<f32>,
    /// The same sample predicted from three samples further back.
    second: Vec<f32>,
    /// Fifth differences: sharper, for telling a shock from a fast swing.
    fifth: Vec<f32>,
    /// Axes of force that could not show a shock: at their limit, or in the three samples before.
    hidden: Vec<u8>,
}

/// When impact is expected from the swing alone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Expected {
    /// Reference clock, s.
    pub time_s: f64,
    /// Standard uncertainty, s.
    pub sd_s: f64,
}

impl Impact {
    /// The same swing taken for dry: impact is where the swing expects it.
    pub const fn without_shock(self, expected: Expected) -> Self {
        Self {
            time_s: expected.time_s,
            sd_s: expected.sd_s,
            from_shock: false,
            ..self
        }
    }
}

impl Surprise {
    /// Measures the surprise about the fastest moment of a swing whose samples were set earlier by the
    /// group delay of the unit's own filter.
    pub fn of(swing: &Swing, filter_delay_s: f64, params: &ServeParams) -> Self {
        let before_s = params.shock_before_s + LEVEL_S;
        let span = swing.span(-before_s, params.shock_after_s);
        let channels = Channels::of(swing, &span);
        let times_s = &swing.samples.time_s[span.clone()];
        let start_s = times_s.first().copied().unwrap_or_default();
        Self {
            rate_hz: swing.samples.rate_hz,
            filter_delay_s,
            start_s,
            since_s: times_s.iter().map(|t| (t - start_s) as f32).collect(),
            first: span.clone().map(|i| channels.missed(i, 1) as f32).collect(),
            second: span.clone().map(|i| channels.missed(i, 2) as f32).collect(),
            hidden: span.clone().map(|i| channels.hidden(i)).collect(),
            fifth: channels
                .fifths(swing.span(-SWING_BEFORE_S, SWING_AFTER_S), span)
                .into_iter()
                .map(|rough| rough as f32)
                .collect(),
        }
    }

    fn time_s(&self, index: usize) -> f64 {
        self.start_s + f64::from(self.since_s[index]) // callers count within
    }

    /// Output data rate of the wrist's log, Hz.
    pub const fn rate_hz(&self) -> f64 {
        self.rate_hz
    }

    /// Largest fifth difference, over the swing's own, while a ball met where `expected` or at `impact`
    /// would ring. `None` where a gap or clipping on every axis hides that time.
    pub fn roughness(&self, expected: Expected, impact: &Impact) -> Option<f64> {
        let from_s = (expected.time_s - 3.0 * expected.sd_s).min(impact.time_s);
        let latest_s = (expected.time_s + 2.0 * expected.sd_s).max(impact.time_s);
        // a fifth difference spans five steps back from its sample
        let half_span_s = 2.5 * stride(self.rate_hz) as f64 / self.rate_hz;
        // a shock later than what is looked at would have been the swing's centre
        let last = self.since_s.len().checked_sub(1);
        let looked_at_s = last.map_or(f64::NEG_INFINITY, |last| self.time_s(last));
        let to_s = (latest_s + FRESH_RING_S + half_span_s).min(looked_at_s);
        let seen: Vec<f64> = (self.fifth.iter().enumerate())
            .filter(|(i, rough)| (from_s..to_s).contains(&self.time_s(*i)) && **rough > 0.0)
            .map(|(_, rough)| f64::from(*rough))
            .collect();
        if (seen.len() as f64) < SEEN_SHARE * (to_s - from_s) * self.rate_hz - 1.0 {
            return None;
        }
        seen.into_iter().reduce(f64::max)
    }

    /// Times the shock near where it is expected; without one, impact is where it is expected.
    pub fn impact(&self, expected: Expected, params: &ServeParams) -> Impact {
        let step_s = 1.0 / self.rate_hz.max(1.0);
        let reach_s = 3.0 * expected.sd_s + 1.5 * step_s;
        let near = |i: &usize| (self.time_s(*i) - expected.time_s).abs() <= reach_s;
        let weight = |i: usize| {
            let off = (self.time_s(i) - expected.time_s) / (2.0 * expected.sd_s + step_s);
            f64::from(self.first[i]) * (-0.5 * off * off).exp()
        };
        let within: Vec<usize> = (0..self.since_s.len()).filter(near).collect();
        let top = within
            .iter()
            .copied()
            .max_by(|&a, &b| weight(a).total_cmp(&weight(b)));
        let without = |ratio| Impact {
            time_s: expected.time_s,
            sd_s: expected.sd_s,
            ratio,
            from_shock: false,
        };
        let (Some(top), Some(&first)) = (top, within.first()) else {
            return without(0.0);
        };
        // a shock is at its roughest within a few samples of its onset: what rose before is the swing
        let from = first.max(top.saturating_sub(self.samples_in(FRESH_RING_S)));
        let ratio = f64::from(self.first[top]);
        let level = self.level_before(from);
        // the start of a swing surprises as well, but what follows it is as rough
        let swing = level.max(self.level_after(top)).max(1.0);
        if ratio < params.shock_ratio * swing {
            return without(ratio);
        }
        let (onset, ahead) = self.onset(from, top, level);
        let (seen_s, within_sample) = self.between_samples(onset);
        // a shock that barely stands out leaves the onset open by samples
        let blur = step_s * (2.0 * ONSET_LEVEL * level / ratio).min(1.5);
        // what stands out ahead may be the shock's own start
        let ahead_s = step_s * ahead as f64 / 3f64.sqrt(); // few
        let sd_s = (within_sample.hypot(blur))
            .hypot(ahead_s)
            .hypot(self.hidden_sd_s(onset));
        let sd_s = sd_s.min(expected.sd_s);
        // a filter holds an onset back by anything from nothing to its group delay, which was taken off whole
        let (held_s, held_sd_s) = (
            0.5 * self.filter_delay_s,
            self.filter_delay_s / 12f64.sqrt(),
        );
        Impact {
            time_s: seen_s + held_s - params.onset_lag_s,
            sd_s: sd_s.hypot(PATH_SD_S).hypot(held_sd_s),
            ratio,
            from_shock: true,
        }
    }

    /// What nine in ten samples stay below just before `from`.
    fn level_before(&self, from: usize) -> f64 {
        self.level(from.saturating_sub(self.samples_in(LEVEL_S))..from)
    }

    /// The same once the shock at `top` has rung out.
    fn level_after(&self, top: usize) -> f64 {
        let from = (top + self.samples_in(RINGING_S)).min(self.first.len());
        let to = (from + self.samples_in(LEVEL_S)).min(self.first.len());
        self.level(from..to)
    }

    fn level(&self, span: Range<usize>) -> f64 {
        let mut sizes = self.first[span].to_vec(); // callers keep the span inside
        sizes.sort_by(f32::total_cmp);
        let size = sizes.get(sizes.len().saturating_sub(1) * 9 / 10);
        size.copied().map_or(1.0, f64::from)
    }

    // a few dozen samples
    fn samples_in(&self, length_s: f64) -> usize {
        (length_s * self.rate_hz).round() as usize + 2
    }

    /// First sample of the shock whose largest surprise is at `top`, and how many before it stand out as well: too little,
    /// or taken for a filter's ringing.
    fn onset(&self, from: usize, top: usize, level: f64) -> (usize, usize) {
        let ratio = f64::from(self.first[top]);
        let threshold = (ONSET_SHARE * ratio)
            .max(ONSET_LEVEL * level)
            .min(ONSET_CAP * ratio);
        let first = |index: usize| f64::from(self.first[index]);
        let crossed = (from..=top).find(|&i| first(i) >= threshold);
        let crossed = crossed.unwrap_or(top);
        let rises = |i: &usize| first(*i) >= AHEAD_SHARE * first(i + 1);
        let onset = (crossed..top).find(rises).unwrap_or(top);
        let stands_out = |i: &usize| first(*i) >= STANDS_OUT * level;
        let earlier = (from..crossed).rev().take_while(stands_out).count();
        (onset, onset - crossed + earlier)
    }

    /// How far ahead of `onset` the shock may have begun unseen, s: anywhere in the samples right before
    /// it that hid all axes of force, with even odds in those that hid two; fresh when limits let go.
    fn hidden_sd_s(&self, onset: usize) -> f64 {
        let before = self.hidden[..onset].iter().rev(); // callers count within
        let most = (FRESH_RING_S * self.rate_hz) as usize; // a few dozen samples
        let run = before.take_while(|axes| **axes >= 2).take(most);
        let (length, unseen) = run.fold((0.0, 0.0), |(length, unseen), axes| {
            (length + 1.0, unseen + f64::from(axes - 1) / 2.0)
        });
        (length * unseen / 3.0_f64).sqrt() / self.rate_hz
    }

    /// Where between the sample before `onset` and `onset` the shock began, and how sure (s).
    ///
    /// A first sample much smaller than the second was taken soon after the start; one as large came
    /// from anywhere in the interval.
    fn between_samples(&self, onset: usize) -> (f64, f64) {
        let (time_s, step_s) = (self.time_s(onset), 1.0 / self.rate_hz);
        let first = f64::from(self.first[onset]);
        let second = self.second.get(onset + 1).copied().map_or(0.0, f64::from);
        let share = if second > first { first / second } else { 0.5 };
        (time_s - share.min(0.5) * step_s, WITHIN_SAMPLE * step_s)
    }
}

/// Standard uncertainty of an onset in sample periods: a uniform error has 0.29, the unit's own filter
/// smears the first sample by as much again. Checked by the impact table in DEVELOPERS.md.
const WITHIN_SAMPLE: f64 = 0.5;
/// Spread of the shock's travel from racket to wrist and of the units' filters, s: own choice after
/// travel times under a millisecond.
const PATH_SD_S: f64 = 0.0005;

/// The sample of the swing's one clear shock, if it has one: far rougher than the swing and than
/// anything else in it.
pub fn clear_shock(swing: &Swing, params: &ServeParams) -> Option<usize> {
    let span = swing.span(-SHOCK_REACH_S, SHOCK_REACH_S);
    let channels = Channels::unscaled(swing, &span);
    let fifths = channels.fifths(swing.span(-SWING_BEFORE_S, SWING_AFTER_S), span.clone());
    let (top, &ratio) = fifths
        .iter()
        .enumerate()
        .max_by(|a, b| a.1.total_cmp(b.1))?;
    // a few dozen samples of ringing belong to the shock
    let ring = (RINGING_S * swing.samples.rate_hz).ceil() as usize;
    let elsewhere = fifths
        .iter()
        .enumerate()
        .filter(|(i, _)| i.abs_diff(top) > ring)
        .map(|(_, rough)| *rough)
        .fold(0.0, f64::max);
    let clear = ratio > 3.0 * params.shock_ratio && ratio > 2.5 * elsewhere;
    // the middle of the fifth difference that stands out
    clear.then_some(span.start + top.saturating_sub(2 * channels.stride))
}

/// How far from the fastest moment the ball's shock may be, s.
const SHOCK_REACH_S: f64 = 0.3;
/// How long a shock rings, s.
const RINGING_S: f64 = 0.05;

/// The six channels of a sample, or what was made of them; NaN where a channel is not usable.
type Row = [f64; 6];

/// The six channels about a swing's centre with the surprise scale of each.
struct Channels {
    /// Sample that `read` starts with.
    from: usize,
    read: Vec<Row>,
    /// The same without what is at its limit.
    trusted: Vec<Row>,
    scale: Row,
    /// Step of the fifth differences, samples.
    stride: usize,
}

impl Channels {
    /// For questions about the samples of `span`.
    fn of(swing: &Swing, span: &Range<usize>) -> Self {
        let mut channels = Self::unscaled(swing, span);
        let own = swing.span(-SWING_BEFORE_S, SWING_AFTER_S);
        let misses: Vec<Row> = own.map(|index| channels.miss(index, 1)).collect();
        channels.scale = std::array::from_fn(|k| common(&misses, k).max(floor(k)));
        channels
    }

    /// The same for questions about fifth differences only.
    fn unscaled(swing: &Swing, span: &Range<usize>) -> Self {
        let samples = &swing.samples;
        let own = swing.span(-SWING_BEFORE_S, SWING_AFTER_S);
        let stride = stride(samples.rate_hz);
        let from = own.start.min(span.start).saturating_sub(5 * stride);
        let to = own.end.max(span.end);
        let force_limit = limit(samples, Flags::ACCEL_CLIPPED, |s, i, k| s.accel_m_s2[i][k]);
        let rate_limit = limit(samples, Flags::GYRO_CLIPPED, |s, i, k| s.gyro_rad_s[i][k]);
        let [f, r] = [force_limit, rate_limit];
        let limits: Row = [f, f, f, r, r, r];
        let row = |index: usize| -> Row {
            let (force, rate) = (samples.accel_m_s2[index], samples.gyro_rad_s[index]);
            [force.x, force.y, force.z, rate.x, rate.y, rate.z]
        };
        let read: Vec<Row> = (from..to).map(row).collect();
        let below = |value: f64, limit: f64| if value.abs() < limit { value } else { f64::NAN };
        let trust = |row: &Row| std::array::from_fn(|k| below(row[k], limits[k]));
        Self {
            from,
            trusted: read.iter().map(trust).collect(),
            read,
            scale: [1.0; 6],
            stride,
        }
    }

    /// What the parabola through the three samples before misses, `ahead` (1 or 2) samples on; the
    /// sample meant is `index`. NaN near the start, where a sample before is at its limit, and where
    /// the sample itself is and the parabola said so; a limit that nobody foresaw is a surprise, and at
    /// least that large.
    fn miss(&self, index: usize, ahead: usize) -> Row {
        let before = |rows: &[Row], back: usize| {
            let at = index.checked_sub(back + self.from);
            at.and_then(|at| rows.get(at).copied())
                .unwrap_or([f64::NAN; 6])
        };
        let [a, b, c] = [0, 1, 2].map(|back| before(&self.trusted, ahead + back));
        let (read, trusted) = (before(&self.read, 0), before(&self.trusted, 0));
        let weights = if ahead == 1 {
            [3.0, 3.0, 1.0]
        } else {
            [6.0, 8.0, 3.0]
        };
        std::array::from_fn(|k| {
            let predicted = weights[0] * a[k] - weights[1] * b[k] + weights[2] * c[k];
            let foreseen = trusted[k].is_nan() && predicted.abs() >= read[k].abs();
            if foreseen {
                f64::NAN
            } else {
                read[k] - predicted
            }
        })
    }

    /// Fifth differences over every `stride`-th sample; NaN where one of six samples is not usable.
    fn fifth(&self, index: usize) -> Row {
        const WEIGHTS: [f64; 6] = [1.0, -5.0, 10.0, -10.0, 5.0, -1.0];
        let mut sums = [0.0; 6];
        for (back, weight) in WEIGHTS.into_iter().enumerate() {
            let at = index.checked_sub(back * self.stride + self.from);
            let Some(row) = at.and_then(|at| self.trusted.get(at)) else {
                return [f64::NAN; 6];
            };
            for (sum, value) in sums.iter_mut().zip(row) {
                *sum += weight * value;
            }
        }
        sums
    }

    /// Root mean square of the fifth differences over `span` in units of their common size in `swing`.
    fn fifths(&self, swing: Range<usize>, span: Range<usize>) -> Vec<f64> {
        // noise grows by the root of the sum of squared weights: 252 against 20 for the third
        let noise = (252.0_f64 / 20.0).sqrt();
        let from = swing.start.min(span.start);
        let both = from..swing.end.max(span.end);
        let fifths: Vec<Row> = both.map(|index| self.fifth(index)).collect();
        let own = &fifths[swing.start - from..swing.end - from]; // within both
        let scale = std::array::from_fn(|k| common(own, k).max(noise * floor(k)));
        span.map(|index| rms(&fifths[index - from], &scale))
            .collect()
    }

    /// Axes of force that could not show a shock at `index`.
    fn hidden(&self, index: usize) -> u8 {
        let axes = &self.miss(index, 1)[..3];
        axes.iter().map(|miss| u8::from(miss.is_nan())).sum()
    }

    /// Root mean square of the misses of all usable channels in units of their scales.
    fn missed(&self, index: usize, ahead: usize) -> f64 {
        rms(&self.miss(index, ahead), &self.scale)
    }
}

/// Root mean square of what is known in a row, in units of the scales.
fn rms(row: &Row, scale: &Row) -> f64 {
    let (mut sum, mut count) = (0.0, 0.0_f64);
    for (value, scale) in row.iter().zip(scale) {
        let value = value / scale;
        if !value.is_nan() {
            sum += value * value;
            count += 1.0;
        }
    }
    (sum / count.max(1.0)).sqrt()
}

/// Samples per step of a fifth difference: one up to the rate beyond which it would see the unit's noise
/// more than the shock, whose ringing lies below 200 Hz.
fn stride(rate_hz: f64) -> usize {
    (rate_hz / FIFTH_RATE_HZ).round().max(1.0) as usize
}

/// Rate at which fifth differences tell a shock from noise best, Hz: own choice.
const FIFTH_RATE_HZ: f64 = 500.0;

/// What seven in ten of a channel's known sizes stay below.
fn common(rows: &[Row], channel: usize) -> f64 {
    let sizes = rows.iter().map(|row| row[channel].abs());
    let mut sizes: Vec<f64> = sizes.filter(|size| !size.is_nan()).collect();
    if sizes.is_empty() {
        return 0.0;
    }
    let place = sizes.len() * 7 / 10;
    *sizes.select_nth_unstable_by(place, f64::total_cmp).1
}

/// Smallest scale of a channel's surprise.
const fn floor(channel: usize) -> f64 {
    if channel < 3 {
        FORCE_FLOOR_M_S2
    } else {
        RATE_FLOOR_RAD_S
    }
}

/// The value beyond which a sample of a clipping channel is not to be trusted.
fn limit(samples: &Samples, flag: Flags, value: impl Fn(&Samples, usize, usize) -> f64) -> f64 {
    if !samples.any(flag) {
        return f64::INFINITY;
    }
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
