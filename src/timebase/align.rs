//! First alignment: from hours of unknown offset down to about ten milliseconds, on envelopes alone.
//!
//! Activity (how hard and how fast, on a logarithmic scale) rises and falls on all units together.
//! Stretches of the reference are correlated with the whole of the unit; each leaves a few candidate
//! shifts, and a vote over lines `shift = offset + drift * time` decides. Nothing here is good enough
//! to time a chain by, and nothing here reaches the result: it only says where to look.

use std::collections::VecDeque;
use std::io;

use super::align_sweep::best_shifts;
use super::tie_params::TieParams;
use super::track::Track;
use crate::units::STANDARD_GRAVITY_M_S2;

/// Longest stretch of envelope read back at once, s: bounds memory, changes no result.
const READ_S: f64 = 600.0;
/// Candidates of one stretch stand at least this far apart, s.
const CANDIDATES_APART_S: f64 = 2.0;

/// An even, high-passed envelope; 0 where there is nothing.
pub(crate) struct Envelope {
    /// Unit clock at the middle of the first bin, s.
    pub start_s: f64,
    /// Bin width, s.
    pub step_s: f64,
    pub value: Vec<f32>,
}

/// `shift = unit clock - reference clock` along a line, over a stretch of the reference clock.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Line {
    pub from_ref_s: f64,
    pub to_ref_s: f64,
    pub pivot_ref_s: f64,
    pub shift_s: f64,
    pub drift: f64,
}

impl Line {
    pub fn shift_at_s(&self, ref_s: f64) -> f64 {
        self.shift_s + self.drift * (ref_s - self.pivot_ref_s)
    }
}

/// A correlation peak of one stretch.
#[derive(Debug, Clone, Copy)]
struct Candidate {
    stretch: usize,
    ref_s: f64,
    shift_s: f64,
    /// Height over the noise of the correlation.
    height: f64,
}

/// Rough clock lines of a unit, in time order; one per stretch without a clock step, none if nothing
/// agrees.
pub(crate) fn rough_lines(
    (reference, near): (&dyn Track, &Envelope),
    (unit, far): (&dyn Track, &Envelope),
    params: &TieParams,
) -> Vec<Line> {
    let (candidates, lags) = stretch_candidates(near, far, params);
    let mut lines = vote(candidates, lags, params);
    lines.sort_by(|a, b| a.from_ref_s.total_cmp(&b.from_ref_s));
    stretch_to_session(&mut lines, reference, unit, 0.5 * params.stretch_s);
    lines
}

/// Lets the lines cover what both logs share: the outer ends, and each seam at the unit's longest gap
/// between the two sides, or midway.
///
/// A line's outer members stand for stretches of which the step may cut off up to `half_s`.
fn stretch_to_session(lines: &mut [Line], reference: &dyn Track, unit: &dyn Track, half_s: f64) {
    let (start_s, end_s) = reference.span_s();
    let (unit_start_s, unit_end_s) = unit.span_s();
    for index in 1..lines.len() {
        let (before, after) = (lines[index - 1], lines[index]); // index runs from 1
        let gap = unit
            .gaps()
            .iter()
            .filter(|g| {
                let left_s = g.from_s - before.shift_at_s(before.to_ref_s);
                let right_s = g.to_s - after.shift_at_s(after.from_ref_s);
                left_s >= before.to_ref_s - half_s
                    && right_s <= after.from_ref_s + half_s
                    && left_s <= right_s
            })
            .max_by(|a, b| (a.to_s - a.from_s).total_cmp(&(b.to_s - b.from_s)));
        let middle_s = 0.5 * (before.to_ref_s + after.from_ref_s);
        let (left_s, right_s) = gap.map_or((middle_s, middle_s), |g| {
            (
                g.from_s - before.shift_at_s(before.to_ref_s),
                g.to_s - after.shift_at_s(after.from_ref_s),
            )
        });
        lines[index - 1].to_ref_s = left_s;
        lines[index].from_ref_s = right_s;
    }
    if let Some(first) = lines.first_mut() {
        first.from_ref_s = start_s.max(unit_start_s - first.shift_at_s(start_s));
    }
    if let Some(last) = lines.last_mut() {
        last.to_ref_s = end_s.min(unit_end_s - last.shift_at_s(end_s));
    }
}

