//! When a segment turned fastest, how fast, and how sure that is.

use nalgebra::{DMatrix, Dyn, Vector3};

use super::SequenceParams;
use super::bins::Bins;
use super::kernel::{Decays, Kernel};
use super::shared::{Blow, Factor, Shared};
use super::skin::SkinModel;
use crate::estimate::{Estimate, Why};
use crate::math::{local_maxima, parabola_vertex};
use crate::units::{COVERAGE_95, ONE_SIDED};

/// Step of the search grid, s; the maximum is then refined.
const GRID_S: f64 = 0.004;
/// Half-width of the parabola that gives curvature and the last refinement, s.
const PARABOLA_S: f64 = 0.002;
/// Passes in which clipped bins below their limit are pinned to it; each pass pins more.
const CLIP_PASSES: usize = 3;
/// Steps of the grid either way in which a bone's peak is looked for about the skin's: 20 ms.
const SLIP_STEPS: usize = 5;
/// Refinement steps at most; each gains two digits on a smooth maximum.
const REFINEMENTS: usize = 6;

/// One segment's peak angular velocity.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Peak {
    /// Time from impact, s; the uncertainty is the segment's own, without the clock tie.
    pub time_s: Estimate<f64>,
    /// Resultant speed, rad/s.
    pub speed_rad_s: Estimate<f64>,
    /// Whether any axis was at its limit inside the window.
    pub clipped: bool,
    /// The speed is a lower bound.
    pub at_least: bool,
    /// Time of a rival maximum, s from impact.
    pub rival_s: Option<f64>,
    /// How far the bone's peak may stand from the skin's, s: where the skin follows least of the segment's turn about
    /// its long axis. Alike in every serve; not part of `time_s`. 0 where the skin is taken to follow.
    pub slip_s: f64,
}

/// Finds when a segment turned fastest in the sequence window.
///
/// # Shape and units
/// `bins`: one window, times from impact in s. `floor_sd_s`: what sampling and shape leave, s.
/// # Errors
/// The reason, when the largest value stands at the window's edge, the segment hardly turned, or two
/// maxima cannot be told apart in height.
/// # Source
/// Posterior mean and derivative variance of a random function: Rasmussen & Williams 2006, ch. 2 and
/// 9.4; time of a maximum by the delta method (GUM 5.1.2): sd(t) = sd(slope) / |curvature|.
pub fn find_peak(
    bins: &Bins,
    model: &SkinModel,
    floor_sd_s: f64,
    params: &SequenceParams,
) -> Result<Peak, Why> {
    PeakFinder::new(*model, floor_sd_s, params).find(bins)
}

/// [`find_peak`] over the windows of one unit, which share most of the work.
pub struct PeakFinder<'a> {
    model: SkinModel,
    floor_sd_s: f64,
    params: &'a SequenceParams,
    /// Axes about which the skin may follow too little, sensor frame, unit vectors.
    slipping: Vec<Vector3<f64>>,
    /// The model's own kernel first, then its rivals'; empty before the first window.
    shared: Vec<Shared>,
}

impl<'a> PeakFinder<'a> {
    /// For one unit's model; the numbers are those of [`find_peak`].
    pub fn new(model: SkinModel, floor_sd_s: f64, params: &'a SequenceParams) -> Self {
        Self {
            model,
            floor_sd_s,
            params,
            slipping: Vec::new(),
            shared: Vec::new(),
        }
    }

    /// For a unit whose skin may follow too little of the segment's turn about its long axis: that axis, or, where it is
    /// not known, several that it may be; the one that matters most counts.
    #[must_use]
    pub fn slipping_about(self, axes: Vec<Vector3<f64>>) -> Self {
        Self {
            slipping: axes,
            ..self
        }
    }

    /// See [`find_peak`].
    ///
    /// # Errors
    /// Those of [`find_peak`].
    pub fn find(&mut self, bins: &Bins) -> Result<Peak, Why> {
        if self.shared.first().is_none_or(|shared| !shared.suits(bins)) {
            let own = self.model.kernel;
            let rivals = self
                .model
                .rival_lengths_s
                .map(|length_s| Kernel { length_s, ..own });
            self.shared = std::iter::once(own)
                .chain(rivals)
                .map(|kernel| Shared::new(bins, kernel, self.model.noise))
                .collect();
        }
        let (main, rivals) = self.shared.split_first().ok_or(Why::NoSamples)?;
        let bins = main.evened(bins);
        let limits = (self.floor_sd_s, self.slipping.as_slice());
        peak_of(&bins, main, rivals, limits, self.params)
    }
}

