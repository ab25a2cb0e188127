//! Sync gestures: spikes out of stillness (taps on the stack, heel drops) and jumps.

use super::events::{Bin, Candidate, Pair, sharpness};
use super::tie_params::TieParams;
use crate::units::STANDARD_GRAVITY_M_S2;

/// Bins by which two units' peaks may stand apart after rough alignment.
const NEAR_BINS: usize = 3;

/// Local maxima of `near` (over 150 ms to each side) that `far` shares: index and both heights.
pub(crate) fn common_maxima(near: &[f64], far: &[f64], least: f64) -> Vec<(usize, f64, f64)> {
    const APART: usize = 15;
    (0..near.len())
        .filter(|&i| near[i] >= least)
        .filter(|&i| {
            let around = &near[i.saturating_sub(APART)..(i + APART + 1).min(near.len())];
            around.iter().all(|v| *v <= near[i])
        })
        .filter_map(|i| {
            let close = &far[i.saturating_sub(NEAR_BINS)..(i + NEAR_BINS + 1).min(far.len())];
            let peak = close.iter().copied().fold(0.0, f64::max);
            (peak >= least).then_some((i, near[i], peak))
        })
        .collect()
}

/// Spikes on both units with stillness on both around them.
pub(crate) fn lone_spikes(pair: &Pair, params: &TieParams) -> Vec<Candidate> {
    const FROM: usize = 6;
    const TO: usize = 15;
    let still = |bins: &[Bin], index: usize| {
        (FROM..=TO)
            .flat_map(|k| [index.checked_sub(k), index.checked_add(k)])
            .all(|i| {
                i.and_then(|i| bins.get(i))
                    .is_some_and(|bin| is_still(bin, params))
            })
    };
    common_maxima(
        &sharpness(&pair.near),
        &sharpness(&pair.far),
        params.shock_min_m_s2,
    )
    .into_iter()
    .filter(|&(index, ..)| still(&pair.near, index) && still(&pair.far, index))
    .map(|(index, near, far)| Candidate {
        ref_s: pair.time_s(index),
        strength: near * far,
        gesture: true,
        one_body: turn_as_one(pair, index, params),
    })
    .collect()
}

/// True where both units turn at the same rate for a second to each side, as a rigid stack must.
fn turn_as_one(pair: &Pair, index: usize, params: &TieParams) -> bool {
    const AROUND: usize = 100;
    let range = index.saturating_sub(AROUND)..(index + AROUND + 1).min(pair.near.len());
    pair.near[range.clone()]
        .iter()
        .zip(&pair.far[range])
        .all(|(a, b)| {
            let larger = a.rate_max_rad_s.max(b.rate_max_rad_s);
            (a.rate_max_rad_s - b.rate_max_rad_s).abs()
                <= params.stacked_rate_slack_rad_s + params.stacked_gain_slack * larger
        })
}

fn is_still(bin: &Bin, params: &TieParams) -> bool {
    bin.force_max_m_s2 > 0.0
        && (bin.force_max_m_s2 - STANDARD_GRAVITY_M_S2).abs() < params.still_force_m_s2
        && bin.rate_max_rad_s < params.still_rate_rad_s
}

/// Spikes that have company: enough of them, none further than the spacing from the next.
pub(crate) fn grouped(lone: &[Candidate], params: &TieParams) -> Vec<Candidate> {
    let mut kept = Vec::new();
    for group in lone.chunk_by(|a, b| b.ref_s - a.ref_s <= params.gesture_spacing_s) {
        if group.len() as f64 >= params.gesture_spikes_min {
            kept.extend_from_slice(group);
        }
    }
    kept
}

/// Landings after a flight that both units share.
pub(crate) fn jump_landings(pair: &Pair, params: &TieParams) -> Vec<Candidate> {
    const SOON: usize = 15;
    let count = pair.near.len().min(pair.far.len());
    let flying = |bin: &Bin| {
        bin.force_mean_m_s2 > 0.0
            && bin.force_mean_m_s2 < params.flight_force_m_s2
            && bin.rate_max_rad_s < 5.0 * params.still_rate_rad_s
    };
    let aloft: Vec<bool> = (0..count)
        .map(|i| flying(&pair.near[i]) && flying(&pair.far[i]))
        .collect();
    let mut landings = Vec::new();
    let mut index = 0;
    while index < count {
        let length = aloft[index..].iter().take_while(|up| **up).count();
        if length as f64 * pair.step_s >= params.flight_min_s {
            landings.extend(landing_after(pair, index + length, SOON, params));
        }
        index += length.max(1);
    }
    landings
}

fn landing_after(pair: &Pair, from: usize, within: usize, params: &TieParams) -> Option<Candidate> {
    let to = (from + within).min(pair.near.len());
    let peak = (from..to).max_by(|&a, &b| {
        pair.near[a]
            .force_max_m_s2
            .total_cmp(&pair.near[b].force_max_m_s2)
    })?;
    let force = pair.near[peak].force_max_m_s2 - STANDARD_GRAVITY_M_S2;
    (force >= params.shock_min_m_s2).then(|| Candidate {
        ref_s: pair.time_s(peak),
        strength: force * force,
        gesture: true,
        one_body: false,
    })
}
