//! Which short stretches of the logs are worth a close look, chosen on the coarse tracks.

use std::io;

use super::align_epoch::Epoch;
use super::front::side_by_side;
use super::gesture;
use super::tie_params::TieParams;
use super::track::Track;

/// What a moment was chosen for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Why {
    /// Spikes out of stillness: taps on a stack.
    Spike,
    /// A landing after a common flight: a jump, or a stroke's own.
    Landing,
    /// Fast turning: strokes, their blows and landings.
    Swing,
    /// Shocks while turning slowly: steps, heel drops.
    Step,
}

/// A stretch to look at closely, reference clock.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Moment {
    pub from_ref_s: f64,
    pub to_ref_s: f64,
    pub why: Why,
    /// Done to tie clocks: out of rest, into rest, felt by every unit, no stroke near it.
    pub gesture: bool,
}

impl Moment {
    fn around(at_s: f64, before_s: f64, after_s: f64, why: Why) -> Self {
        Self {
            from_ref_s: at_s - before_s,
            to_ref_s: at_s + after_s,
            why,
            gesture: false,
        }
    }

    fn of_gesture(event: &gesture::Event, reach_s: (f64, f64), why: Why) -> Self {
        Self {
            gesture: event.gesture,
            ..Self::around(event.at_s, reach_s.0, reach_s.1, why)
        }
    }

    fn of_drops(first_s: f64, last_s: f64) -> Self {
        /// Room for the fall and the way back to standing, s.
        const ROOM_S: f64 = 0.5;
        Self {
            from_ref_s: first_s - ROOM_S,
            to_ref_s: last_s + ROOM_S,
            why: Why::Step,
            gesture: true,
        }
    }

    /// Middle, reference clock, s.
    pub fn middle_s(&self) -> f64 {
        0.5 * (self.from_ref_s + self.to_ref_s)
    }

    fn overlaps(&self, from_s: f64, to_s: f64) -> bool {
        self.from_ref_s < to_s && from_s < self.to_ref_s
    }
}

/// All units' envelopes over one stretch, bin by bin on the reference's grid.
pub(crate) struct Envelopes {
    pub start_s: f64,
    pub step_s: f64,
    /// Units, then bins.
    pub units: Vec<Vec<Bin>>,
}

/// One bin of a coarse track; all 0 where there is nothing.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Bin {
    pub force_max_m_s2: f64,
    pub force_mean_m_s2: f64,
    pub rate_max_rad_s: f64,
}

impl Envelopes {
    /// Middle of a bin, reference clock, s.
    pub fn time_s(&self, index: usize) -> f64 {
        self.start_s + (index as f64 + 0.5) * self.step_s
    }
    /// Number of bins.
    pub fn len(&self) -> usize {
        self.units.first().map_or(0, Vec::len)
    }
}

/// The moments of one epoch: every gesture, and the best of every cell, spread over the session.
pub(crate) fn moments(
    tracks: &[&dyn Track],
    epoch: &Epoch,
    session_s: f64,
    params: &TieParams,
    jobs: usize,
) -> io::Result<Vec<Moment>> {
    const EDGE_S: f64 = 4.0;
    // held at a time: bounds memory
    const SLICE_S: f64 = 60.0;
    let epoch_s = epoch.to_ref_s - epoch.from_ref_s;
    let wide_s = (session_s / params.cells_max).min(epoch_s / params.cells_min);
    let cell_s = params.cell_s.max(wide_s);
    let mut cells = Vec::new();
    let mut from_s = epoch.from_ref_s;
    while from_s < epoch.to_ref_s {
        let to_s = (from_s + cell_s).min(epoch.to_ref_s);
        cells.push((from_s, to_s));
        from_s = to_s;
    }
    let about_cells = (epoch_s / cell_s).round().max(1.0);
    let landings_most = params
        .landings_per_cell
        .min((params.landings_max / about_cells).floor());
    let look_in = |&(cell_from_s, cell_to_s): &(f64, f64)| {
        let (mut turns, mut shocks) = (Vec::new(), Vec::new());
        let (mut landings, mut lone, mut drops) = (Vec::new(), Vec::new(), Vec::new());
        let mut from_s = cell_from_s;
        while from_s < cell_to_s {
            let to_s = (from_s + SLICE_S).min(cell_to_s);
            let envelopes = read_envelopes(tracks, epoch, from_s - EDGE_S, to_s + EDGE_S)?;
            let inside = |at_s: f64| (from_s..to_s).contains(&at_s);
            let sharp: Vec<Vec<f64>> = envelopes.units.iter().map(|u| sharpness(u)).collect();
            let (of_turns, of_shocks) = common(&envelopes, &sharp, inside, params);
            turns.extend(of_turns);
            shocks.extend(of_shocks);
            let of_slice = gesture::jump_landings(&envelopes, params).into_iter();
            landings.extend(of_slice.filter(|landing| inside(landing.at_s)));
            let of_slice = gesture::lone_spikes(&envelopes, &sharp, params).into_iter();
            lone.extend(of_slice.filter(|spike| inside(spike.at_s)));
            let of_slice = gesture::heel_drops(&envelopes, &sharp, params).into_iter();
            drops.extend(of_slice.filter(|(first_s, _)| inside(*first_s)));
            from_s = to_s;
        }
        let mut chosen = cell_moments(turns, shocks, params);
        let mut others = 0.0;
        landings.retain(|landing| {
            others += f64::from(!landing.gesture);
            landing.gesture || others <= landings_most
        });
        let moment = |landing| Moment::of_gesture(landing, (0.7, 0.5), Why::Landing);
        chosen.extend(landings.iter().map(moment));
        for (first_s, last_s) in drops {
            let row = Moment::of_drops(first_s, last_s);
            chosen.retain(|m| m.why != Why::Step || !m.overlaps(row.from_ref_s, row.to_ref_s));
            chosen.push(row);
        }
        io::Result::Ok((chosen, lone))
    };
    let (mut chosen, mut spikes) = (Vec::new(), Vec::new());
    for cell in side_by_side(&cells, jobs, look_in) {
        let (of_cell, lone) = cell?;
        chosen.extend(of_cell);
        spikes.extend(lone);
    }
    chosen.extend(
        gesture::grouped(&spikes, params)
            .iter()
            .map(|spike| Moment::of_gesture(spike, (0.2, 0.2), Why::Spike)),
    );
    chosen.sort_by(|a, b| a.from_ref_s.total_cmp(&b.from_ref_s));
    Ok(chosen)
}