fn peak_of(
    bins: &Bins,
    main: &Shared,
    rivals: &[Shared],
    (floor_sd_s, slipping): (f64, &[Vector3<f64>]),
    params: &SequenceParams,
) -> Result<Peak, Why> {
    let main = Posterior::new(bins, main, None, params).ok_or(Why::NoSamples)?;
    let found = main.highest(params)?;
    let (slope_sd, curvature) = main
        .slope_sd_and_curvature(found.time_s)
        .ok_or(Why::NoPeak)?;
    let own_speed_sd = main.speed_sd(found.time_s);
    if let Some((rival_s, rival_rad_s)) = found.rival {
        let apart = (COVERAGE_95 * own_speed_sd.hypot(main.speed_sd(rival_s)))
            .hypot(params.rival_apart_share * found.speed_rad_s);
        if found.speed_rad_s - rival_rad_s < apart {
            return Err(Why::RivalPeaks);
        }
    }
    let moved_s = rivals
        .iter()
        .filter_map(|rival| Posterior::new(bins, rival, Some(main.quiet_rad_s), params))
        .filter_map(|other| other.climb(found.time_s))
        .map(|time_s| (time_s - found.time_s).abs())
        .fold(0.0, f64::max);
    // a blow that cuts a rising rate leaves its peak at impact, and the smooth motion's a little later
    let may_be_cut = bins.blow_var > 0.0 && (0.0..params.cusp_reach_s).contains(&found.time_s);
    let cut_sd_s = if may_be_cut {
        ONE_SIDED * found.time_s
    } else {
        0.0
    };
    let time_sd_s = (slope_sd / curvature)
        .hypot(cut_sd_s)
        .hypot(moved_s)
        .hypot(floor_sd_s)
        .hypot(params.clipped_share * bins.at_limit_s());
    let (slip_s, faster_rad_s) = main.slip(&found, slipping, params);
    let clipped = bins.clipped_samples > 0;
    Ok(Peak {
        time_s: Estimate::one(found.time_s, time_sd_s),
        speed_rad_s: Estimate::one(
            found.speed_rad_s,
            own_speed_sd
                .hypot(params.sensitivity_sd * found.speed_rad_s)
                .hypot(ONE_SIDED * faster_rad_s),
        ),
        clipped,
        at_least: clipped
            && (main.at_limit || own_speed_sd > params.at_least_sd * found.speed_rad_s),
        rival_s: found.rival.map(|(time_s, _)| time_s),
        slip_s,
    })
}

struct Highest {
    time_s: f64,
    speed_rad_s: f64,
    rival: Option<(f64, f64)>,
}

/// Axes with the same usable bins.
struct Axes<'a> {
    which: Vec<usize>,
    times: Decays,
    factor: Factor<'a>,
    /// One column per axis of `which`.
    weights: DMatrix<f64>,
}

/// One window's bins with their correlations taken out.
struct Whitened<'a> {
    groups: Vec<WhitenedAxes<'a>>,
    /// Standard deviation of the motion, rad/s.
    scale_rad_s: f64,
}

/// Axes with the same usable bins.
struct WhitenedAxes<'a> {
    which: Vec<usize>,
    positions: Vec<usize>,
    factor: Factor<'a>,
    /// One column per axis of `which`.
    seen: DMatrix<f64>,
}

