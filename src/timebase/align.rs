//! First alignment: from hours of unknown offset down to about ten milliseconds, on envelopes alone.
//!
//! Activity (how hard and how fast, on a logarithmic scale) rises and falls on all units together.
//! Stretches of the reference are correlated with the whole of the unit; each leaves a few candidate
//! shifts, and a vote over lines `shift = offset + drift * time` decides. Nothing here is good enough
//! to time a chain by, and nothing here reaches the result: it only says where to look.

use std::io;
use std::ops::Range;
use std::sync::Arc;

use rustfft::{Fft, FftPlanner, num_complex::Complex};

use super::align_steps::{Course, Span};
use super::tie_params::TieParams;
use super::track::Track;
use crate::math;
use crate::units::STANDARD_GRAVITY_M_S2;

/// Longest stretch of envelope read back at once, s: bounds memory, changes no result.
const READ_S: f64 = 600.0;
/// Candidates kept per stretch.
const CANDIDATES: usize = 5;
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
struct Candidate {
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

/// Rough clock lines of a unit, in time order; one per stretch without a clock step, none if nothing
/// agrees.
pub(crate) fn rough_lines(
    (reference, near): (&dyn Track, &Envelope),
    (unit, far): (&dyn Track, &Envelope),
    params: &TieParams,
) -> Vec<Line> {
    let candidates = candidates_of(near, far, &busiest(near, params));
    let chance = ((far.value.len() + near.value.len()).max(2) as f64).ln();
    let Some((line, members)) = best_line(&candidates, chance, params) else {
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
        lines = used(&lines, &spans);
        lost.retain(|bins| bins.len() as f64 * near.step_s >= LOST_S);
        if !propose(first, &mut lines, candidates_of(near, far, &lost)) {
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
        if lines.len() - known >= CANDIDATES {
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
    let mut sums = vec![(0.0_f64, 0_u32); values.len() + 1];
    for (index, value) in values.iter().enumerate() {
        let (sum, count) = sums[index]; // sums is one longer than values
        sums[index + 1] = if value.is_nan() {
            (sum, count)
        } else {
            (sum + f64::from(*value), count + 1)
        };
    }
    let mut deviations: Vec<f32> = values
        .iter()
        .enumerate()
        .map(|(index, value)| {
            let (low, high) = (
                sums[index.saturating_sub(half)],
                sums[(index + half + 1).min(values.len())],
            );
            let count = high.1 - low.1;
            if value.is_nan() || count == 0 {
                0.0
            } else {
                (f64::from(*value) - (high.0 - low.0) / f64::from(count)) as f32 // envelope precision
            }
        })
        .collect();
    let power = deviations.iter().map(|d| f64::from(d * d)).sum::<f64>();
    let filled = f64::from(sums.last().map_or(1, |s| s.1).max(1));
    let limit = (3.0 * (power / filled).sqrt()) as f32; // envelope precision
    for deviation in &mut deviations {
        *deviation = deviation.clamp(-limit, limit);
    }
    deviations
}

/// The busiest stretches of an envelope, in time order.
fn busiest(near: &Envelope, params: &TieParams) -> Vec<Range<usize>> {
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

/// Correlates stretches of `near` with the whole of `far`.
fn candidates_of(near: &Envelope, far: &Envelope, stretches: &[Range<usize>]) -> Vec<Candidate> {
    let Some(length) = stretches.iter().map(Range::len).max() else {
        return Vec::new();
    };
    let correlator = Correlator::new(&far.value, length);
    let far_energy = prefix_energy(&far.value);
    let mut candidates = Vec::new();
    for (pair, stretches) in stretches.chunks(2).enumerate() {
        // within the envelope
        let parts: Vec<&[f32]> = stretches.iter().map(|s| &near.value[s.clone()]).collect();
        let both = correlator.against(&parts);
        for (which, (stretch, part)) in stretches.iter().zip(parts).enumerate() {
            let (scores, spread) = normalised(&both, which, length, part, &far_energy);
            let ref_start_s = near.start_s + stretch.start as f64 * near.step_s;
            for (lag, height) in highest_peaks(&scores, (2.0 / near.step_s) as usize) {
                candidates.push(Candidate {
                    stretch: 2 * pair + which,
                    ref_s: ref_start_s + 0.5 * part.len() as f64 * near.step_s,
                    shift_s: far.start_s + (lag - part.len() as f64) * far.step_s - ref_start_s,
                    height,
                    likeness: height * spread,
                });
            }
        }
    }
    candidates
}

/// How alike two envelopes are where they are aligned.
fn likeness(members: &[Candidate]) -> f64 {
    let each: Vec<f64> = members.iter().map(|c| c.likeness).collect();
    math::median(&each).unwrap_or(0.0).clamp(0.1, 0.9)
}

/// A whole envelope made ready to be correlated with short parts of another, block by block, so that
/// what a transform needs does not grow with the log. Source of the blocks: overlap-save, Oppenheim &
/// Schafer, Discrete-Time Signal Processing, 8.7.3.
struct Correlator {
    /// Longest part.
    length: usize,
    /// Lags: minus the length up to the whole's end.
    lags: usize,
    forward: Arc<dyn Fft<f32>>,
    inverse: Arc<dyn Fft<f32>>,
    /// Transforms of the blocks.
    blocks: Vec<Vec<Complex<f32>>>,
}

impl Correlator {
    fn new(whole: &[f32], length: usize) -> Self {
        let size = (4 * length).next_power_of_two();
        let mut planner = FftPlanner::<f32>::new();
        let forward = planner.plan_fft_forward(size);
        // room before the whole for parts that begin earlier
        let at = |place: usize| {
            let value = place.checked_sub(length).and_then(|i| whole.get(i));
            Complex::new(value.copied().unwrap_or(0.0), 0.0)
        };
        let lags = whole.len() + length;
        let blocks = (0..lags).step_by(size - length).map(|from| {
            let mut block: Vec<Complex<f32>> = (from..from + size).map(at).collect();
            forward.process(&mut block);
            block
        });
        Self {
            length,
            lags,
            blocks: blocks.collect(),
            inverse: planner.plan_fft_inverse(size),
            forward,
        }
    }

    /// Correlations by lag of one part (real) and a second one (minus the imaginary part): both are
    /// real, so one transform serves two.
    fn against(&self, parts: &[&[f32]]) -> Vec<Complex<f32>> {
        let size = self.forward.len();
        let value = |part: usize, index: usize| {
            let part = parts.get(part).and_then(|part| part.get(index));
            part.copied().unwrap_or(0.0)
        };
        let mut both: Vec<Complex<f32>> = (0..size)
            .map(|index| Complex::new(value(0, index), value(1, index)))
            .collect();
        self.forward.process(&mut both);
        let scale = 1.0 / size as f32; // a power of two
        let mut out = Vec::with_capacity(self.lags);
        let mut product = vec![Complex::default(); size];
        for block in &self.blocks {
            for ((into, whole), part) in product.iter_mut().zip(block).zip(&both) {
                *into = whole * part.conj() * scale;
            }
            self.inverse.process(&mut product);
            let wanted = (size - self.length).min(self.lags - out.len());
            out.extend_from_slice(&product[..wanted]); // below the size
        }
        out
    }
}

pub(crate) fn prefix_energy(values: &[f32]) -> Vec<f64> {
    std::iter::once(0.0)
        .chain(values.iter().scan(0.0, |sum, v| {
            *sum += f64::from(v * v);
            Some(*sum)
        }))
        .collect()
}

/// Correlation coefficients by lag, the first lag being minus the stretch's length, over their own
/// robust spread, and that. `both` are the correlations of two stretches, the first lag minus `length`; `which` is
/// the one meant.
fn normalised(
    both: &[Complex<f32>],
    which: usize,
    length: usize,
    part: &[f32],
    far_energy: &[f64],
) -> (Vec<f64>, f64) {
    let far_len = far_energy.len() - 1; // prefix sums are one longer
    let own: f64 = part.iter().map(|v| f64::from(v * v)).sum();
    let of_part = both.iter().skip(length - part.len());
    let mut scores: Vec<f64> = (0..far_len + part.len())
        .zip(of_part)
        .map(|(shifted, both)| {
            let sum = if which == 0 { both.re } else { -both.im };
            let from = shifted.saturating_sub(part.len()).min(far_len);
            let to = shifted.min(far_len);
            let there = (far_energy[to] - far_energy[from]).max(0.25 * own);
            f64::from(sum) / (own * there).sqrt().max(f64::MIN_POSITIVE)
        })
        .collect();
    let spread = math::mad_sd(&scores).unwrap_or(0.0).max(1e-3);
    for score in &mut scores {
        *score /= spread;
    }
    (scores, spread)
}

/// The highest local maxima at least `apart` bins from one another: position and height.
fn highest_peaks(scores: &[f64], apart: usize) -> Vec<(f64, f64)> {
    let maxima = math::local_maxima(scores);
    let higher = |a: usize, b: usize| {
        if scores[b].total_cmp(&scores[a]).is_gt() {
            b
        } else {
            a
        }
    };
    let mut kept: Vec<usize> = Vec::new();
    while kept.len() < CANDIDATES {
        // a few passes cost less than the order of all
        let free = maxima.iter().copied().filter(|&index| {
            kept.iter()
                .all(|&other: &usize| index.abs_diff(other) >= apart)
        });
        let Some(next) = free.reduce(higher) else {
            break;
        };
        kept.push(next);
    }
    kept.iter()
        .map(|&i| {
            // local maxima are never at an end
            let vertex = math::parabola_vertex(scores[i - 1], scores[i], scores[i + 1]);
            (i as f64 + vertex.map_or(0.0, |v| v.offset), scores[i])
        })
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