/// A local maximum: height, and reference time, s.
type Peak = (f64, f64);

/// The common fast turns of a stretch, and its common shocks while turning slowly.
fn common(
    envelopes: &Envelopes,
    sharp: &[Vec<f64>],
    inside: impl Fn(f64) -> bool,
    params: &TieParams,
) -> (Vec<Peak>, Vec<Peak>) {
    // products of one and a rate order and compare as means of their logarithms do, at less cost
    let units = i32::try_from(envelopes.units.len().max(1)).unwrap_or(i32::MAX);
    let turning: Vec<f64> = (0..envelopes.len())
        .map(|i| {
            let of_units = envelopes.units.iter().map(|u| 1.0 + u[i].rate_max_rad_s);
            of_units.product()
        })
        .collect();
    let fast = (1.0 + params.swing_rate_rad_s).powi(units);
    let shocks: Vec<f64> = (0..envelopes.len())
        .map(|i| {
            if turning[i] > fast {
                return 0.0;
            }
            sharp.iter().map(|s| 1.0 + s[i].max(0.0)).product()
        })
        .collect();
    let least = (1.0 + params.shock_min_m_s2).powi(units);
    let peaks = |values: &[f64], least: f64| -> Vec<Peak> {
        crate::math::local_maxima(values)
            .into_iter()
            .map(|i| (values[i], envelopes.time_s(i)))
            .filter(|(height, at_s)| *height >= least && inside(*at_s))
            .collect()
    };
    (peaks(&turning, fast), peaks(&shocks, least))
}

/// The fastest common turns of a cell, and its clearest common shocks away from those.
fn cell_moments(mut turns: Vec<Peak>, mut shocks: Vec<Peak>, params: &TieParams) -> Vec<Moment> {
    turns.sort_by(|a, b| b.0.total_cmp(&a.0));
    shocks.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut chosen: Vec<Moment> = Vec::new();
    for (_, at_s) in turns {
        if chosen.len() as f64 >= params.swings_per_cell {
            break;
        }
        if chosen.iter().all(|m| !m.overlaps(at_s - 0.6, at_s + 0.9)) {
            chosen.push(Moment::around(at_s, 0.6, 0.9, Why::Swing));
        }
    }
    let mut steps = 0.0;
    for (_, at_s) in shocks {
        if steps >= params.steps_per_cell {
            break;
        }
        if chosen.iter().all(|m| !m.overlaps(at_s - 1.0, at_s + 1.0)) {
            chosen.push(Moment::around(at_s, 1.0, 1.0, Why::Step));
            steps += 1.0;
        }
    }
    chosen
}

/// Reads all envelopes over `from_s..to_s` of the reference clock, each unit's moved by its line.
fn read_envelopes(
    tracks: &[&dyn Track],
    epoch: &Epoch,
    from_s: f64,
    to_s: f64,
) -> io::Result<Envelopes> {
    let reference = tracks[epoch.reference].coarse(from_s, to_s)?;
    let count = reference.force_max_m_s2.len();
    let mut units = Vec::new();
    for (track, line) in tracks.iter().zip(&epoch.lines) {
        let Some(line) = line else { continue };
        let shift_s = line.shift_at_s(0.5 * (from_s + to_s));
        let coarse = track.coarse(from_s + shift_s, to_s + shift_s)?;
        let moved = (reference.start_s + shift_s - coarse.start_s) / reference.step_s.max(1e-3);
        let moved = moved.round() as i64; // saturating
        let [ahead, behind] =
            [moved.saturating_neg(), moved].map(|bins| usize::try_from(bins).unwrap_or(0));
        let forces = coarse.force_max_m_s2.iter().zip(&coarse.force_mean_m_s2);
        let there = forces.zip(&coarse.rate_max_rad_s).skip(behind);
        let mut bins = vec![Bin::default(); count];
        for (bin, ((most, mean), rate)) in bins.iter_mut().skip(ahead).zip(there) {
            *bin = Bin {
                force_max_m_s2: f64::from(*most),
                force_mean_m_s2: f64::from(*mean),
                rate_max_rad_s: f64::from(*rate),
            };
        }
        units.push(bins);
    }
    Ok(Envelopes {
        start_s: reference.start_s,
        step_s: reference.step_s,
        units,
    })
}

/// Force above its surroundings' mean (80 ms to each side), per bin.
fn sharpness(bins: &[Bin]) -> Vec<f64> {
    const AROUND: usize = 8;
    let mut sum = 0.0;
    let sums: Vec<f64> = std::iter::once(0.0)
        .chain(bins.iter().map(|bin| {
            sum += bin.force_mean_m_s2;
            sum
        }))
        .collect();
    bins.iter()
        .enumerate()
        .map(|(index, bin)| {
            let low = index.saturating_sub(AROUND);
            let high = (index + AROUND + 1).min(bins.len());
            if bin.force_max_m_s2 > 0.0 {
                bin.force_max_m_s2 - (sums[high] - sums[low]) / (high - low) as f64
            } else {
                0.0
            }
        })
        .collect()
}
