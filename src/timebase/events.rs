//! Events both units feel: where to look for them, and when each unit felt them.

use std::io;

use super::align::Line;
use super::delay::{self, GridWindow};
use super::gesture;
use super::tie::Evidence;
use super::tie_params::TieParams;
use super::track::Track;

/// A place worth a close look, reference clock.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Candidate {
    pub ref_s: f64,
    pub strength: f64,
    pub gesture: bool,
    /// True where the two units turn alike, as a stack does.
    pub one_body: bool,
}

/// One event timed on both clocks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Sighting {
    pub ref_s: f64,
    pub unit_s: f64,
    pub sd_s: f64,
    pub kind: Evidence,
    pub gesture: bool,
    /// Which rough line it was looked for by.
    pub line: usize,
}

/// Both units' envelopes over one stretch, bin by bin on the reference's grid.
pub(crate) struct Pair {
    pub start_s: f64,
    pub step_s: f64,
    pub near: Vec<Bin>,
    pub far: Vec<Bin>,
}

/// One bin of a coarse track; all 0 where there is nothing.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Bin {
    pub force_max_m_s2: f64,
    pub force_mean_m_s2: f64,
    pub rate_max_rad_s: f64,
}

impl Pair {
    pub fn time_s(&self, index: usize) -> f64 {
        self.start_s + (index as f64 + 0.5) * self.step_s
    }
}

/// Reads both envelopes over `from_s..to_s` of the reference clock, the unit's moved by the line.
pub(crate) fn read_pair(
    reference: &dyn Track,
    unit: &dyn Track,
    line: &Line,
    from_s: f64,
    to_s: f64,
) -> io::Result<Pair> {
    let near = reference.coarse(from_s, to_s)?;
    let shift_s = line.shift_at_s(0.5 * (from_s + to_s));
    let far = unit.coarse(from_s + shift_s, to_s + shift_s)?;
    let bin = |track: &super::CoarseTrack, index: usize| Bin {
        force_max_m_s2: track
            .force_max_m_s2
            .get(index)
            .copied()
            .map_or(0.0, f64::from),
        force_mean_m_s2: track
            .force_mean_m_s2
            .get(index)
            .copied()
            .map_or(0.0, f64::from),
        rate_max_rad_s: track
            .rate_max_rad_s
            .get(index)
            .copied()
            .map_or(0.0, f64::from),
    };
    let count = near.force_max_m_s2.len();
    let moved = (near.start_s + shift_s - far.start_s) / near.step_s.max(1e-3);
    let far_bins = (0..count)
        .map(|index| {
            let there = (index as f64 + moved).round();
            if there < 0.0 {
                Bin::default()
            } else {
                bin(&far, there as usize) // not negative
            }
        })
        .collect();
    Ok(Pair {
        start_s: near.start_s,
        step_s: near.step_s,
        near: (0..count).map(|index| bin(&near, index)).collect(),
        far: far_bins,
    })
}

/// Force above its surroundings' mean (80 ms to each side), per bin.
pub(crate) fn sharpness(bins: &[Bin]) -> Vec<f64> {
    const AROUND: usize = 8;
    (0..bins.len())
        .map(|index| {
            let around = &bins[index.saturating_sub(AROUND)..(index + AROUND + 1).min(bins.len())];
            let mean = around.iter().map(|b| b.force_mean_m_s2).sum::<f64>() / around.len() as f64;
            if bins[index].force_max_m_s2 > 0.0 {
                bins[index].force_max_m_s2 - mean
            } else {
                0.0
            }
        })
        .collect()
}

/// The places to look closely along one line: every gesture, and the clearest shocks of every cell.
pub(crate) fn candidates(
    reference: &dyn Track,
    unit: &dyn Track,
    line: &Line,
    params: &TieParams,
) -> io::Result<Vec<Candidate>> {
    let mut shocks = Vec::new();
    let mut lone = Vec::new();
    let mut landings = Vec::new();
    let mut from_s = line.from_ref_s;
    while from_s < line.to_ref_s {
        let to_s = (from_s + params.cell_s).min(line.to_ref_s);
        let pair = read_pair(reference, unit, line, from_s - 1.0, to_s + 1.0)?;
        let inside = |c: &Candidate| (from_s..to_s).contains(&c.ref_s);
        let mut here: Vec<Candidate> = shocks_of(&pair, params)
            .into_iter()
            .filter(inside)
            .collect();
        here.sort_by(|a, b| b.strength.total_cmp(&a.strength));
        here.truncate(params.events_per_cell as usize); // a whole number by its range
        shocks.extend(here);
        lone.extend(
            gesture::lone_spikes(&pair, params)
                .into_iter()
                .filter(inside),
        );
        landings.extend(
            gesture::jump_landings(&pair, params)
                .into_iter()
                .filter(inside),
        );
        from_s = to_s;
    }
    let mut all = gesture::grouped(&lone, params);
    all.extend(landings);
    let stride = (shocks.len() as f64 / params.events_max).ceil().max(1.0) as usize; // small
    for shock in shocks.into_iter().step_by(stride) {
        if all.iter().all(|g| (g.ref_s - shock.ref_s).abs() > 0.1) {
            all.push(shock);
        }
    }
    all.sort_by(|a, b| a.ref_s.total_cmp(&b.ref_s));
    Ok(all)
}

