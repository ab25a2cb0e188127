//! Second alignment: all units together, to some ten milliseconds, on the coarse tracks' own step.
//!
//! Between two clock steps of any unit all clocks are lines: an epoch. In it every pair of units is
//! compared by how suddenly force rises, chunk by chunk; the chunks' correlations are added along
//! lines of every drift left open. Neighbours on the body agree best, so each unit's line is taken
//! along the chain of pairs that agree best, not straight from the reference.

use std::io;

use super::align::{Envelope, Line, high_passed, prefix_energy};
use super::front::side_by_side;
use super::tie_params::TieParams;
use super::track::Track;

/// Steps of the search for the best sum, s.
const STEP_S: f64 = 0.005;

/// A stretch of the session in which no clock steps.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Epoch {
    pub from_ref_s: f64,
    pub to_ref_s: f64,
    /// Index of the reference unit.
    pub reference: usize,
    /// Rough line of every unit that is tied here; the reference's is zero.
    pub lines: Vec<Option<Line>>,
    /// Which of its unit's clock pieces each line belongs to.
    pub pieces: Vec<usize>,
}

/// Cuts the session where any unit's clock steps. `lines` holds every unit's rough lines.
pub(crate) fn epochs(lines: &[Vec<Line>], reference: usize, params: &TieParams) -> Vec<Epoch> {
    let mut cuts: Vec<f64> = lines
        .iter()
        .flatten()
        .flat_map(|l| [l.from_ref_s, l.to_ref_s])
        .collect();
    cuts.sort_by(f64::total_cmp);
    cuts.windows(2)
        .filter(|pair| pair[1] - pair[0] >= params.epoch_min_s)
        .map(|pair| {
            let middle_s = 0.5 * (pair[0] + pair[1]);
            let holding = |unit: &Vec<Line>| {
                unit.iter()
                    .position(|l| (l.from_ref_s..=l.to_ref_s).contains(&middle_s))
            };
            let pieces: Vec<Option<usize>> = lines.iter().map(holding).collect();
            Epoch {
                from_ref_s: pair[0],
                to_ref_s: pair[1],
                reference,
                lines: lines
                    .iter()
                    .zip(&pieces)
                    .map(|(unit, piece)| piece.and_then(|p| unit.get(p)).copied())
                    .collect(),
                pieces: pieces.into_iter().map(|p| p.unwrap_or(0)).collect(),
            }
        })
        .filter(|epoch| epoch.lines.iter().flatten().count() > 1)
        .collect()
}

/// Correction of one unit's line against another's, and how well the two agree.
#[derive(Debug, Clone, Copy)]
struct Link {
    near: usize,
    far: usize,
    agreement: f64,
    at_middle_s: f64,
    drift: f64,
}

/// Refines the lines of an epoch. `fixed` units keep theirs.
pub(crate) fn refine(
    tracks: &[&dyn Track],
    epoch: &mut Epoch,
    fixed: &[bool],
    params: &TieParams,
    jobs: usize,
) -> io::Result<()> {
    let chunks = chunk_bounds(epoch, params);
    let units: Vec<(&dyn Track, &Option<Line>)> =
        tracks.iter().copied().zip(&epoch.lines).collect();
    let features = side_by_side(&units, jobs, |(track, line)| {
        chunks
            .iter()
            .map(|bounds| match line {
                Some(line) => feature(*track, line, *bounds, params).map(Some),
                None => Ok(None),
            })
            .collect()
    })
    .into_iter()
    .collect::<io::Result<Vec<Vec<Option<Feature>>>>>()?;
    let present: Vec<usize> = (0..tracks.len())
        .filter(|&u| epoch.lines[u].is_some())
        .collect();
    let mut pairs = Vec::new();
    for (index, &near) in present.iter().enumerate() {
        let others = present[index + 1..].iter().map(|&far| (near, far));
        pairs.extend(others.filter(|&(near, far)| !(fixed[near] && fixed[far])));
    }
    let found = side_by_side(&pairs, jobs, |&(near, far)| {
        link(near, far, &features, epoch, params)
    });
    let mut links: Vec<Link> = found.into_iter().flatten().collect();
    links.sort_by(|a, b| b.agreement.total_cmp(&a.agreement));
    follow(&links, epoch, fixed);
    Ok(())
}