impl<'a> Whitened<'a> {
    /// `noise_of` gives a bin's relative noise variance, or `None` to leave it out. `None` where an axis
    /// has too few usable bins or the covariance is not positive definite.
    fn of(
        bins: &Bins,
        shared: &'a Shared,
        hidden: &[[bool; 3]],
        noise_of: impl Fn(usize) -> Option<f64>,
        blow: Option<&Blow>,
    ) -> Option<Self> {
        let usable = |axis: usize| -> Vec<usize> {
            let open = |i: &usize| !hidden[*i][axis] && noise_of(*i).is_some();
            (0..bins.time_s.len()).filter(open).collect()
        };
        let mut axes_of: Vec<(Vec<usize>, Vec<usize>)> = Vec::new();
        for axis in 0..3 {
            let positions = usable(axis);
            match axes_of.iter_mut().find(|(known, _)| *known == positions) {
                Some((_, which)) => which.push(axis),
                None => axes_of.push((positions, vec![axis])),
            }
        }
        let (mut energy, mut count) = (0.0, 0);
        let mut groups = Vec::with_capacity(axes_of.len());
        for (positions, which) in axes_of {
            let noise: Vec<f64> = positions.iter().filter_map(|i| noise_of(*i)).collect();
            let factor = shared.factor(&positions, &noise, blow)?;
            let mut seen = DMatrix::from_fn(positions.len(), which.len(), |row, column| {
                bins.gyro_rad_s[positions[row]][which[column]]
            });
            factor.solve_mut(&mut seen);
            energy += seen.norm_squared();
            count += seen.len();
            groups.push(WhitenedAxes {
                which,
                positions,
                factor,
                seen,
            });
        }
        (count > 0 && energy > 0.0).then(|| Self {
            groups,
            scale_rad_s: (energy / count as f64).sqrt(),
        })
    }

    fn posterior(self, bins: &Bins, shared: &Shared, quiet_rad_s: f64) -> Posterior<'a> {
        let axes = |group: WhitenedAxes<'a>| {
            let mut weights = group.seen;
            group.factor.solve_transposed_mut(&mut weights);
            Axes {
                which: group.which,
                times: shared
                    .kernel
                    .decays(group.positions.iter().map(|i| bins.time_s[*i]).collect()),
                factor: group.factor,
                weights,
            }
        };
        Posterior {
            kernel: shared.kernel,
            groups: self.groups.into_iter().map(axes).collect(),
            scale_rad_s: self.scale_rad_s,
            quiet_rad_s,
            at_limit: false,
        }
    }
}

/// A segment's angular velocity given one window.
struct Posterior<'a> {
    kernel: Kernel,
    groups: Vec<Axes<'a>>,
    /// Standard deviation of the motion, rad/s.
    scale_rad_s: f64,
    /// The same from the bins without shock alone.
    quiet_rad_s: f64,
    /// Some clipped bin had to be taken at its limit.
    at_limit: bool,
}

impl<'a> Posterior<'a> {
    /// `quiet_rad_s` where it is known from a kernel much like this one: it only says what shock weighs.
    /// `None` where an axis has too few usable bins or the covariance is not positive definite.
    fn new(
        bins: &Bins,
        shared: &'a Shared,
        quiet_rad_s: Option<f64>,
        params: &SequenceParams,
    ) -> Option<Self> {
        let mut hidden = bins.clipped.clone();
        let mut found = Self::past_shock(bins, shared, &hidden, quiet_rad_s, params)?;
        for _ in 0..CLIP_PASSES {
            let mut pinned = false;
            for (i, axes) in hidden
                .iter_mut()
                .enumerate()
                .filter(|(_, axes)| axes.contains(&true))
            {
                let mean = found.mean(bins.time_s[i]);
                for axis in 0..3 {
                    // a clipped axis turned at least as fast as its limit: where the model falls
                    // short of that, the limit itself is the observation
                    if axes[axis] && mean[axis].abs() < bins.gyro_rad_s[i][axis].abs() {
                        axes[axis] = false;
                        pinned = true;
                    }
                }
            }
            if !pinned {
                break;
            }
            found = Self {
                at_limit: true,
                ..Self::past_shock(bins, shared, &hidden, quiet_rad_s, params)?
            };
        }
        Some(found)
    }