/// Shocks that stand out on both units.
fn shocks_of(pair: &Pair, params: &TieParams) -> Vec<Candidate> {
    let near = sharpness(&pair.near);
    let far = sharpness(&pair.far);
    gesture::common_maxima(&near, &far, params.shock_min_m_s2)
        .into_iter()
        .map(|(index, near_force, far_force)| Candidate {
            ref_s: pair.time_s(index),
            strength: standing_out(&near, index, near_force) * standing_out(&far, index, far_force),
            gesture: false,
            one_body: false,
        })
        .collect()
}

/// A peak over the mean of what lies 50 to 500 ms away.
fn standing_out(sharp: &[f64], index: usize, peak: f64) -> f64 {
    let (inner, outer) = (5, 50);
    let around: f64 = (inner..=outer)
        .flat_map(|k| [index.checked_sub(k), index.checked_add(k)])
        .flatten()
        .filter_map(|i| sharp.get(i))
        .map(|v| v.max(0.0))
        .sum();
    peak / (1.0 + around / (2.0 * (outer - inner + 1) as f64))
}

/// Times one candidate on both clocks; `None` where the two windows do not tell.
pub(crate) fn refine(
    reference: &dyn Track,
    unit: &dyn Track,
    line: &Line,
    line_index: usize,
    candidate: &Candidate,
    params: &TieParams,
) -> io::Result<Option<Sighting>> {
    const MARGIN_S: f64 = 0.15;
    let slower_hz = reference.rate_hz().min(unit.rate_hz());
    let rate_hz = (2.0 * reference.rate_hz().max(unit.rate_hz())).min(2000.0);
    let high_hz = params.shock_band_high_hz.min(0.45 * slower_hz);
    let low_hz = params.shock_band_low_hz.min(0.5 * high_hz);
    let bandwidth_hz = high_hz - low_hz;
    let (half_s, reach_s) = (params.event_half_s, params.event_reach_s);
    let middle_s = candidate.ref_s + line.shift_at_s(candidate.ref_s);

    let Some(near) = filtered(
        reference,
        candidate.ref_s,
        half_s + MARGIN_S,
        rate_hz,
        (low_hz, high_hz),
    )?
    else {
        return Ok(None);
    };
    let Some(far) = filtered(
        unit,
        middle_s,
        half_s + reach_s + MARGIN_S,
        rate_hz,
        (low_hz, high_hz),
    )?
    else {
        return Ok(None);
    };
    let (near, far) = (cropped(&near, MARGIN_S), cropped(&far, MARGIN_S));
    let (near_env, far_env) = (delay::envelope(&near), delay::envelope(&far));
    let Some(outline) = delay::sliding_delay(&near_env, &far_env, rate_hz, bandwidth_hz) else {
        return Ok(None);
    };
    let near_peak = near_env.iter().copied().fold(0.0, f64::max);
    let far_peak = far_env.iter().copied().fold(0.0, f64::max);
    let ratio = (near_peak / far_peak.max(f64::MIN_POSITIVE)).ln();
    let stacked = (candidate.one_body && ratio.abs() < params.stacked_gain_slack)
        .then(|| delay::vector_delay(&near, &far, outline.lag_s, 5e-3, bandwidth_hz))
        .flatten()
        .filter(|d| d.correlation >= params.stacked_likeness_min);
    let (found, kind) = match stacked {
        Some(found) => (found, Evidence::Stacked),
        None if outline.correlation < params.shock_correlation_min => return Ok(None),
        None if ratio > 0.0 => (outline, Evidence::ShockFromReference),
        None => (outline, Evidence::ShockFromUnit),
    };
    Ok(Some(Sighting {
        ref_s: candidate.ref_s,
        unit_s: candidate.ref_s + far.start_s + found.lag_s - near.start_s,
        sd_s: found.sd_s,
        kind,
        gesture: candidate.gesture,
        line: line_index,
    }))
}

fn filtered(
    track: &dyn Track,
    middle_s: f64,
    half_s: f64,
    rate_hz: f64,
    (low_hz, high_hz): (f64, f64),
) -> io::Result<Option<GridWindow>> {
    let lead_s = 16.0 / track.rate_hz();
    let samples = track.window(middle_s - half_s - lead_s, middle_s + half_s + lead_s)?;
    let count = (2.0 * half_s * rate_hz) as usize; // parameters and a capped rate: small
    Ok(delay::on_grid(&samples, middle_s - half_s, count, rate_hz)
        .map(|window| delay::band_passed(&window, low_hz, high_hz)))
}

fn cropped(window: &GridWindow, margin_s: f64) -> GridWindow {
    let cut = ((margin_s * window.rate_hz) as usize).min(window.xyz.len() / 2);
    GridWindow {
        start_s: window.start_s + cut as f64 / window.rate_hz,
        rate_hz: window.rate_hz,
        xyz: window.xyz[cut..window.xyz.len() - cut].to_vec(),
        clipped: window.clipped,
    }
}
