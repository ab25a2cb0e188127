//! First alignment: from hours of unknown offset down to about ten milliseconds, on envelopes alone.
//!
//! Activity (how hard and how fast, on a logarithmic scale) rises and falls on all units together.
//! Stretches of the reference are correlated with the whole of the unit (`align_sweep`); each leaves a few
//! candidate shifts, a vote over lines `shift = offset + drift * time` finds the first line, and the
//! likeliest course of lines over the session finds the clock's steps (`align_steps`). Nothing here is good
//! enough to time a chain by, and nothing here reaches the result: it only says where to look.

use std::io;
use std::ops::Range;

use super::align_steps::{Course, Span};
use super::align_sweep::{SHIFTS, best_shifts};
use super::tie_params::TieParams;
use super::track::Track;
use crate::math;
use crate::units::STANDARD_GRAVITY_M_S2;

/// Longest stretch of envelope read back at once, s: bounds memory, changes no result.
const READ_S: f64 = 60.0;
/// Candidates of one stretch stand at least this far apart, s.
const CANDIDATES_APART_S: f64 = 2.0;
/// A stretch whose last candidate reaches this share of its first says nothing.
const EQUAL_SHARE: f64 = 0.9;
/// What a candidate's shift and a drift are usually off by, s and 1.
const CANDIDATE_SD_S: f64 = 0.02;
const DRIFT_SD: f64 = 100e-6;
/// Lines nearer to one another than this are one, s.
const STEP_MIN_S: f64 = 0.1;

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
    /// Where it surely holds and both logs are.
    pub from_ref_s: f64,
    /// See `from_ref_s`.
    pub to_ref_s: f64,
    /// Where it surely holds, whether both logs are there or not.
    pub sure_s: (f64, f64),
    /// Where it is the likeliest: up to where a step is thought to be.
    pub asked_s: (f64, f64),
    pub pivot_ref_s: f64,
    pub shift_s: f64,
    pub drift: f64,
}

impl Line {
    pub fn shift_at_s(&self, ref_s: f64) -> f64 {
        self.shift_s + self.drift * (ref_s - self.pivot_ref_s)
    }

    /// Reference clock at a unit time, s.
    pub fn ref_at_s(&self, unit_s: f64) -> f64 {
        let at_pivot_s = self.pivot_ref_s + self.shift_s;
        self.pivot_ref_s + (unit_s - at_pivot_s) / (1.0 + self.drift)
    }
}

/// A correlation peak of one stretch.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Candidate {
    stretch: usize,
    ref_s: f64,
    shift_s: f64,
    /// Height over the noise of the correlation.
    height: f64,
    /// Correlation.
    likeness: f64,
}

/// Rounds in which what no line explains yet is looked at by itself.
const ROUNDS: usize = 3;
/// Shortest stretch that is looked at by itself, s.
const LOST_S: f64 = 15.0;
/// Longer ones are looked at in parts, s: bounds memory.
const LOST_MOST_S: f64 = 7200.0;

/// Rough clock lines of a unit, in time order; one per stretch without a clock step, none if nothing
/// agrees. `candidates` are those of the busiest stretches.
pub(crate) fn rough_lines(
    (reference, near): (&dyn Track, &Envelope),
    (unit, far): (&dyn Track, &Envelope),
    candidates: &[Candidate],
    params: &TieParams,
) -> Vec<Line> {
    let chance = ((far.value.len() + near.value.len()).max(2) as f64).ln();
    let Some((line, members)) = best_line(candidates, chance, params) else {
        return Vec::new();
    };
    let course = Course {
        near,
        far,
        near_gaps: reference.gaps(),
        far_gaps: unit.gaps(),
        likeness: likeness(&members),
        chance,
        step_cost: params.vote_margin,
    };
    let first = through(line, &members);
    let mut lines = vec![first];
    for _ in 0..ROUNDS {
        let spans = course.spans(&lines, true);
        let mut lost = course.lacking(&lines, &spans);
        lost.retain(|bins| bins.len() as f64 * near.step_s >= LOST_S);
        if course.spare_s(&lines, &spans) < LOST_S {
            lost.clear(); // the unit has nothing to put there
        }
        let mut lost = in_parts(&lost, (LOST_MOST_S / near.step_s) as usize); // a small positive number
        // silence is like anything
        lost.retain(|bins| near.value[bins.clone()].iter().any(|value| *value != 0.0)); // within the envelope
        lines = used(&lines, &spans);
        if !propose(
            first,
            &mut lines,
            candidates_of(near, far, &lost, 0..lost.len()),
        ) {
            break;
        }
    }
    let lines = course.with_small_steps(&lines, &course.spans(&lines, false));
    let spans = course.spans(&lines, false);
    let mut lines = course.placed(&lines, &spans);
    let (start_s, end_s) = reference.span_s();
    let (unit_start_s, unit_end_s) = unit.span_s();
    for line in &mut lines {
        line.from_ref_s = line.sure_s.0.max(start_s).max(line.ref_at_s(unit_start_s));
        line.to_ref_s = line.sure_s.1.min(end_s).min(line.ref_at_s(unit_end_s));
    }
    lines
}