    fn past_shock(
        bins: &Bins,
        shared: &'a Shared,
        hidden: &[[bool; 3]],
        quiet_rad_s: Option<f64>,
        params: &SequenceParams,
    ) -> Option<Self> {
        let noise = shared.noise;
        let quiet_only = |i: usize| (bins.shock_var[i] == 0.0).then_some(noise);
        let shaken = bins.shock_var.iter().any(|v| *v > 0.0);
        let quiet_rad_s = match quiet_rad_s {
            None if shaken => {
                Some(Whitened::of(bins, shared, hidden, quiet_only, None)?.scale_rad_s)
            }
            known => known,
        };
        let with_shock = |i: usize| {
            let shock = quiet_rad_s.map_or(0.0, |size| bins.shock_var[i] / size.powi(2));
            Some(noise + shock)
        };
        let blown = quiet_rad_s.filter(|_| bins.blow_var > 0.0);
        let blow = blown.map(|size| Blow {
            first: bins.time_s.partition_point(|time_s| *time_s <= 0.0),
            variance: params.blow_share * bins.blow_var / size.powi(2),
            kept: (-bins.step_s() / params.blow_fade_s).exp(),
        });
        let all = Whitened::of(bins, shared, hidden, with_shock, blow.as_ref())?;
        let quiet_rad_s = quiet_rad_s.unwrap_or(all.scale_rad_s);
        Some(all.posterior(bins, shared, quiet_rad_s))
    }

    fn mean(&self, at_s: f64) -> Vector3<f64> {
        let mut mean = Vector3::zeros();
        for group in &self.groups {
            let towards = self.kernel.towards(at_s, &group.times);
            for (column, axis) in group.which.iter().enumerate() {
                mean[*axis] = towards.dot(&group.weights.column(column));
            }
        }
        mean
    }

    fn speed(&self, at_s: f64) -> f64 {
        self.mean(at_s).norm()
    }

    fn highest(&self, params: &SequenceParams) -> Result<Highest, Why> {
        let steps = ((params.window_before_s + params.window_after_s) / GRID_S).ceil() as usize; // ~100
        let grid: Vec<f64> = (0..=steps)
            .map(|i| -params.window_before_s + i as f64 * GRID_S)
            .collect();
        let curve: Vec<f64> = grid.iter().map(|t| self.speed(*t)).collect();
        let top = curve.iter().copied().fold(0.0, f64::max);
        if top < params.min_peak_rad_s {
            return Err(Why::NoPeak);
        }
        let mut maxima: Vec<(f64, f64)> = local_maxima(&curve)
            .into_iter()
            .filter(|i| curve[*i] >= params.rival_share * top)
            .filter_map(|i| self.climb(grid[i]))
            .map(|time_s| (time_s, self.speed(time_s)))
            .collect();
        maxima.sort_by(|a, b| b.1.total_cmp(&a.1));
        let edge = curve
            .first()
            .copied()
            .unwrap_or(0.0)
            .max(curve.last().copied().unwrap_or(0.0));
        match maxima.first() {
            Some(&(time_s, speed_rad_s)) if speed_rad_s >= edge => Ok(Highest {
                time_s,
                speed_rad_s,
                rival: maxima
                    .iter()
                    .skip(1)
                    .find(|(t, _)| (t - time_s).abs() > 2.0 * GRID_S)
                    .copied(),
            }),
            _ => Err(Why::PeakAtEdge),
        }
    }

    /// How far in time, s, and how much faster, rad/s, a bone turned whose turn about one of these axes the skin follows
    /// least and latest: about the axis that moves its peak most. The peak is looked for where the skin's leads up to.
    fn slip(&self, found: &Highest, axes: &[Vector3<f64>], params: &SequenceParams) -> (f64, f64) {
        if axes.is_empty() {
            return (0.0, 0.0);
        }
        let offset_s = |step: usize| (step as f64 - SLIP_STEPS as f64) * GRID_S;
        let means: Vec<Vector3<f64>> = (0..=2 * SLIP_STEPS)
            .map(|step| self.mean(found.time_s + offset_s(step)))
            .collect();
        let missed = 1.0 / params.least_axial_share - 1.0;
        let about = |axis: &Vector3<f64>| {
            let bone = |mean: &Vector3<f64>| (mean + axis * (missed * axis.dot(mean))).norm();
            let speeds: Vec<f64> = means.iter().map(bone).collect();
            let mut top = SLIP_STEPS;
            while top > 0 && speeds[top - 1] > speeds[top] {
                top -= 1;
            }
            while top + 1 < speeds.len() && speeds[top + 1] > speeds[top] {
                top += 1;
            }
            let inside = (1..2 * SLIP_STEPS).contains(&top);
            let fit =
                inside.then(|| parabola_vertex(speeds[top - 1], speeds[top], speeds[top + 1]));
            let within = fit.flatten().map_or(0.0, |fit| fit.offset * GRID_S);
            // what comes through skin comes late as well
            let axial = axis.dot(&means[SLIP_STEPS]) / found.speed_rad_s;
            let late_s = params.axial_delay_s * axial.powi(2);
            let apart_s = (offset_s(top) + within).hypot(late_s);
            (apart_s, speeds[top] - found.speed_rad_s)
        };
        let slips = axes.iter().map(about);
        let most = slips.max_by(|a, b| a.0.total_cmp(&b.0));
        most.unwrap_or_default()
    }