/// The whole log's activity at the coarse alignment step.
pub(crate) fn session_envelope(track: &dyn Track, params: &TieParams) -> io::Result<Envelope> {
    let (start_s, end_s) = track.span_s();
    let step_s = params.session_step_s;
    let bins = (((end_s - start_s) / step_s).max(0.0)) as usize + 1; // saturating: a float to an integer
    let mut pooled = vec![f32::NAN; bins];
    let mut from_s = start_s;
    while from_s < end_s {
        let coarse = track.coarse(from_s, (from_s + READ_S).min(end_s))?;
        for (index, (&force, &rate)) in coarse
            .force_max_m_s2
            .iter()
            .zip(&coarse.rate_max_rad_s)
            .enumerate()
        {
            let time_s = coarse.start_s + (index as f64 + 0.5) * coarse.step_s;
            let bin = ((time_s - start_s) / step_s).max(0.0) as usize; // saturating
            if let Some(kept) = pooled.get_mut(bin).filter(|_| force > 0.0) {
                *kept = kept.max(activity(force, rate)); // NaN.max(x) is x
            }
        }
        from_s += READ_S;
    }
    // the logarithm of the largest is the largest logarithm
    pooled
        .iter_mut()
        .for_each(|activity| *activity = activity.ln());
    Ok(Envelope {
        start_s: start_s + 0.5 * step_s,
        step_s,
        value: high_passed(pooled, (params.session_trend_s / step_s) as usize), // saturating
    })
}

/// How much is going on; its logarithm counts, so that the wrist's thousands and the hip's hundreds are
/// alike.
fn activity(force_m_s2: f32, rate_rad_s: f32) -> f32 {
    let gravity = STANDARD_GRAVITY_M_S2 as f32; // 9.80665 to single precision
    (1.0 + (force_m_s2 - gravity).abs()) * (1.0 + rate_rad_s)
}

/// Deviation from the moving mean over `half` bins to each side, held to three times its spread;
/// missing bins (NaN) are 0.
pub(crate) fn high_passed(mut values: Vec<f32>, half: usize) -> Vec<f32> {
    let of = |value: f32| {
        if value.is_nan() {
            (0.0, 0u32)
        } else {
            (f64::from(value), 1)
        }
    };
    let (mut sum, mut count) = (0.0, 0);
    for value in values.iter().take(half) {
        (sum, count) = (sum + of(*value).0, count + of(*value).1);
    }
    let mut filled = 0;
    let mut behind: VecDeque<f32> = VecDeque::with_capacity(half + 1);
    for index in 0..values.len() {
        if let Some(ahead) = values.get(index + half) {
            (sum, count) = (sum + of(*ahead).0, count + of(*ahead).1);
        }
        if behind.len() > half
            && let Some(left) = behind.pop_front()
        {
            (sum, count) = (sum - of(left).0, count - of(left).1);
        }
        let value = values[index];
        behind.push_back(value);
        filled += of(value).1;
        values[index] = if value.is_nan() {
            0.0
        } else {
            (f64::from(value) - sum / f64::from(count)) as f32 // envelope precision
        };
    }
    let power = values.iter().map(|d| f64::from(d * d)).sum::<f64>();
    let limit = (3.0 * (power / f64::from(filled.max(1))).sqrt()) as f32; // envelope precision
    for deviation in &mut values {
        *deviation = deviation.clamp(-limit, limit);
    }
    values
}

/// Correlates the busiest stretches of `near` with the whole of `far`.
/// Gives the candidates and how many shifts each stretch could choose from.
fn stretch_candidates(
    near: &Envelope,
    far: &Envelope,
    params: &TieParams,
) -> (Vec<Candidate>, usize) {
    let span_s = near.value.len() as f64 * near.step_s;
    let stretches = (span_s / params.stretch_s).ceil().max(1.0);
    let length = ((span_s / stretches / near.step_s) as usize + 1).min(near.value.len().max(1)); // saturating
    let mut starts: Vec<usize> = (0..near.value.len()).step_by(length).collect();
    let energy = |start: usize| -> f64 {
        near.value[start..(start + length).min(near.value.len())]
            .iter()
            .map(|v| f64::from(v * v))
            .sum()
    };
    starts.sort_by(|&a, &b| energy(b).total_cmp(&energy(a)));
    starts.truncate(params.stretches_max as usize); // a whole number by its range
    starts.sort_unstable();

    // within the envelope
    let part = |start: &usize| &near.value[*start..(start + length).min(near.value.len())];
    let parts: Vec<&[f32]> = starts.iter().map(part).collect();
    let apart = (CANDIDATES_APART_S / near.step_s) as usize; // a small positive number
    let found = best_shifts(&far.value, &parts, apart);
    let mut candidates = Vec::new();
    for (stretch, ((start, part), shifts)) in starts.iter().zip(&parts).zip(found).enumerate() {
        let ref_start_s = near.start_s + *start as f64 * near.step_s;
        candidates.extend(shifts.into_iter().map(|shift| Candidate {
            stretch,
            ref_s: ref_start_s + 0.5 * part.len() as f64 * near.step_s,
            shift_s: far.start_s + shift.at * far.step_s - ref_start_s,
            height: shift.likeness / shift.spread,
        }));
    }
    (candidates, far.value.len() + length)
}