/// Stretches, the longer ones cut into equal parts of so many bins at most.
fn in_parts(stretches: &[Range<usize>], most: usize) -> Vec<Range<usize>> {
    let parts = |stretch: &Range<usize>| {
        let length = stretch
            .len()
            .div_ceil(stretch.len().div_ceil(most.max(1)).max(1));
        let end = stretch.end;
        let starts = stretch.clone().step_by(length.max(1));
        starts.map(move |start| start..end.min(start + length))
    };
    stretches.iter().flat_map(parts).collect()
}

/// The line through its members, weighted by height; its drift is held near zero as far as they do not tell.
fn through(line: Line, members: &[Candidate]) -> Line {
    let weight = members
        .iter()
        .map(|c| c.height)
        .sum::<f64>()
        .max(f64::MIN_POSITIVE);
    let mean = |value: fn(&Candidate) -> f64| {
        members.iter().map(|c| c.height * value(c)).sum::<f64>() / weight
    };
    let (pivot_ref_s, shift_s) = (mean(|c| c.ref_s), mean(|c| c.shift_s));
    let (mut along, mut across) = ((CANDIDATE_SD_S / DRIFT_SD).powi(2), 0.0);
    for candidate in members {
        let since_s = candidate.ref_s - pivot_ref_s;
        along += since_s * since_s;
        across += since_s * (candidate.shift_s - shift_s);
    }
    Line {
        pivot_ref_s,
        shift_s,
        drift: across / along,
        ..line
    }
}

/// The lines of a course, each once.
fn used(lines: &[Line], spans: &[Span]) -> Vec<Line> {
    let is_used = |index: usize| spans.iter().any(|span| span.line == Some(index));
    let all = lines
        .iter()
        .enumerate()
        .filter(|(index, _)| is_used(*index));
    all.map(|(_, line)| *line).collect()
}