    /// The local maximum near a time, s; `None` if the climb leaves its surroundings.
    fn climb(&self, near_s: f64) -> Option<f64> {
        let mut at_s = near_s;
        for _ in 0..REFINEMENTS {
            let [before, here, after] =
                [-PARABOLA_S, 0.0, PARABOLA_S].map(|d| self.speed(at_s + d));
            let fit = parabola_vertex(before, here, after)?;
            let step_s = if fit.curvature < 0.0 {
                (fit.offset * PARABOLA_S).clamp(-2.0 * GRID_S, 2.0 * GRID_S)
            } else {
                (after - before).signum() * PARABOLA_S
            };
            at_s += step_s;
            if step_s.abs() < 1e-6 {
                break;
            }
        }
        ((at_s - near_s).abs() < 0.5 * self.kernel.length_s.max(4.0 * GRID_S)).then_some(at_s)
    }

    /// Standard deviation of the speed's slope, rad/s^2, and the size of its curvature, rad/s^3.
    fn slope_sd_and_curvature(&self, at_s: f64) -> Option<(f64, f64)> {
        let speeds = [-PARABOLA_S, 0.0, PARABOLA_S].map(|d| self.speed(at_s + d));
        let curvature = (speeds[0] - 2.0 * speeds[1] + speeds[2]) / (PARABOLA_S * PARABOLA_S);
        let along = self.mean(at_s).try_normalize(f64::MIN_POSITIVE)?;
        let variance = self.variance_along(&along, at_s, true);
        (curvature < 0.0).then(|| (self.scale_rad_s * variance.sqrt(), -curvature))
    }

    /// Standard deviation of the speed, rad/s.
    fn speed_sd(&self, at_s: f64) -> f64 {
        let Some(along) = self.mean(at_s).try_normalize(f64::MIN_POSITIVE) else {
            return self.scale_rad_s;
        };
        let variance = self.variance_along(&along, at_s, false);
        self.scale_rad_s * variance.sqrt()
    }

    /// Posterior variance of the value or slope along a direction, relative to the motion's variance.
    fn variance_along(&self, along: &Vector3<f64>, at_s: f64, slope: bool) -> f64 {
        let of_group = |group: &Axes| {
            let share: f64 = group.which.iter().map(|axis| along[*axis].powi(2)).sum();
            share * self.left_variance(group, at_s, slope)
        };
        self.groups.iter().map(of_group).sum()
    }

    /// Posterior variance of one axis's value or slope, relative to the motion's variance.
    fn left_variance(&self, axes: &Axes, at_s: f64, slope: bool) -> f64 {
        let (prior, towards) = if slope {
            let h = 1e-2 * self.kernel.length_s;
            let ahead = self.kernel.towards(at_s + h, &axes.times);
            let behind = self.kernel.towards(at_s - h, &axes.times);
            (self.kernel.slope_variance(), (ahead - behind) / (2.0 * h))
        } else {
            (1.0, self.kernel.towards(at_s, &axes.times))
        };
        let count = towards.len();
        let mut whitened = towards.reshape_generic(Dyn(count), Dyn(1));
        axes.factor.solve_mut(&mut whitened);
        (prior - whitened.norm_squared()).max(0.0)
    }
}