pub(crate) fn prefix_energy(values: &[f32]) -> Vec<f64> {
    std::iter::once(0.0)
        .chain(values.iter().scan(0.0, |sum, v| {
            *sum += f64::from(v * v);
            Some(*sum)
        }))
        .collect()
}

/// Lines on which many stretches' candidates lie; each must beat chance and its rivals.
fn vote(mut candidates: Vec<Candidate>, lags: usize, params: &TieParams) -> Vec<Line> {
    let mut lines = Vec::new();
    let chance = (lags.max(2) as f64).ln();
    while let Some((line, members)) = best_line(&candidates, chance, params) {
        let stretches: Vec<usize> = members.iter().map(|c| c.stretch).collect();
        candidates.retain(|c| !stretches.contains(&c.stretch));
        lines.push(line);
        if lines.len() > params.steps_max as usize {
            break; // a whole number by its range
        }
    }
    lines
}

/// The line that explains most, with its members; `None` where chance or a rival explains as much.
fn best_line(
    candidates: &[Candidate],
    chance: f64,
    params: &TieParams,
) -> Option<(Line, Vec<Candidate>)> {
    let mut hypotheses: Vec<(f64, Line)> = Vec::new();
    for (index, a) in candidates.iter().enumerate() {
        hypotheses.push(scored(line_through(a, None), candidates, params));
        for b in &candidates[index + 1..] {
            let apart_s = b.ref_s - a.ref_s;
            let slack_s = 2.0 * params.vote_tolerance_s;
            let rise_s = (b.shift_s - a.shift_s).abs();
            if b.stretch != a.stretch && rise_s <= params.drift_max * apart_s.abs() + slack_s {
                hypotheses.push(scored(line_through(a, Some(b)), candidates, params));
            }
        }
    }
    let (top, line) = hypotheses
        .iter()
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .copied()?;
    let rival = hypotheses
        .iter()
        .filter(|(_, other)| {
            (other.shift_at_s(line.pivot_ref_s) - line.shift_s).abs()
                > 4.0 * params.vote_tolerance_s
        })
        .map(|(score, _)| *score)
        .fold(0.0, f64::max);
    if top < 2.0 * chance + params.vote_margin || top < rival + params.vote_margin {
        return None;
    }
    let members = members_of(&line, candidates, params);
    let from_ref_s = members.iter().map(|c| c.ref_s).fold(f64::MAX, f64::min);
    let to_ref_s = members.iter().map(|c| c.ref_s).fold(f64::MIN, f64::max);
    Some((
        Line {
            from_ref_s,
            to_ref_s,
            ..line
        },
        members,
    ))
}

fn line_through(a: &Candidate, b: Option<&Candidate>) -> Line {
    let drift = b.map_or(0.0, |b| (b.shift_s - a.shift_s) / (b.ref_s - a.ref_s));
    Line {
        from_ref_s: a.ref_s,
        to_ref_s: a.ref_s,
        pivot_ref_s: a.ref_s,
        shift_s: a.shift_s,
        drift,
    }
}

/// Evidence for a line: half the squared height of the best member of each stretch, the logarithm of
/// the odds against chance for normal noise.
fn scored(line: Line, candidates: &[Candidate], params: &TieParams) -> (f64, Line) {
    if line.drift.abs() > params.drift_max {
        return (0.0, line);
    }
    let score = members_of(&line, candidates, params)
        .iter()
        .map(|c| 0.5 * c.height * c.height)
        .sum();
    (score, line)
}

fn members_of(line: &Line, candidates: &[Candidate], params: &TieParams) -> Vec<Candidate> {
    let mut best: Vec<Candidate> = Vec::new();
    for c in candidates {
        if (c.shift_s - line.shift_at_s(c.ref_s)).abs() > params.vote_tolerance_s {
            continue;
        }
        match best.iter_mut().find(|b| b.stretch == c.stretch) {
            Some(b) if c.height > b.height => *b = *c,
            Some(_) => {}
            None => best.push(*c),
        }
    }
    best
}
