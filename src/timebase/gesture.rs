//! Sync gestures: spikes out of stillness (taps on the stack), heel drops, and jumps.

use std::ops::Range;

use super::moments::{Bin, Envelopes};
use super::tie_params::TieParams;
use crate::units::STANDARD_GRAVITY_M_S2;

/// Bins by which two units' peaks may stand apart after rough alignment.
const NEAR_BINS: usize = 4;
/// Fewest units that must share a gesture.
const FEWEST: usize = 2;

/// Something that stands out of the motion.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Event {
    /// Reference clock, s.
    pub at_s: f64,
    /// True where it was done to tie clocks, as far as one can see: every unit that was on felt it,
    /// rest before and after, no stroke near it. Spikes need company besides, see [`grouped`].
    pub gesture: bool,
}

/// Spikes out of stillness that at least two units share. `sharp` is each unit's force above its
/// surroundings, per bin.
pub(crate) fn lone_spikes(
    envelopes: &Envelopes,
    sharp: &[Vec<f64>],
    params: &TieParams,
) -> Vec<Event> {
    let spikes: Vec<Vec<usize>> = envelopes
        .units
        .iter()
        .zip(sharp)
        .map(|(bins, sharp)| lone_spikes_of(bins, sharp, params))
        .collect();
    let with = |index: usize| {
        let near = |unit: &&Vec<usize>| unit.iter().any(|&i| i.abs_diff(index) <= NEAR_BINS);
        spikes.iter().filter(near).count()
    };
    let mut shared: Vec<usize> = spikes.iter().flatten().copied().collect();
    shared.retain(|&index| with(index) >= FEWEST);
    shared.sort_unstable();
    shared.dedup_by(|later, kept| later.abs_diff(*kept) <= 2 * NEAR_BINS);
    let event = |index: usize| Event {
        at_s: envelopes.time_s(index),
        gesture: with(index) >= on_at(envelopes, index),
    };
    shared.into_iter().map(event).collect()
}

