//! Sync gestures: spikes out of stillness (taps on the stack, heel drops) and jumps.

use super::moments::{Bin, Envelopes};
use super::tie_params::TieParams;
use crate::units::STANDARD_GRAVITY_M_S2;

/// Bins by which two units' peaks may stand apart after rough alignment.
const NEAR_BINS: usize = 4;
/// Fewest units that must share a gesture.
const FEWEST: usize = 2;

/// Times of spikes out of stillness that at least two units share; reference clock, s. `sharp` is each
/// unit's force above its surroundings, per bin.
pub(crate) fn lone_spikes(
    envelopes: &Envelopes,
    sharp: &[Vec<f64>],
    params: &TieParams,
) -> Vec<f64> {
    let spikes: Vec<Vec<usize>> = envelopes
        .units
        .iter()
        .zip(sharp)
        .map(|(bins, sharp)| lone_spikes_of(bins, sharp, params))
        .collect();
    let mut shared: Vec<usize> = spikes
        .iter()
        .flatten()
        .copied()
        .filter(|&index| {
            let with = |unit: &&Vec<usize>| unit.iter().any(|&i| i.abs_diff(index) <= NEAR_BINS);
            spikes.iter().filter(with).count() >= FEWEST
        })
        .collect();
    shared.sort_unstable();
    shared.dedup_by(|later, kept| later.abs_diff(*kept) <= 2 * NEAR_BINS);
    shared.into_iter().map(|i| envelopes.time_s(i)).collect()
}

/// Spikes of one unit, highest over 150 ms to each side, between stillness and stillness.
fn lone_spikes_of(bins: &[Bin], sharp: &[f64], params: &TieParams) -> Vec<usize> {
    const APART: usize = 15;
    (0..sharp.len())
        .filter(|&i| sharp[i] >= params.shock_min_m_s2)
        .filter(|&i| {
            let around = &sharp[i.saturating_sub(APART)..(i + APART + 1).min(sharp.len())];
            around.iter().all(|v| *v <= sharp[i])
        })
        .filter(|&i| still_around(bins, i, params))
        .collect()
}

/// Stillness from 60 to 150 ms before, and again for 60 ms within half a second after. Straight after a
/// tap the stack may ring and slide; after a first step the walker does not come to rest.
fn still_around(bins: &[Bin], index: usize, params: &TieParams) -> bool {
    const REST: usize = 6;
    const SOONEST: usize = 6;
    const LATEST: usize = 50;
    let still = |i: usize| bins.get(i).is_some_and(|bin| is_still(bin, params));
    let before = (6..=15).all(|k| index.checked_sub(k).is_some_and(still));
    let mut rests = (index + SOONEST..=index + LATEST - REST).map(|i| (i..i + REST).all(still));
    before && rests.any(|rest| rest)
}

fn is_still(bin: &Bin, params: &TieParams) -> bool {
    bin.force_max_m_s2 > 0.0
        && (bin.force_max_m_s2 - STANDARD_GRAVITY_M_S2).abs() < params.still_force_m_s2
        && bin.rate_max_rad_s < params.still_rate_rad_s
}

/// Spikes that have company: enough of them, none further than the spacing from the next.
pub(crate) fn grouped(spikes_s: &[f64], params: &TieParams) -> Vec<f64> {
    spikes_s
        .chunk_by(|a, b| b - a <= params.gesture_spacing_s)
        .filter(|group| group.len() as f64 >= params.gesture_spikes_min)
        .flatten()
        .copied()
        .collect()
}

/// Landings after a flight that at least two units share; reference clock, s.
pub(crate) fn jump_landings(envelopes: &Envelopes, params: &TieParams) -> Vec<f64> {
    let aloft: Vec<bool> = (0..envelopes.len())
        .map(|i| {
            let flying = |bins: &&Vec<Bin>| is_flying(&bins[i], params);
            envelopes.units.iter().filter(flying).count() >= FEWEST
        })
        .collect();
    let mut landings = Vec::new();
    let mut index = 0;
    while index < aloft.len() {
        let length = aloft[index..].iter().take_while(|up| **up).count();
        if length as f64 * envelopes.step_s >= params.flight_min_s {
            landings.extend(landing_after(envelopes, index + length, params));
        }
        index += length.max(1);
    }
    landings
}

fn is_flying(bin: &Bin, params: &TieParams) -> bool {
    bin.force_mean_m_s2 > 0.0
        && bin.force_mean_m_s2 < params.flight_force_m_s2
        && bin.rate_max_rad_s < params.flight_rate_rad_s
}

/// The largest force of any unit within 150 ms.
fn landing_after(envelopes: &Envelopes, from: usize, params: &TieParams) -> Option<f64> {
    let to = (from + 15).min(envelopes.len());
    let force = |i: usize| {
        let of_unit = envelopes.units.iter().map(|u| u[i].force_max_m_s2);
        of_unit.fold(0.0, f64::max)
    };
    let peak = (from..to).max_by(|&a, &b| force(a).total_cmp(&force(b)))?;
    (force(peak) - STANDARD_GRAVITY_M_S2 >= params.shock_min_m_s2).then(|| envelopes.time_s(peak))
}