/// Adds the highest candidates as lines of a first one's drift; false where none is new.
fn propose(first: Line, lines: &mut Vec<Line>, mut candidates: Vec<Candidate>) -> bool {
    let known = lines.len();
    candidates.sort_by(|a, b| b.height.total_cmp(&a.height));
    for candidate in candidates {
        let line = Line {
            pivot_ref_s: candidate.ref_s,
            shift_s: candidate.shift_s,
            ..first
        };
        let is_known = lines.iter().any(|known| {
            (known.shift_at_s(candidate.ref_s) - candidate.shift_s).abs() < STEP_MIN_S
        });
        if lines.len() - known >= SHIFTS {
            break;
        }
        if !is_known {
            lines.push(line);
        }
    }
    lines.len() > known
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
        value: high_passed(&pooled, (params.session_trend_s / step_s) as usize), // saturating
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
pub(crate) fn high_passed(values: &[f32], half: usize) -> Vec<f32> {
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
    let mut deviations = Vec::with_capacity(values.len());
    for (index, value) in values.iter().enumerate() {
        if let Some(ahead) = values.get(index + half) {
            (sum, count) = (sum + of(*ahead).0, count + of(*ahead).1);
        }
        if let Some(left) = index
            .checked_sub(half + 1)
            .and_then(|left| values.get(left))
        {
            (sum, count) = (sum - of(*left).0, count - of(*left).1);
        }
        filled += of(*value).1;
        deviations.push(if value.is_nan() {
            0.0
        } else {
            (f64::from(*value) - sum / f64::from(count)) as f32 // envelope precision
        });
    }
    let power = deviations.iter().map(|d| f64::from(d * d)).sum::<f64>();
    let limit = (3.0 * (power / f64::from(filled.max(1))).sqrt()) as f32; // envelope precision
    for deviation in &mut deviations {
        *deviation = deviation.clamp(-limit, limit);
    }
    deviations
}

/// The busiest stretches of an envelope, in time order.
pub(crate) fn busiest(near: &Envelope, params: &TieParams) -> Vec<Range<usize>> {
    let span_s = near.value.len() as f64 * near.step_s;
    let stretches = (span_s / params.stretch_s).ceil().max(1.0);
    let length = ((span_s / stretches / near.step_s) as usize + 1).min(near.value.len().max(1)); // saturating
    let all = (0..near.value.len()).step_by(length);
    let mut stretches: Vec<Range<usize>> = all
        .map(|start| start..(start + length).min(near.value.len()))
        .collect();
    let energy = |stretch: &Range<usize>| -> f64 {
        let values = &near.value[stretch.clone()]; // within the envelope
        values.iter().map(|v| f64::from(v * v)).sum()
    };
    stretches.sort_by(|a, b| energy(b).total_cmp(&energy(a)));
    stretches.truncate(params.stretches_max as usize); // a whole number by its range
    stretches.sort_unstable_by_key(|stretch| stretch.start);
    stretches
}

/// Correlates some of the stretches of `near` with the whole of `far`.
pub(crate) fn candidates_of(
    near: &Envelope,
    far: &Envelope,
    stretches: &[Range<usize>],
    some: Range<usize>,
) -> Vec<Candidate> {
    let those = stretches.get(some.clone()).unwrap_or_default();
    // within the envelope
    let parts: Vec<&[f32]> = those.iter().map(|s| &near.value[s.clone()]).collect();
    let apart = (CANDIDATES_APART_S / near.step_s) as usize; // a small positive number
    let mut candidates = Vec::new();
    let best = best_shifts(&far.value, &parts, apart);
    for ((stretch, part), shifts) in some.zip(&parts).zip(best) {
        let share = match (shifts.first(), shifts.get(SHIFTS - 1)) {
            (Some(first), Some(last)) => last.likeness / first.likeness,
            _ => 0.0,
        };
        if share > EQUAL_SHARE {
            continue; // motion that repeats itself fits anywhere
        }
        let start_s = near.start_s + stretches[stretch].start as f64 * near.step_s; // one per part
        candidates.extend(shifts.into_iter().map(|shift| Candidate {
            stretch,
            ref_s: start_s + 0.5 * part.len() as f64 * near.step_s,
            shift_s: far.start_s + shift.at * far.step_s - start_s,
            height: shift.likeness / shift.spread,
            likeness: shift.likeness,
        }));
    }
    candidates
}

/// How alike two envelopes are where they are aligned.
fn likeness(members: &[Candidate]) -> f64 {
    let each: Vec<f64> = members.iter().map(|c| c.likeness).collect();
    math::median(&each).unwrap_or(0.0).clamp(0.1, 0.9)
}

pub(crate) fn prefix_energy(values: &[f32]) -> Vec<f64> {
    std::iter::once(0.0)
        .chain(values.iter().scan(0.0, |sum, v| {
            *sum += f64::from(v * v);
            Some(*sum)
        }))
        .collect()
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
    let members = members_of(&line, candidates, params);
    // another line for other stretches is a step, for the same ones it is a rival
    let same: Vec<Candidate> = candidates
        .iter()
        .filter(|c| members.iter().any(|m| m.stretch == c.stretch))
        .copied()
        .collect();
    let rival = hypotheses
        .iter()
        .filter(|(_, other)| {
            (other.shift_at_s(line.pivot_ref_s) - line.shift_s).abs()
                > 4.0 * params.vote_tolerance_s
        })
        .map(|(_, other)| scored(*other, &same, params).0)
        .fold(0.0, f64::max);
    let clear = top >= 2.0 * chance + params.vote_margin && top >= rival + params.vote_margin;
    clear.then_some((line, members))
}

fn line_through(a: &Candidate, b: Option<&Candidate>) -> Line {
    let drift = b.map_or(0.0, |b| (b.shift_s - a.shift_s) / (b.ref_s - a.ref_s));
    Line {
        from_ref_s: a.ref_s,
        to_ref_s: a.ref_s,
        sure_s: (f64::MIN, f64::MAX),
        asked_s: (f64::MIN, f64::MAX),
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