/// Chunks spread over the epoch, no more than needed.
fn chunk_bounds(epoch: &Epoch, params: &TieParams) -> Vec<(f64, f64)> {
    let length_s = epoch.to_ref_s - epoch.from_ref_s;
    let all = (length_s / params.chunk_s).ceil().max(1.0);
    let stride = (all / params.chunks_max).ceil().max(1.0);
    (0..all as usize) // a session's length over seconds: small
        .step_by(stride as usize)
        .map(|index| {
            let from_s = epoch.from_ref_s + index as f64 * params.chunk_s;
            (from_s, (from_s + params.chunk_s).min(epoch.to_ref_s))
        })
        .collect()
}

/// One unit's envelope over one chunk, on the reference clock by its rough line.
struct Feature {
    middle_ref_s: f64,
    envelope: Envelope,
}

fn feature(
    track: &dyn Track,
    line: &Line,
    (from_s, to_s): (f64, f64),
    params: &TieParams,
) -> io::Result<Feature> {
    let middle_ref_s = 0.5 * (from_s + to_s);
    let shift_s = line.shift_at_s(middle_ref_s);
    let reach_s = params.epoch_reach_s + 0.05;
    let mut envelope = sudden_force(
        track,
        from_s + shift_s - reach_s,
        to_s + shift_s + reach_s,
        params,
    )?;
    envelope.start_s -= shift_s;
    Ok(Feature {
        middle_ref_s,
        envelope,
    })
}

/// Correlation of one chunk by lag of the far unit.
struct Chunk {
    middle_ref_s: f64,
    first_s: f64,
    step_s: f64,
    scores: Vec<f64>,
}

impl Chunk {
    fn of(near: &Feature, far: &Feature, params: &TieParams) -> Option<Self> {
        let (a, b) = (&near.envelope, &far.envelope);
        let spare = ((params.epoch_reach_s + 0.05) / a.step_s) as usize; // a parameter over a bin
        let short = a.value.get(spare..a.value.len().checked_sub(spare)?)?;
        if short.len() < 100 || b.value.len() <= short.len() {
            return None;
        }
        let own: f64 = short.iter().map(|v| f64::from(v * v)).sum();
        let energy = prefix_energy(&b.value);
        let scores = (0..=b.value.len() - short.len())
            .map(|lag| {
                let there = energy[lag + short.len()] - energy[lag];
                let part = &b.value[lag..lag + short.len()];
                f64::from(product(short, part)) / (own * there).sqrt().max(f64::MIN_POSITIVE)
            })
            .collect();
        Some(Self {
            middle_ref_s: near.middle_ref_s,
            first_s: b.start_s - (a.start_s + spare as f64 * a.step_s),
            step_s: a.step_s,
            scores,
        })
    }

    /// Score at a lag, linear between bins.
    fn score_at(&self, lag_s: f64) -> f64 {
        let position = (lag_s - self.first_s) / self.step_s;
        let index = position.max(0.0) as usize; // not negative
        match (self.scores.get(index), self.scores.get(index + 1)) {
            (Some(a), Some(b)) if position >= 0.0 => a + (b - a) * position.fract(),
            _ => 0.0,
        }
    }
}

/// Scalar product, summed in lanes of a fixed order.
fn product(a: &[f32], b: &[f32]) -> f32 {
    const LANES: usize = 16;
    let ((a, a_rest), (b, b_rest)) = (a.as_chunks::<LANES>(), b.as_chunks::<LANES>());
    let lanes = a
        .iter()
        .zip(b)
        .fold([0.0; LANES], |sums: [f32; LANES], (a, b)| {
            std::array::from_fn(|lane| sums[lane] + a[lane] * b[lane])
        });
    let rest = a_rest.iter().zip(b_rest).map(|(a, b)| a * b);
    lanes.into_iter().chain(rest).sum()
}