/// Units that log at a bin.
fn on_at(envelopes: &Envelopes, index: usize) -> usize {
    let on = |bins: &&Vec<Bin>| bins.get(index).is_some_and(|bin| bin.force_max_m_s2 > 0.0);
    envelopes.units.iter().filter(on).count()
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

/// Spikes that have company: enough of them, none further than the spacing from the next. They are a
/// gesture where enough of them are felt by all.
pub(crate) fn grouped(spikes: &[Event], params: &TieParams) -> Vec<Event> {
    let enough = |count: usize| count as f64 >= params.gesture_spikes_min;
    spikes
        .chunk_by(|a, b| b.at_s - a.at_s <= params.gesture_spacing_s)
        .filter(|group| enough(group.len()))
        .flat_map(|group| {
            let by_all = enough(group.iter().filter(|spike| spike.gesture).count());
            group.iter().map(move |spike| Event {
                gesture: spike.gesture && by_all,
                ..*spike
            })
        })
        .collect()
}

/// Heel drops, first and last of each row of them: blows after a fall that every unit felt, out of quiet
/// standing and back into it.
pub(crate) fn heel_drops(
    envelopes: &Envelopes,
    sharp: &[Vec<f64>],
    params: &TieParams,
) -> Vec<(f64, f64)> {
    let blow = |index: usize| {
        let felt = |bins: &[Bin], sharp: &[f64]| {
            let near = index.saturating_sub(NEAR_BINS)..(index + NEAR_BINS + 1).min(sharp.len());
            let peak = near.max_by(|&a, &b| sharp[a].total_cmp(&sharp[b]));
            peak.is_some_and(|peak| dropped(bins, sharp, peak, params))
        };
        let mut units = envelopes.units.iter().zip(sharp);
        on_at(envelopes, index) >= FEWEST
            && units.all(|(bins, sharp)| bins[index].force_max_m_s2 <= 0.0 || felt(bins, sharp))
    };
    let loudest: Vec<f64> = (0..envelopes.len())
        .map(|i| sharp.iter().map(|s| s[i]).fold(0.0, f64::max))
        .collect();
    let mut blows = crate::math::local_maxima(&loudest);
    blows.retain(|&index| loudest[index] >= params.shock_min_m_s2 && blow(index));
    let times_s: Vec<f64> = blows.into_iter().map(|i| envelopes.time_s(i)).collect();
    times_s
        .chunk_by(|a, b| b - a <= params.gesture_spacing_s)
        .map(|row| (row[0], row[row.len() - 1])) // chunks are never empty
        .filter(|(first_s, last_s)| last_s - first_s >= DROPS_APART_S)
        .collect()
}

/// Shortest time from one heel drop to the next: up again takes longer. Below it, one blow rings.
const DROPS_APART_S: f64 = 0.4;

/// A blow of one unit after a fall, out of quiet standing and back into it.
fn dropped(bins: &[Bin], sharp: &[f64], index: usize, params: &TieParams) -> bool {
    /// Standing or rising before the fall, the fall, and standing after the blow has rung, bins.
    const BEFORE: Range<usize> = 20..50;
    const FALL: Range<usize> = 2..14;
    const AFTER: Range<usize> = 30..50;
    let back = |k: usize| index.checked_sub(k).map(|i| &bins[i]);
    let quiet = |bin: &Bin| {
        (bin.force_max_m_s2 - STANDARD_GRAVITY_M_S2).abs() < params.drop_fall_m_s2
            && bin.rate_max_rad_s < params.still_rate_rad_s
    };
    let falls = |bin: &Bin| bin.force_mean_m_s2 < STANDARD_GRAVITY_M_S2 - params.drop_fall_m_s2;
    sharp[index] >= params.shock_min_m_s2
        && FALL.filter_map(back).any(falls)
        && BEFORE.into_iter().all(|k| back(k).is_some_and(quiet))
        && AFTER
            .into_iter()
            .all(|k| bins.get(index + k).is_some_and(quiet))
}

/// Landings after a flight that at least two units share.
pub(crate) fn jump_landings(envelopes: &Envelopes, params: &TieParams) -> Vec<Event> {
    let aloft: Vec<usize> = (0..envelopes.len())
        .map(|i| {
            let flying = |bins: &&Vec<Bin>| is_flying(&bins[i], params);
            envelopes.units.iter().filter(flying).count()
        })
        .collect();
    let mut landings = Vec::new();
    let mut index = 0;
    while index < aloft.len() {
        let length = aloft[index..]
            .iter()
            .take_while(|up| **up >= FEWEST)
            .count();
        if length as f64 * envelopes.step_s >= params.flight_min_s {
            landings.extend(landing_after(envelopes, index..index + length, params));
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
fn landing_after(envelopes: &Envelopes, flight: Range<usize>, params: &TieParams) -> Option<Event> {
    let to = (flight.end + 15).min(envelopes.len());
    let force = |i: usize| {
        let of_unit = envelopes.units.iter().map(|u| u[i].force_max_m_s2);
        of_unit.fold(0.0, f64::max)
    };
    let peak = (flight.end..to).max_by(|&a, &b| force(a).total_cmp(&force(b)))?;
    (force(peak) - STANDARD_GRAVITY_M_S2 >= params.shock_min_m_s2).then(|| Event {
        at_s: envelopes.time_s(peak),
        gesture: on_purpose(envelopes, flight, peak, params),
    })
}

/// A jump for its own sake: everybody's units fly, the body rests before take-off and after landing,
/// and nobody turns as in a stroke in between.
fn on_purpose(
    envelopes: &Envelopes,
    flight: Range<usize>,
    landing: usize,
    params: &TieParams,
) -> bool {
    /// Rest that counts, and how far from flight and landing it is looked for, bins.
    const REST: usize = 20;
    const REACH: usize = 250;
    /// No stroke within this many bins.
    const NEAR: usize = 200;
    let middle = flight.start + flight.len() / 2;
    let flies = |bins: &Vec<Bin>| {
        let most = (flight.start..flight.end).filter(|&i| is_flying(&bins[i], params));
        bins[middle].force_max_m_s2 <= 0.0 || 2 * most.count() >= flight.len()
    };
    let at_rest = |i: usize| {
        let still = |bins: &Vec<Bin>| bins.get(i).is_some_and(|b| is_calm(b, params));
        envelopes.units.iter().all(still)
    };
    let rests = |mut bins: Range<usize>| {
        let mut length = 0;
        bins.any(|i| {
            length = if at_rest(i) { length + 1 } else { 0 };
            length >= REST
        })
    };
    let before = rests(flight.start.saturating_sub(REACH)..flight.start);
    let after = rests(landing..landing + REACH);
    let strokes = |i: usize| {
        let turns = envelopes.units.iter().filter_map(|u| u.get(i));
        turns.map(|bin| bin.rate_max_rad_s).fold(0.0, f64::max) > params.gesture_rate_rad_s
    };
    // a split step is a jump with a stroke right after it
    let mut near = flight.start.saturating_sub(NEAR)..landing + NEAR;
    before && after && envelopes.units.iter().all(flies) && !near.any(strokes)
}

/// Standing, not lying still: people sway.
fn is_calm(bin: &Bin, params: &TieParams) -> bool {
    bin.force_max_m_s2 <= 0.0
        || ((bin.force_max_m_s2 - STANDARD_GRAVITY_M_S2).abs() < params.still_force_m_s2
            && bin.rate_max_rad_s < params.still_rate_rad_s)
}