/// The lag and drift along which the chunks' scores add up highest.
fn link(
    near: usize,
    far: usize,
    features: &[Vec<Option<Feature>>],
    epoch: &Epoch,
    params: &TieParams,
) -> Option<Link> {
    let chunks: Vec<Chunk> = features[near]
        .iter()
        .zip(&features[far])
        .filter_map(|pair| match pair {
            (Some(a), Some(b)) => Chunk::of(a, b, params),
            _ => None,
        })
        .collect();
    let middle_s = 0.5 * (epoch.from_ref_s + epoch.to_ref_s);
    let half_s = (0.5 * (epoch.to_ref_s - epoch.from_ref_s)).max(1.0);
    // corrections at the middle, and at the end relative to the middle
    let bends = (params.drift_max * half_s).min(params.epoch_reach_s) / STEP_S;
    let (bends, lags) = (
        bends.ceil() as i32,
        (params.epoch_reach_s / STEP_S) as i32, // small by their ranges
    );
    let mut best: Option<(f64, f64, f64)> = None;
    for bend in -bends..=bends {
        let bend_s = f64::from(bend) * STEP_S;
        for lag in -lags..=lags {
            let lag_s = f64::from(lag) * STEP_S;
            let at = |c: &Chunk| lag_s + bend_s * (c.middle_ref_s - middle_s) / half_s;
            let score: f64 = chunks.iter().map(|c| c.score_at(at(c))).sum();
            if best.is_none_or(|b| score > b.0) {
                best = Some((score, lag_s, bend_s));
            }
        }
    }
    best.map(|(score, lag_s, bend_s)| Link {
        near,
        far,
        agreement: score / chunks.len().max(1) as f64,
        at_middle_s: lag_s,
        drift: bend_s / half_s,
    })
}

/// Corrects every unit's line along the best chain from the reference: links in falling agreement
/// join whatever is not yet joined (Kruskal 1956).
fn follow(links: &[Link], epoch: &mut Epoch, fixed: &[bool]) {
    let middle_s = 0.5 * (epoch.from_ref_s + epoch.to_ref_s);
    // correction of each unit relative to its group, and the group it stands in
    let mut group: Vec<usize> = (0..epoch.lines.len()).collect();
    let mut correction = vec![(0.0, 0.0); epoch.lines.len()];
    for (unit, is_fixed) in fixed.iter().enumerate() {
        if *is_fixed {
            group[unit] = epoch.reference;
        }
    }
    for l in links {
        let (near_group, far_group) = (group[l.near], group[l.far]);
        if near_group == far_group {
            continue;
        }
        // move the group without the reference
        let keep_near = far_group != epoch.reference;
        let step = (
            correction[l.near].0 + l.at_middle_s - correction[l.far].0,
            correction[l.near].1 + l.drift - correction[l.far].1,
        );
        let (kept, moved, sign) = if keep_near {
            (near_group, far_group, 1.0)
        } else {
            (far_group, near_group, -1.0)
        };
        for unit in 0..group.len() {
            if group[unit] == moved {
                correction[unit].0 += sign * step.0;
                correction[unit].1 += sign * step.1;
                group[unit] = kept;
            }
        }
    }
    for (line, (at_middle_s, drift)) in epoch.lines.iter_mut().zip(correction) {
        if let Some(line) = line {
            *line = Line {
                pivot_ref_s: middle_s,
                shift_s: line.shift_at_s(middle_s) + at_middle_s,
                drift: line.drift + drift,
                ..*line
            };
        }
    }
}

/// How suddenly the force rises inside and around each bin: what shocks do and swings do not.
fn sudden_force(
    track: &dyn Track,
    from_s: f64,
    to_s: f64,
    params: &TieParams,
) -> io::Result<Envelope> {
    let coarse = track.coarse(from_s, to_s)?;
    let means = &coarse.force_mean_m_s2;
    let values: Vec<f32> = coarse
        .force_max_m_s2
        .iter()
        .enumerate()
        .map(|(index, &most)| {
            let around = &means[index.saturating_sub(1)..(index + 2).min(means.len())];
            if most <= 0.0 || around.is_empty() {
                return f32::NAN;
            }
            let mean = around.iter().sum::<f32>() / around.len() as f32; // at most three
            (most - mean).max(0.0).ln_1p()
        })
        .collect();
    let trend_bins = (params.chunk_trend_s / coarse.step_s.max(1e-3)) as usize; // a parameter over a bin
    Ok(Envelope {
        start_s: coarse.start_s + 0.5 * coarse.step_s,
        step_s: coarse.step_s,
        value: high_passed(&values, trend_bins),
    })
}
